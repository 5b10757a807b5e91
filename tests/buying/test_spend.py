"""Spend is counted once: systems, jobs, suppliers and months add up to the same money, by every route."""

import random
from collections import defaultdict
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from django.db import connection
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from refit.boat.actions.boats import set_budget
from refit.buying import spend
from refit.buying.actions.deliveries import Arrival, book_in, undo_delivery
from refit.buying.actions.orders import ChargeFacts, back_to_draft, cancel_order, place_order
from refit.buying.actions.payments import Split, pay
from refit.buying.models import Line, Order
from refit.buying.spend import Filters
from tests.factory import D, Factory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]
START = date(2026, 1, 20)


def season(make: Factory, seed: int, orders: int = 12) -> None:
    """Buy at random for some months: currencies, charges, part deliveries, payments, cancellations."""
    luck = random.Random(seed)
    systems = [make.system, make.other_system]
    jobs = [None, make.job(), make.job(system=make.other_system)]
    suppliers = [make.supplier(), make.supplier(), make.supplier()]
    parts = [make.part() for _ in range(4)]
    for _ in range(orders):
        day = START + timedelta(days=luck.randrange(150))
        lines = [
            make.line(
                luck.choice([None, *parts]),
                packs=D(luck.randrange(1, 9)),
                price=D(luck.randrange(0, 99_999)) / 100,
                system=luck.choice(systems),
                job=luck.choice(jobs),
            )
            for _ in range(luck.randrange(1, 4))
        ]
        charges = tuple(
            ChargeFacts(
                kind, D(luck.randrange(1, 5000)) / 100, reclaimable=kind == "tax" and luck.random() < 0.5
            )
            for kind in ("freight", "duty", "tax", "discount")
            if luck.random() < 0.4
        )
        currency, rate = luck.choice([("GBP", None), ("EUR", D("1.17")), ("JPY", D("191.3"))])
        order = make.draft(
            *lines, charges=charges, supplier=luck.choice(suppliers), currency=currency, rate=rate
        )
        if luck.random() < 0.1:
            continue
        order = place_order(order, on=day, today=make.today)
        if luck.random() < 0.15:
            cancel_order(order)
            continue
        live(make, order, luck, day)


def live(make: Factory, order: Order, luck: random.Random, day: date) -> None:
    """Let some of an order come, some of it never, and some of it be paid."""
    for _ in range(luck.randrange(3)):
        arrivals = []
        for line in order.lines.all():
            if line.open_quantity > 0 and luck.random() < 0.7:
                arrivals.append(Arrival(line, D(luck.randrange(1, int(line.open_quantity) + 1))))
        if arrivals:
            day += timedelta(days=luck.randrange(40))
            delivery = book_in(make.boat, arrivals, by=make.owner, on=day, today=make.today)
            if luck.random() < 0.15:
                undo_delivery(delivery, by=make.owner, today=make.today)
    rest = [line for line in order.lines.all() if line.open_quantity > 0]
    if rest and luck.random() < 0.2:
        book_in(make.boat, [Arrival(rest[0], wont_come=True)], by=make.owner, on=day, today=make.today)
    order.refresh_from_db()
    for _ in range(luck.randrange(3)):
        if order.landed > 0 and order.state != "cancelled":
            paid = luck.randrange(1, order.landed + 1)
            day += timedelta(days=luck.randrange(30))
            split = Split(paid, order=order)
            pay(make.boat, [split], on=min(day, make.today), today=make.today, by=make.owner)


def sums(rows: dict) -> tuple[int, int, int]:
    return (
        sum(money.ordered for money in rows.values()),
        sum(money.delivered for money in rows.values()),
        sum(money.paid for money in rows.values()),
    )


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 10**9))
def test_every_view_adds_up_to_the_same(make: Factory, seed: int):
    """Each example buys more on the same boat; the law holds after every season."""
    season(make, seed, orders=5)
    facts = spend.facts(make.boat, Filters())
    whole = sums(spend.totals(facts, "system"))
    assert sums(spend.totals(facts, "job")) == whole
    assert sums(spend.totals(facts, "supplier")) == whole
    assert sums(spend.by_month(make.boat, facts)) == whole
    assert whole == by_sql(make)


def by_sql(make: Factory) -> tuple[int, int, int]:
    """Sum the orders instead of the lines, in SQL, past every function under test."""
    with connection.cursor() as cursor:
        cursor.execute(
            "select coalesce(sum(landed), 0), coalesce(sum(delivered), 0) from buying_order"
            " where boat_id = %s and state in ('ordered', 'part', 'arrived')",
            [make.boat.pk],
        )
        ordered, delivered = cursor.fetchone()
        cursor.execute(
            "select coalesce(sum(s.amount), 0) from buying_paymentsplit s join buying_order o on o.id = s.order_id"
            " where s.boat_id = %s and o.state in ('ordered', 'part', 'arrived')",
            [make.boat.pk],
        )
        (paid,) = cursor.fetchone()
    return int(ordered), int(delivered), int(paid)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_filters_take_the_boat_apart_and_lose_nothing(make: Factory, seed: int):
    season(make, seed, orders=20)
    boat = make.boat
    whole = sums(spend.totals(spend.facts(boat, Filters()), "system"))

    def over(filters: list[Filters]) -> tuple[int, ...]:
        each = [sums(spend.totals(spend.facts(boat, one), "system")) for one in filters]
        return tuple(map(sum, zip(*each, strict=True)))

    middle = START + timedelta(days=70)
    assert over([Filters(system=pk) for pk in boat.systems.values_list("pk", flat=True)]) == whole
    assert over([Filters(supplier=pk) for pk in boat.suppliers.values_list("pk", flat=True)]) == whole
    assert over([Filters(group="200"), Filters(group="900")]) == whole
    jobs = [Filters(job=pk) for pk in boat.jobs.values_list("pk", flat=True)]
    assert over([*jobs, Filters(no_job=True)]) == whole
    assert over([Filters(until=middle), Filters(since=middle + timedelta(days=1))]) == whole


def test_months_hold_under_a_filter_too(make: Factory):
    season(make, 7, orders=20)
    job = make.boat.jobs.first()
    for filters in (Filters(job=job.pk), Filters(no_job=True), Filters(group="900")):
        facts = spend.facts(make.boat, filters)
        assert sums(spend.by_month(make.boat, facts)) == sums(spend.totals(facts, "system"))


def test_arrived_is_landed_cost_by_how_much_came(make: Factory):
    """Another route: each line's landed cost times arrived over wanted, rounded half up once."""
    season(make, 11, orders=25)
    want = 0
    for line in Line.objects.filter(boat=make.boat, counted=True):
        came = min(Fraction(line.arrived) / Fraction(line.wanted), Fraction(1))
        want += int(Fraction(line.landed) * came + Fraction(1, 2))
    assert want == sums(spend.totals(spend.facts(make.boat, Filters()), "system"))[1]


def test_what_is_not_ordered_yet_or_cancelled_is_in_no_sum(make: Factory):
    make.draft(make.line(price=D("99")))
    cancel_order(make.order(make.line(price=D("50"))))
    assert spend.facts(make.boat, Filters()) == []
    order = make.order(make.line(price=D("20")))
    assert sums(spend.totals(spend.facts(make.boat, Filters()), "system")) == (2000, 0, 0)
    back_to_draft(order)
    assert spend.facts(make.boat, Filters()) == []


def test_each_sum_stands_in_its_own_month(make: Factory):
    order = make.order(make.line(price=D("30"), packs=D(3)), on=date(2026, 1, 31))
    line = order.lines.get()
    book_in(make.boat, [Arrival(line, D(1))], by=make.owner, on=date(2026, 2, 1), today=make.today)
    book_in(make.boat, [Arrival(line, D(2))], by=make.owner, on=date(2026, 3, 1), today=make.today)
    split = Split(9000, order=order)
    pay(make.boat, [split], on=date(2026, 4, 2), today=make.today, by=make.owner)
    months = spend.by_month(make.boat, spend.facts(make.boat, Filters()))
    assert {month: (m.ordered, m.delivered, m.paid) for month, m in months.items()} == {
        "2026-01": (9000, 0, 0),
        "2026-02": (0, 3000, 0),
        "2026-03": (0, 6000, 0),
        "2026-04": (0, 0, 9000),
    }


def test_a_payment_falls_on_lines_by_their_cost_and_loses_nothing(make: Factory):
    order = make.order(make.line(price=D("1")), make.line(price=D("1")), make.line(price=D("1")))
    split = Split(100, order=order)
    pay(make.boat, [split], on=make.today, today=make.today, by=make.owner, means="cash")
    paid = [fact.paid for fact in spend.facts(make.boat, Filters()) if fact.paid]
    assert sum(paid) == 100
    assert sorted(paid) == [33, 33, 34]


def test_the_newest_budget_up_to_the_day_counts(make: Factory):
    for amount, day in ((1000, date(2026, 1, 1)), (3000, date(2026, 3, 1)), (2000, date(2026, 2, 1))):
        set_budget(make.system, amount, on=day, by=make.owner)
    assert spend.budgets(make.boat, date(2025, 12, 31)) == {}
    assert spend.budgets(make.boat, date(2026, 2, 28)) == {make.system.pk: 2000}
    assert spend.budgets(make.boat, date(2026, 3, 1)) == {make.system.pk: 3000}


def test_another_boat_is_never_in_the_sums(make: Factory):
    other = Factory.start(name="Other", prefix="other-")
    other.order(other.line(price=D("500")))
    assert spend.facts(make.boat, Filters()) == []
    assert spend.facts(make.boat, Filters(system=other.system.pk)) == []


def test_reading_spend_takes_the_same_queries_whatever_its_length(make: Factory, django_assert_num_queries):
    make.order(make.line())
    with django_assert_num_queries(6):
        spend.by_month(make.boat, spend.facts(make.boat, Filters()))
    by_day = defaultdict(int)
    for at in range(60):
        order = make.order(make.line(), make.line(), on=START + timedelta(days=at))
        by_day[order.ordered_on] += order.landed
    with django_assert_num_queries(6):
        months = spend.by_month(make.boat, spend.facts(make.boat, Filters()))
    assert sum(m.ordered for m in months.values()) == sum(by_day.values()) + Decimal(1000)
