"""Today: what needs doing now, the first steps of a new boat, and a clock that can't be believed."""

import re
from datetime import UTC, date, datetime, timedelta
from html import unescape
from unittest import mock

import pytest
from django.utils import timezone

from refit.boat.actions.boats import make_boat, set_budget
from refit.boat.models import Boat, Label, Paper
from refit.buying.actions.deliveries import Arrival, book_in
from refit.buying.actions.refunds import Refund, add_refund
from refit.pages import clock
from refit.stores.actions.parts import add_need
from refit.stores.actions.stow import not_there
from refit.stores.models import Entry
from refit.work.models import Job
from tests.factory import D, Factory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]
PAGE, CLOCK = "/test-boat/", "/test-boat/clock/"


def text_of(response) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", response.content.decode())).split())


def cards(response) -> dict[str, int]:
    """Return the cards of the page by their words."""
    found = re.findall(
        r'<a class="card[^"]*" href="[^"]+"><b>(\d+)</b> ([^<]+)</a>', response.content.decode()
    )
    return {word: int(count) for count, word in found}


def busy(make: Factory) -> None:
    """One of everything that needs doing."""
    day = make.today
    spare = make.part("Belt", is_spare=True, minimum=D(2), has_expiry=True)
    make.stock(spare, make.place(), 1, expires_on=day - timedelta(days=1))
    gone = make.stock(make.part(), make.place(), 1)
    not_there(gone, by=make.owner, on=day, today=day)
    late = make.order(
        make.line(make.part(), packs=D(2)), on=day - timedelta(days=40), expected_on=day - timedelta(days=1)
    )
    book_in(make.boat, [Arrival(late.lines.get(), D(1))], by=make.owner, on=day, today=day)
    make.order(make.line(), on=day - timedelta(days=1), expected_on=day + timedelta(days=3))
    make.order(make.line(), on=day - timedelta(days=1), expected_on=day + timedelta(days=30))
    make.draft()
    make.job("Fit the pump", state="in_hand")
    make.job("Bed the cleats", state="ready")
    make.job("Wait for paint", state="waiting")
    add_need(make.job("Splice"), part=None, words="a fid", quantity=D(1))
    Paper.objects.create(
        boat=make.boat, number=1, kind="receipt", in_tray=True, sha256="0" * 64, size=1, added_by=make.owner
    )


def test_what_needs_doing_is_counted(make, as_owner):
    busy(make)
    assert cards(as_owner.get(PAGE)) == {
        "not stowed yet": 1,
        "spares below the least": 1,
        "out of date": 1,
        "missing": 1,
        "orders late": 1,
        "orders due within 7 days": 1,
        "orders not ordered yet": 1,
        "orders and bills to pay": 3,
        "receipts to sort": 1,
        "jobs in hand": 1,
        "jobs ready": 1,
        "jobs waiting": 1,
        "open jobs still want parts": 1,
    }


def test_every_card_and_button_leads_somewhere(make, as_owner):
    busy(make)
    page = as_owner.get(PAGE).content.decode()
    main = page[page.index("<main") :]
    for address in set(re.findall(r'href="(/test-boat/[^"]*)"', main)):
        assert as_owner.get(unescape(address)).status_code == 200, address


def test_jobs_in_hand_and_ready_stand_by_name(make, as_owner):
    busy(make)
    said = text_of(as_owner.get(PAGE))
    assert "In hand 1 Fit the pump" in said
    assert "Ready to begin 2 Bed the cleats" in said
    assert "Wait for paint" not in said


def test_money_is_one_line(make, as_viewer):
    make.order(make.line(price=D("60")))
    set_budget(make.system, 5000, on=make.today, by=make.owner)
    assert "£60.00 spent or ordered of £50.00 budgeted, over by £10.00" in text_of(as_viewer.get(PAGE))


def test_what_came_back_is_not_spent(make, as_viewer):
    order = make.order(make.line(price=D("60")))
    back = Refund("price", D("4.50"), "GBP", came_on=make.today)
    add_refund(order, list(order.lines.all()), back, by=make.owner, today=make.today)
    assert "£55.50 spent or ordered" in text_of(as_viewer.get(PAGE))


def test_the_workbook_is_two_taps_away(make, as_viewer):
    """Today, then the spreadsheet: from anywhere, for Today is on every page."""
    assert 'href="/test-boat/spend.xlsx"' in as_viewer.get(PAGE).content.decode()


def test_a_quiet_boat_says_so(make, as_viewer):
    assert "Nothing presses today" in text_of(as_viewer.get(PAGE))


# First steps


def test_a_new_boat_is_led_through_its_first_steps(make, as_owner):
    make_boat(make.owner, name="New Boat", currency="EUR")
    page = as_owner.get("/new-boat/")
    assert "Begin here" in text_of(page)
    assert re.findall(r'<a class="button next" href="([^"]+)">', page.content.decode()) == [
        "/new-boat/lockers/quick/"
    ]


@pytest.mark.parametrize(
    ("done", "next_go"),
    [(1, "labels/"), (2, "jobs/new/"), (3, None)],
)
def test_the_next_step_is_the_one_filled_button(make, as_owner, done, next_go):
    make.place("S1")
    if done > 1:
        Label.objects.update(printed_at=timezone.now())
    if done > 2:
        make.job()
    page = as_owner.get(PAGE).content.decode()
    filled = re.findall(r'<a class="button next" href="/test-boat/([^"]+)">', page)
    assert filled == ([next_go] if next_go else [])
    assert ("First steps" in page) == bool(next_go)


def test_who_cannot_set_up_is_not_asked_to(make, as_viewer):
    assert "First steps" not in text_of(as_viewer.get(PAGE))


# Who


def test_a_trade_sees_its_jobs_only(make, as_trade):
    make.job("Weld the rail", given_to=make.member(make.trade))
    make.job("Secret plans", state="in_hand")
    make.order(make.line(price=D("77.77")))
    page = as_trade.get(PAGE)
    assert "Weld the rail" in text_of(page)
    assert "Secret" not in text_of(page)
    assert "77.77" not in text_of(page)
    assert cards(page) == {}


def test_a_trade_without_jobs_is_told_so(make, as_trade):
    assert "Nothing is given to you now" in text_of(as_trade.get(PAGE))


def test_the_wrong_person_gets_nowhere(make, as_outsider, as_viewer, client):
    assert as_outsider.get(PAGE).status_code == 404
    assert as_outsider.post(CLOCK).status_code == 404
    assert as_viewer.post(CLOCK).status_code == 403
    assert client.get(PAGE).status_code == 302


def test_the_wrong_method_is_refused(make, as_owner):
    assert as_owner.get(CLOCK).status_code == 405
    assert as_owner.get("/no-such-boat/").status_code == 404


def test_names_that_would_run_stay_words(make, as_owner):
    evil = "<script>alert(1)</script>"
    make.job(evil, state="in_hand")
    assert evil not in as_owner.get(PAGE).content.decode()


def test_the_page_takes_the_same_queries_with_10_and_150_rows(make, as_owner, django_assert_num_queries):
    rows(make, 10)
    with django_assert_num_queries(54):
        as_owner.get(PAGE)
    rows(make, 140)
    with django_assert_num_queries(54):
        assert cards(as_owner.get(PAGE))["not stowed yet"] == 150


def rows(make, count):
    lines = []
    for _ in range(count):
        job, part = make.job(state="in_hand"), make.part(is_spare=True, minimum=D(1))
        add_need(job, part=part, words="", quantity=D(3))
        lines.append(make.line(part, job=job))
    order = make.order(*lines)
    arrivals = [Arrival(line, D(1)) for line in order.lines.all()]
    book_in(make.boat, arrivals, by=make.owner, on=make.today, today=make.today)


# The clock


@pytest.mark.parametrize(
    ("days", "doubted"), [(-1, True), (0, False), (1, False), (60, False), (61, True), (4000, True)]
)
def test_the_day_is_doubted_before_the_newest_record_or_long_after_it(make, days, doubted):
    make.job()
    found = clock.doubt(make.boat, make.today + timedelta(days=days))
    assert (found is not None) == doubted
    assert found is None or found.backwards == (days < 0)


@pytest.mark.parametrize("record", ["job", "order", "entry", "budget", "paper"])
def test_every_kind_of_record_is_one_to_go_by(make, record):
    Boat.objects.update(created_at=datetime(2026, 1, 1, 12, tzinfo=UTC))
    later = datetime(2026, 2, 1, 12, tzinfo=UTC)
    with mock.patch("django.utils.timezone.now", return_value=later):
        if record == "job":
            make.job()
        elif record == "order":
            make.draft(supplier=make.supplier(), currency="GBP")
        elif record == "entry":
            make.stock(make.part(), make.place(), 1, on=date(2026, 2, 1))
        elif record == "budget":
            set_budget(make.system, 1, on=date(2026, 2, 1), by=make.owner)
        else:
            Paper.objects.create(
                boat=make.boat, number=1, kind="photo", sha256="0" * 64, size=1, added_by=make.owner
            )
    assert clock.newest_record(make.boat) == date(2026, 2, 1)


def test_the_newest_record_is_a_day_in_the_boats_own_zone(make):
    Boat.objects.update(created_at=datetime(2026, 1, 1, 23, 30, tzinfo=UTC), time_zone="Asia/Tokyo")
    assert clock.newest_record(Boat.objects.get()) == date(2026, 1, 2)


def test_another_boats_records_say_nothing_of_this_one(make):
    other = Factory.start(name="Other", prefix="other-")
    Boat.objects.filter(pk=make.boat.pk).update(created_at=datetime(2026, 1, 1, 12, tzinfo=UTC))
    other.job()
    assert clock.newest_record(Boat.objects.get(pk=make.boat.pk)) == date(2026, 1, 1)


def test_a_wrong_clock_is_asked_about_once_a_day(make, as_owner):
    Boat.objects.update(created_at=timezone.now() - timedelta(days=90))
    assert "over 60 days ago" in text_of(as_owner.get(PAGE))
    assert not Entry.objects.exists()
    assert "Today is" in text_of(as_owner.post(CLOCK, follow=True))
    assert "over 60 days ago" not in text_of(as_owner.get(PAGE))
    session = as_owner.session
    session["clock_is_right"] = {str(make.boat.pk): "2001-01-01"}
    session.save()
    assert "over 60 days ago" in text_of(as_owner.get(PAGE))


def test_a_clock_before_the_newest_record_is_asked_about(make, as_owner):
    make.job()
    Job.objects.update(made_at=timezone.now() + timedelta(days=3))
    assert "stands before the newest record" in text_of(as_owner.get(PAGE))
