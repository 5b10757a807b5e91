"""I have two hours: which jobs can be done now, by a table, and in which order; the page's ticks."""

import re
from datetime import timedelta
from decimal import Decimal
from html import unescape

import pytest

from refit.buying.doable import Ticks, doable
from refit.buying.netted import netted
from refit.pages.plan_rows import critical_of
from refit.work.models import After, Booking, Job, JobTrait, Milestone
from tests.factory import D
from tests.planned import need

pytestmark = pytest.mark.django_db
PAGE = "/test-boat/two-hours/"


def found(make, **ticks):
    net = netted(make.boat, make.today)
    return doable(net, critical_of(net), Ticks(**{"hours": D(2), **ticks}))


def titles(make, **ticks):
    return [row.job.title for row in found(make, **ticks).rows]


def text_of(response) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", response.content.decode())).split())


def job_with(make, title="Grease the winch", traits=(), **facts):
    job = make.job(title)
    Job.objects.filter(pk=job.pk).update(**{"days": D("0.25"), **facts})
    for trait in traits:
        JobTrait.objects.create(boat=make.boat, job=job, trait=trait)
    return job


# What a job is like, what is ticked, and whether it is shown.
TABLE = [
    ({}, {}, True),
    ({"days": D("0.25")}, {"hours": D(2)}, True),
    ({"days": D("0.251")}, {"hours": D(2)}, False),
    ({"days": D("0.251")}, {"hours": None}, True),
    ({"days": None}, {"hours": D("0.25")}, True),
    ({"days": D(0)}, {"hours": D("0.25")}, True),
    ({"dry": True}, {}, False),
    ({"dry": True}, {"dry": True}, True),
    ({"dry": False}, {"dry": True}, True),
    ({"above_celsius": 10}, {}, True),
    ({"above_celsius": 10}, {"celsius": 10}, False),
    ({"above_celsius": 10}, {"celsius": 11}, True),
    ({"above_celsius": -5}, {"celsius": -4}, True),
    ({"traits": ["noise"]}, {}, True),
    ({"traits": ["noise"]}, {"quiet": True}, False),
    ({"traits": ["noise"]}, {"no_dust": True}, True),
    ({"traits": ["dust"]}, {"no_dust": True}, False),
    ({"traits": ["dust", "paint"]}, {"quiet": True}, True),
]


@pytest.mark.parametrize(("job", "ticks", "shown"), TABLE)
def test_what_suits_the_day_and_the_hours_is_shown(make, job, ticks, shown):
    job_with(make, **job)
    assert bool(titles(make, **ticks)) == shown
    assert bool(found(make, **ticks).left_out) != shown


def after_another(make, job):
    After.objects.create(boat=make.boat, job=job, after=make.job("First"))


def cured_until(days):
    def held(make, job):
        paint = make.job("Paint", state="done")
        Job.objects.filter(pk=paint.pk).update(done_on=make.today - timedelta(days=3), cure_days=days)
        After.objects.create(boat=make.boat, job=job, after=paint)

    return held


def booked_in(ahead, **facts):
    def held(make, job):
        day = make.today + timedelta(days=ahead)
        Booking.objects.create(boat=make.boat, job=job, day=day, who="Rigger", **facts)

    return held


def with_facts(**facts):
    def held(make, job):
        Job.objects.filter(pk=job.pk).update(**facts)

    return held


def not_before_in(days):
    return lambda make, job: with_facts(not_before=make.today + timedelta(days=days))(make, job)


def wants(stock):
    def held(make, job):
        part = make.part("Grease")
        need(make, job, part, 2)
        if stock:
            make.stock(part, make.place("S1"), stock)

    return held


def wants_on_order(make, job):
    part = make.part()
    need(make, job, part)
    make.order(make.line(part, job=job), expected_on=make.today)


def space_with(state="in_hand", sole=True, mine=False, cure=None):
    def held(make, job):
        other = make.job("Other", state=state)
        facts = {"space": make.area}
        Job.objects.filter(pk=other.pk).update(sole_use=sole, **facts)
        Job.objects.filter(pk=job.pk).update(sole_use=mine, **facts)
        if cure is not None:
            Job.objects.filter(pk=other.pk).update(cure_days=cure, done_on=make.today - timedelta(days=2))

    return held


HELD = [
    (lambda make, job: None, True),
    (after_another, False),
    (cured_until(3), False),
    (cured_until(2), True),
    (booked_in(0), True),
    (booked_in(-1, days=2), True),
    (booked_in(-5), True),
    (booked_in(1), False),
    (booked_in(1, cancelled_at="2026-01-01T00:00Z"), True),
    (not_before_in(0), True),
    (not_before_in(1), False),
    (wants(2), True),
    (wants(1), False),
    (wants(0), False),
    (wants_on_order, False),
    (lambda make, job: need(make, job, None, words="a fid"), False),
    (with_facts(state="waiting"), False),
    (with_facts(state="done"), False),
    (with_facts(state="later"), False),
    (with_facts(before="another"), False),
    (with_facts(state="in_hand"), True),
    (lambda make, job: with_facts(space=make.area, sole_use=True)(make, job), True),
    (space_with(), False),
    (space_with(sole=False), True),
    (space_with(sole=False, mine=True), False),
    (space_with(state="ready"), True),
    (space_with(state="done", cure=2), False),
    (space_with(state="done", cure=1), True),
]


@pytest.mark.parametrize("case", range(len(HELD)))
def test_what_something_holds_up_is_not_shown(make, case):
    hold, shown = HELD[case]
    job = job_with(make)
    hold(make, job)
    assert (job.title in titles(make)) == shown


def test_afloat_waits_for_the_launch(make):
    job_with(make, before="afloat")
    assert titles(make) == ["Grease the winch"]
    Milestone.objects.create(boat=make.boat, kind="launch", name="Launch")
    assert titles(make) == []


def test_by_priority_then_critical_then_short_and_those_without_days_last(make):
    job_with(make, "Nobody knows", days=None, priority=1)
    job_with(make, "Normal, longer", days=D("0.25"))
    job_with(make, "Normal, short", days=D("0.1"))
    job_with(make, "Can wait", days=D("0.05"), priority=3)
    job_with(make, "First, of two", days=D("0.25"), priority=1)
    critical = job_with(make, "Critical", days=D("0.25"))
    last = make.job("Long one")
    Job.objects.filter(pk=last.pk).update(days=D(30))
    After.objects.create(boat=make.boat, job=last, after=critical)
    Milestone.objects.create(boat=make.boat, kind="launch", name="Launch")
    assert titles(make) == [
        "First, of two",
        "Critical",
        "Normal, short",
        "Normal, longer",
        "Can wait",
        "Nobody knows",
    ]


def test_in_hand_and_longer_is_there_to_go_on_with(make, as_owner):
    job_with(make, "Rebuild the windlass", days=D(6), state="in_hand")
    job_with(make, "Paint the mast", days=D(6))
    assert titles(make) == []
    assert [row.job.title for row in found(make).going] == ["Rebuild the windlass"]
    said = text_of(as_owner.get(PAGE))
    assert "In hand, to go on with" in said
    assert "Of what could be done, 1 take longer" in said


def test_what_is_marked_waiting_is_counted(make, as_owner):
    job_with(make, state="waiting")
    assert "1 more is marked waiting" in text_of(as_owner.get(PAGE))


def test_each_opens_its_fetch_list_in_one_tap(make, as_viewer):
    job = job_with(make, traits=["noise"], above_celsius=-5, cure_days=1)
    page = as_viewer.get(PAGE)
    assert f'<a class="row" href="/test-boat/jobs/{job.number}/fetch/">' in page.content.decode()
    said = text_of(page)
    assert "needs more than −5 °C · noisy · then left alone for 1 day" in said
    assert "1 job can be done now" in said
    assert as_viewer.get(f"/test-boat/jobs/{job.number}/fetch/").status_code == 200


@pytest.mark.parametrize(
    ("query", "many"),
    [
        ("", 1),
        ("hours=", 3),
        ("hours=8&dry=on", 3),
        ("hours=8", 2),
        ("hours=0,25", 0),
        ("hours=abc", 1),
        ("hours=-2", 1),
        ("celsius=abc", 3),
        ("hours=2&quiet=on", 1),
    ],
)
def test_the_ticks_of_the_page(make, as_owner, query, many):
    job_with(make)
    job_with(make, "Long", days=D("0.5"))
    job_with(make, "Dry", days=D("0.5"), dry=True)
    if query in ("hours=", "celsius=abc"):
        query += "&dry=on"
    said = text_of(as_owner.get(f"{PAGE}?{query}"))
    assert (f"{many} job" in said) if many else ("Nothing can be done now" in said)


def test_an_empty_list_says_what_to_do(make, as_owner):
    assert "No open jobs" in text_of(as_owner.get(PAGE))
    job_with(make, days=D(9))
    assert "Nothing for now" in text_of(as_owner.get(PAGE))


def test_who_may_look(make, as_viewer, as_trade, as_outsider, client, as_owner):
    assert as_viewer.get(PAGE).status_code == 200
    assert as_trade.get(PAGE).status_code == 403
    assert as_outsider.get(PAGE).status_code == 404
    assert client.get(PAGE).status_code == 302
    assert as_owner.post(PAGE).status_code == 405


def test_hours_are_days_of_eight(make):
    job_with(make, days=Decimal("0.125"))
    assert titles(make, hours=D(1))
    assert not titles(make, hours=D("0.999"))
