"""Asking after orders: the newest promise is the day expected; whom to ask today; last days; undo."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from refit.buying import chasing
from refit.buying.actions import chasing as acts
from refit.buying.actions.chasing import OrderDates
from refit.buying.actions.deliveries import Arrival, book_in
from refit.buying.models import Promise
from tests.factory import Factory
from tests.refusing import refuse

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]


@pytest.fixture
def order(make):
    return make.order(on=make.today - timedelta(days=20))


def say(make: Factory, order, day=None, ago: int = 0, **facts) -> Promise:
    """Write down that somebody promised a day, counted from today, so many days ago."""
    day = None if day is None else make.today + timedelta(days=day)
    said = make.today - timedelta(days=ago)
    values = {"said_on": said, "by": make.owner, "today": make.today, "who": "Desk"} | facts
    return acts.promise(order, day, **values)


def due(make: Factory) -> list[tuple[int, str]]:
    return [(row.order.number, row.why.value) for row in chasing.to_chase(make.boat, make.today)[0]]


def test_the_newest_promise_is_the_day_expected(make, order):
    say(make, order, 5, ago=3)
    say(make, order, 9, ago=1)
    order.refresh_from_db()
    assert order.expected_on == make.today + timedelta(days=9)
    say(make, order, 2, ago=2)  # an older word, written down late
    order.refresh_from_db()
    assert order.expected_on == make.today + timedelta(days=9)
    say(make, order, None)
    order.refresh_from_db()
    assert order.expected_on is None


def test_what_the_order_said_first_is_kept_and_comes_back_with_the_undo(make):
    first = make.today + timedelta(days=1)
    order = make.order(expected_on=first, on=make.today - timedelta(days=4))
    made = say(make, order, 8, chase_on=make.today + timedelta(days=6))
    kept = chasing.promises_of(order)
    assert [(row.day, row.note) for row in kept] == [(made.day, ""), (first, acts.AS_ORDERED)]
    refuse("as_ordered", lambda: acts.take_back_promise(kept[1]))
    acts.take_back_promise(made)
    order.refresh_from_db()
    assert (order.expected_on, order.chase_on, order.promises.count()) == (first, None, 0)
    refuse("gone", lambda: acts.take_back_promise(made))


def test_whom_to_ask_today(make):
    """Late, to be asked after by now, and no day at all since yesterday; a later day to ask puts it off."""
    long_ago = make.today - timedelta(days=30)
    late = make.order(on=long_ago, expected_on=make.today - timedelta(days=1))
    in_time = make.order(on=long_ago, expected_on=make.today)
    no_day = make.order(on=make.today - timedelta(days=1))
    make.order()  # of today: give them a night
    rent = make.order(make.line(words="Rent", service=True), on=long_ago)
    assert rent.lines.get().kind == "service"
    asked = make.order(on=long_ago, expected_on=make.today + timedelta(days=3))
    acts.mind_order(asked, OrderDates(chase_on=make.today), today=make.today)
    assert due(make) == [
        (late.number, "late"),
        (asked.number, "ask again"),
        (no_day.number, "no day promised"),
    ]
    acts.mind_order(late, OrderDates(chase_on=make.today + timedelta(days=2)), today=make.today)
    assert (late.number, "late") not in due(make)
    later = chasing.to_chase(make.boat, make.today)[1]
    assert [(row.order.number, row.late_days) for row in later] == [(late.number, 1)]
    assert in_time.number not in [row.order.number for row in later]


@pytest.mark.parametrize(
    ("day", "facts", "code"),
    [
        (-30, {}, "day"),
        (365 * 90, {}, "day"),
        (1, {"ago": 40}, "before_order"),
        (1, {"ago": -1}, "future"),
        (1, {"chase": -1}, "chase"),
        (1, {"chase": 365 * 90}, "chase"),
    ],
)
def test_what_cannot_have_been_promised_is_refused(make, order, day, facts, code):
    chase = facts.pop("chase", None)
    chase_on = None if chase is None else make.today + timedelta(days=chase)
    refuse(code, lambda: say(make, order, day, chase_on=chase_on, **facts))


def test_nothing_is_promised_for_what_is_not_to_come(make):
    draft = make.draft()
    refuse("not_coming", lambda: say(make, draft, 3))
    refuse("not_placed", lambda: acts.mind_order(draft, OrderDates(), today=make.today))


def test_last_days_follow_from_the_day_it_came_unless_typed(make):
    shop = make.supplier(return_days=14, claim_days=3)
    order = make.order(supplier=shop, on=make.today - timedelta(days=9))
    assert chasing.last_days_of(order, make.today) == []
    line = order.lines.get()
    came = make.today - timedelta(days=2)
    book_in(make.boat, [Arrival(line, line.quantity)], by=make.owner, on=came, today=make.today)
    order.refresh_from_db()
    found = {row.what: row.day for row in chasing.last_days(make.boat, make.today)}
    assert found == {"go back": came + timedelta(days=14), "claim": came + timedelta(days=3)}
    typed = OrderDates(return_by=make.today + timedelta(days=5))
    acts.mind_order(order, typed, today=make.today)
    found = {row.what: (row.day, row.typed) for row in chasing.last_days(make.boat, make.today)}
    assert found["go back"] == (make.today + timedelta(days=5), True)
    later = make.today + timedelta(days=4)
    assert "claim" not in {row.what for row in chasing.last_days(make.boat, later)}
    before = OrderDates(claim_by=make.today - timedelta(days=30))
    assert refuse("day", lambda: acts.mind_order(order, before, today=make.today)).field == "claim_by"


def test_chasing_costs_the_same_number_of_queries_however_much(make, order):
    def queries() -> int:
        with CaptureQueriesContext(connection) as seen:
            chasing.to_chase(make.boat, make.today)
            chasing.last_days(make.boat, make.today)
        return len(seen)

    say(make, order, None, ago=1)
    few = queries()
    for _ in range(8):
        one = make.order(on=make.today - timedelta(days=5))
        say(make, one, None, ago=1)
    assert queries() == few == 5
