"""The work list and a job's page: works, wrong person, wrong address, wrong method, bad form, twice, same queries."""

import re
from datetime import date
from html import unescape
from io import BytesIO

import openpyxl
import pytest
from django.test import Client

from refit.boat.formkeys import new_key
from refit.buying.actions.deliveries import Arrival, book_in
from refit.stores.actions.parts import add_need
from refit.stores.actions.stow import take
from refit.stores.models import Need
from refit.work.actions import set_state
from refit.work.models import Job, State
from tests.factory import D, Factory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]
LIST = "/test-boat/jobs/"
EVIL = "<script>alert(1)</script>"


def text_of(response) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", response.content.decode())).split())


def facts(make, **changes) -> dict:
    return {"title": "Replace the impeller", "system": make.system.pk, "before": "launch", **changes}


# The list


def test_the_list_shows_what_is_open_with_what_it_wants_and_costs(make, as_owner):
    job = make.job("Replace the impeller")
    make.order(make.line(job=job, price=D("41.50")))
    add_need(job, part=make.part(), words="", quantity=D(2))
    set_state(make.job("Long done"), State.DONE, today=make.today)
    said = text_of(as_owner.get(LIST))
    assert "1 Replace the impeller Engine Planned Before launch 1 thing 41.50" in said
    assert "Long done" not in said
    assert "1 open job " in said


@pytest.mark.parametrize(
    ("asked", "titles"),
    [
        ({"state": "all"}, {"Mast", "Bilge", "Keel"}),
        ({"state": "done"}, {"Keel"}),
        ({"q": "bil"}, {"Bilge"}),
        ({"before": "afloat"}, {"Bilge"}),
        ({"parts": "wanting"}, {"Mast"}),
        ({"system": "yard"}, {"Bilge"}),
        ({"state": "nonsense"}, {"Mast", "Bilge"}),
    ],
)
def test_the_list_is_filtered(make, as_owner, asked, titles):
    add_need(make.job("Mast"), part=None, words="a bolt", quantity=D(1))
    make.job("Bilge", before="afloat", system=make.other_system)
    set_state(make.job("Keel"), State.DONE, today=make.today)
    if asked.get("system"):
        asked = {"system": make.other_system.pk}
    page = as_owner.get(LIST, asked).content.decode()
    assert {title for title in ("Mast", "Bilge", "Keel") if f"<bdi>{title}</bdi></a>" in page} == titles


@pytest.mark.parametrize(
    ("sort", "first"),
    [
        ("number", "Mast"),
        ("-number", "Keel"),
        ("title", "Bilge"),
        ("state", "Keel"),
        ("-cost", "Bilge"),
        ("x", "Mast"),
    ],
)
def test_the_list_is_sorted(make, as_owner, sort, first):
    make.job("Mast", state="in_hand")
    make.order(make.line(job=make.job("Bilge", state="ready")))
    make.job("Keel", state="planned")
    page = as_owner.get(LIST, {"sort": sort}).content.decode()
    assert re.search(r"<bdi>(Mast|Bilge|Keel)</bdi></a>", page)[1] == first


def test_the_list_goes_out_as_a_file_and_a_trade_gets_no_cost_in_it(make, as_owner, as_trade):
    job = make.job("=1+1", given_to=make.member(make.trade))
    make.order(make.line(job=job, price=D("41.50")))
    rows = sheet(as_owner.get(LIST, {"export": "xlsx"}))
    assert rows[0][-1] == "Cost"
    assert rows[1][1] == "=1+1"
    assert rows[1][-1] == 41.5
    rows = sheet(as_trade.get(LIST, {"export": "xlsx"}))
    assert "Cost" not in rows[0]
    assert 41.5 not in rows[1]


def sheet(response) -> list[tuple]:
    return list(openpyxl.load_workbook(BytesIO(response.content)).active.iter_rows(values_only=True))


def test_a_trade_sees_its_jobs_only_and_no_cost(make, as_trade):
    mine = make.job("Weld the rail", given_to=make.member(make.trade))
    theirs = make.job("Secret plans")
    order = make.order(make.line(words="Rod", job=mine, price=D("777.77")))
    for address in (LIST, f"{LIST}{mine.number}/"):
        page = as_trade.get(address)
        assert "Weld the rail" in text_of(page)
        assert "777" not in text_of(page)
        assert "Secret plans" not in text_of(page)
        assert "cost" not in text_of(page).lower()
    page = as_trade.get(f"{LIST}{mine.number}/").content.decode()
    assert "Rod" in page
    assert "/orders/" not in page
    assert order.supplier.name not in page
    assert as_trade.get(f"{LIST}{theirs.number}/").status_code == 404
    assert as_trade.get(LIST, {"sort": "cost"}).status_code == 200


@pytest.mark.parametrize("query", ["", "?state=all&sort=cost", "?parts=wanting"])
def test_the_list_takes_the_same_queries_with_10_and_120_jobs(
    make, as_owner, django_assert_num_queries, query
):
    want = {"": 10, "?state=all&sort=cost": 10, "?parts=wanting": 14}[query]
    many(make, 10)
    with django_assert_num_queries(want):
        as_owner.get(LIST + query)
    many(make, 110)
    with django_assert_num_queries(want):
        assert "of 120" in text_of(as_owner.get(LIST + query))


def many(make, count):
    part = make.part()
    for _ in range(count):
        add_need(make.job(given_to=make.member(make.crew)), part=part, words="", quantity=D(1))


# A job's page


def test_a_jobs_page_shows_what_it_wants_where_it_lies_and_what_it_cost(make, as_owner):
    job, part, place = make.job("Replace the impeller"), make.part("Impeller"), make.place("S3")
    add_need(job, part=part, words="", quantity=D(4))
    add_need(job, part=None, words="a long drill", quantity=D(1))
    held = make.stock(part, place, 3)
    take(held, D(1), by=make.owner, on=make.today, today=make.today, job=job)
    order = make.order(make.line(part, packs=D(2), price=D("30"), job=job, place=place), on=date(2026, 3, 9))
    book_in(
        make.boat, [Arrival(order.lines.get(), D(1), place)], by=make.owner, on=make.today, today=make.today
    )
    page = as_owner.get(f"{LIST}1/")
    said = text_of(page)
    assert "Impeller 1 taken 1 on order 2 to take 4" in said
    assert "S3 3 here Take 2" in said
    assert "a long drill 1 to buy 1" in said
    assert "Impeller part arrived 1 " in said
    assert "Ordered £60.00 of it arrived £30.00" in said
    assert "from S3 1" in said
    assert f'href="/test-boat/orders/{order.number}/"' in page.content.decode()


@pytest.mark.parametrize(
    ("wants", "lies", "filled"),
    [
        (0, 0, "none"),
        (2, 0, "Order for this job"),
        (2, 1, "Order for this job"),
        (2, 2, "Fetch what it wants: S3"),
    ],
)
def test_the_next_step_is_to_order_what_lies_nowhere_else_to_take(make, as_owner, wants, lies, filled):
    job, part, place = make.job(), make.part(), make.place("S3")
    if wants:
        add_need(job, part=part, words="", quantity=D(wants))
    if lies:
        make.stock(part, place, lies)
    page = as_owner.get(f"{LIST}1/").content.decode()
    buttons = re.findall(r'<a class="button next" href="[^"]+">([^<]+)</a>', page)
    assert buttons == ([] if filled == "none" else [filled])
    assert 'href="/test-boat/orders/new/?job=1"' in page


def test_a_viewer_finds_nothing_to_press(make, as_viewer):
    job = make.job()
    add_need(job, part=make.part(), words="", quantity=D(1))
    page = as_viewer.get(f"{LIST}1/").content.decode()
    main = page[page.index("<main") :]
    assert '<form method="post"' not in main
    assert "/orders/new/" not in main


def test_the_page_takes_the_same_queries_with_10_and_100_things(make, as_owner, django_assert_num_queries):
    job = make.job(given_to=make.member(make.crew))
    things(make, job, 10)
    with django_assert_num_queries(32):
        as_owner.get(f"{LIST}1/")
    things(make, job, 90)
    with django_assert_num_queries(32):
        assert as_owner.get(f"{LIST}1/").status_code == 200


def things(make, job, count):
    place = make.place()
    lines = []
    for _ in range(count):
        part = make.part()
        add_need(job, part=part, words="", quantity=D(3))
        held = make.stock(part, place, 2)
        take(held, D(1), by=make.owner, on=make.today, today=make.today, job=job)
        lines.append(make.line(part, job=job))
    make.order(*lines)


# Making and changing


def test_a_job_is_made_and_changed(make, as_crew):
    made = as_crew.post(f"{LIST}new/", facts(make, given_to=make.member(make.trade).pk, note="Two\nlines"))
    assert made["Location"] == f"{LIST}1/"
    job = Job.objects.get()
    assert (job.title, job.given_to.user, job.note) == ("Replace the impeller", make.trade, "Two\nlines")
    as_crew.post(
        f"{LIST}1/change/", facts(make, title="Renew it", system=make.other_system.pk, before="afloat")
    )
    job.refresh_from_db()
    assert (job.title, job.system, job.before, job.given_to) == (
        "Renew it",
        make.other_system,
        "afloat",
        None,
    )


def test_a_change_is_undone(make, as_crew):
    job = make.job("As it was", note="One\n& two", given_to=make.member(make.trade))
    undo(as_crew, as_crew.post(f"{LIST}1/change/", facts(make, before="afloat"), follow=True))
    job.refresh_from_db()
    assert (job.title, job.note, job.before) == ("As it was", "One\n& two", "launch")
    assert job.given_to == make.member(make.trade)


def test_the_change_form_begins_with_what_stands(make, as_crew):
    make.job("Renew it", note="As found", before="afloat")
    page = as_crew.get(f"{LIST}1/change/").content.decode()
    assert 'value="Renew it"' in page
    assert "As found" in page
    assert '<option value="afloat" selected>' in page


@pytest.mark.parametrize(
    "wrong",
    [
        {"title": ""},
        {"title": "x" * 121},
        {"title": "x" * 100_000},
        {"title": "a\x00b"},
        {"system": ""},
        {"system": "999999999999999999999999"},
        {"before": "soon"},
        {"given_to": "0"},
        {"note": "x" * 4001},
    ],
)
def test_a_bad_job_changes_nothing(make, as_crew, wrong):
    job = make.job("As it was")
    for address in (f"{LIST}new/", f"{LIST}1/change/"):
        response = as_crew.post(address, facts(make, **wrong))
        assert response.status_code == 422
        assert "To put right" in text_of(response)
    job.refresh_from_db()
    assert job.title == "As it was"
    assert Job.objects.count() == 1


def test_a_system_or_person_of_another_boat_is_refused(make, as_crew):
    other = Factory.start(name="Other", prefix="other-")
    assert as_crew.post(f"{LIST}new/", facts(make, system=other.system.pk)).status_code == 422
    assert as_crew.post(f"{LIST}new/", facts(make, given_to=other.member(other.crew).pk)).status_code == 422
    assert not Job.objects.exists()


def test_the_same_form_twice_makes_one_job(make, as_crew):
    sent = facts(make, form_key=new_key())
    first, second = (as_crew.post(f"{LIST}new/", sent) for _ in range(2))
    assert first["Location"] == second["Location"]
    assert Job.objects.count() == 1


def test_without_systems_a_new_job_says_where_to_begin(make, as_crew):
    make.boat.systems.all().delete()
    assert "Systems first" in text_of(as_crew.get(f"{LIST}new/"))


# States


def test_a_state_is_set_with_one_tap_and_undone(make, as_crew):
    make.job()
    set_state(Job.objects.get(), State.DONE, today=date(2026, 1, 5))
    response = as_crew.post(f"{LIST}1/state/", {"state": "in_hand"}, follow=True)
    assert "Job 1 is in hand." in text_of(response)
    undo(as_crew, response)
    job = Job.objects.get()
    assert (job.state, job.done_on) == (State.DONE, date(2026, 1, 5))


def test_what_is_in_hand_again_by_undo_was_begun_when_it_was(make, as_crew):
    job, long_ago = make.job(), date(2026, 1, 5)
    set_state(job, State.IN_HAND, today=long_ago)
    undo(as_crew, as_crew.post(f"{LIST}1/state/", {"state": "later"}, follow=True))
    job.refresh_from_db()
    assert (job.state, job.begun_on) == (State.IN_HAND, long_ago)


@pytest.mark.parametrize("before", [State.PLANNED, State.WAITING, State.READY, State.LATER])
def test_done_by_mistake_goes_back_to_where_it_was(make, as_crew, before):
    job = make.job()
    if before != State.PLANNED:
        set_state(job, before, today=make.today)
    to = "in_hand" if before == State.LATER else "done"
    undo(as_crew, as_crew.post(f"{LIST}1/state/", {"state": to}, follow=True))
    job.refresh_from_db()
    assert (job.state, job.done_on) == (before, None)


@pytest.mark.parametrize("state", ["ready", "nonsense", ""])
def test_a_step_that_cannot_be_made_is_refused(make, as_crew, state):
    job = make.job()
    set_state(job, State.DONE, today=make.today)
    response = as_crew.post(f"{LIST}1/state/", {"state": state}, follow=True)
    assert "cannot become" in text_of(response) or "Choose a state" in text_of(response)
    job.refresh_from_db()
    assert job.state == State.DONE


def undo(client: Client, response) -> None:
    address = re.search(r'<form method="post" action="([^"]+)">[^/]+<button>Undo', response.content.decode())[
        1
    ]
    assert client.post(unescape(address), follow=True).status_code == 200


# Wrong person, wrong address, wrong method


ADDRESSES = [
    ("GET", LIST, "see"),
    ("GET", f"{LIST}new/", "work"),
    ("POST", f"{LIST}new/", "work"),
    ("GET", f"{LIST}1/", "see"),
    ("GET", f"{LIST}1/change/", "work"),
    ("POST", f"{LIST}1/change/", "work"),
    ("POST", f"{LIST}1/state/", "work"),
    ("POST", f"{LIST}1/need/", "work"),
    ("POST", f"{LIST}1/need/1/remove/", "work"),
    ("POST", f"{LIST}1/need/1/close/", "work"),
    ("POST", f"{LIST}1/need/1/open/", "work"),
]


@pytest.mark.parametrize(("method", "address", "right"), ADDRESSES)
def test_the_wrong_person_gets_nowhere(make, as_outsider, as_viewer, client, method, address, right):
    make.job()
    assert as_outsider.generic(method, address).status_code == 404
    assert as_viewer.generic(method, address).status_code == (200 if right == "see" else 403)
    assert client.generic(method, address).status_code == 302


@pytest.mark.parametrize("number", ["2", "0", "99999999999999999999999999"])
@pytest.mark.parametrize(
    ("method", "rest"),
    [
        ("GET", ""),
        ("GET", "change/"),
        ("POST", "state/"),
        ("POST", "need/"),
        ("POST", "need/1/remove/"),
        ("POST", "need/1/close/"),
        ("POST", "need/1/open/"),
    ],
)
def test_a_job_that_is_not_there_is_not_found(make, as_owner, number, method, rest):
    make.job()
    assert as_owner.generic(method, f"{LIST}{number}/{rest}").status_code == 404


def test_a_want_of_another_job_or_boat_is_not_found(make, as_owner):
    make.job()
    second = add_need(make.job(), part=None, words="x", quantity=D(1))
    other = Factory.start(name="Other", prefix="other-")
    theirs = add_need(other.job(), part=None, words="x", quantity=D(1))
    for pk in (second.pk, theirs.pk, 99999999999999999999999):
        for deed in ("remove", "close", "open"):
            assert as_owner.post(f"{LIST}1/need/{pk}/{deed}/").status_code == 404
    assert Need.objects.filter(met_at=None).count() == 2


@pytest.mark.parametrize("rest", ["1/state/", "1/need/", "1/need/1/remove/", "1/need/1/close/"])
def test_what_changes_is_never_done_by_looking(make, as_owner, rest):
    make.job()
    assert as_owner.get(f"{LIST}{rest}").status_code == 405
    assert as_owner.post(LIST).status_code == 405


def test_names_that_would_run_or_deceive_stay_words(make, as_owner):
    job = make.job(EVIL, note=EVIL)
    add_need(job, part=make.part("\u202eevil " + EVIL), words="", quantity=D(1))
    add_need(job, part=None, words="=1+1 " + EVIL, quantity=D(1))
    for address in (LIST, f"{LIST}1/", f"{LIST}1/change/"):
        assert EVIL not in as_owner.get(address).content.decode()
    assert "<bdi>\u202eevil" in as_owner.get(f"{LIST}1/").content.decode()
