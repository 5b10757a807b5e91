"""Random orders: whatever is bought in whatever way, nothing is lost or invented by a penny.

Orders in several currencies, with charges shared by value, weight and count, tax of every kind, part deliveries,
won't come, undo and cancel; after each deed all sums agree and the ledger is clean.
"""

import contextlib
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from refit.boat.refusals import Refused
from refit.buying import spend
from refit.buying.actions import deliveries, orders
from refit.buying.actions.deliveries import Arrival
from refit.buying.actions.orders import ChargeFacts, LineFacts
from refit.buying.actions.payments import Split, pay
from refit.buying.models import Charge, Delivery, Line, Order, OrderState
from refit.carry.ledger import differences
from tests.factory import D, Factory

CURRENCIES = {"GBP": None, "EUR": D("1.17"), "JPY": D("189.23"), "KWD": D("0.3891"), "SEK": D("13.42")}
KINDS = ("freight", "duty", "tax", "handling", "card", "discount")

line = st.fixed_dictionaries(
    {
        "packs": st.sampled_from(["1", "2", "3", "0.5", "7", "12"]),
        "pack_size": st.sampled_from(["1", "1", "100", "0.25"]),
        "price": st.integers(0, 99_999).map(lambda pence: D(pence) / 100),
        "total": st.booleans(),
        "job": st.booleans(),
        "system": st.integers(0, 1),
        "what": st.sampled_from(["part", "part", "words", "service"]),
    }
)
charge = st.fixed_dictionaries(
    {
        "kind": st.sampled_from(KINDS),
        "amount": st.integers(0, 9_999).map(lambda pence: D(pence) / 100),
        "basis": st.sampled_from(["value", "weight", "count"]),
        "mark": st.sampled_from(["", "reclaimable", "in_prices", "both"]),
        "home": st.booleans(),
        "some": st.booleans(),
    }
)
an_order = st.fixed_dictionaries(
    {
        "currency": st.sampled_from(sorted(CURRENCIES)),
        "charged": st.none() | st.integers(1, 500_000).map(lambda pence: D(pence) / 100),
        "lines": st.lists(line, min_size=1, max_size=4),
        "charges": st.lists(charge, max_size=3),
        "days_ago": st.integers(0, 120),
    }
)
a_deed = st.tuples(
    st.sampled_from(
        ["arrive", "arrive", "arrive", "wont", "undo", "cancel", "uncancel", "draft", "place", "pay"]
    ),
    st.integers(0, 10**6),
)


def facts(make: Factory, given: dict, parts: list, job) -> tuple[list[LineFacts], list[ChargeFacts]]:
    """Turn what was drawn into an order as typed."""
    whole = given["currency"] == "JPY"
    lines = []
    for number, row in enumerate(given["lines"]):
        lines.append(
            LineFacts(
                packs=D(row["packs"]),
                pack_size=D(row["pack_size"]),
                price=row["price"].quantize(D(1)) if whole else row["price"],
                total=row["total"],
                part=parts[number % len(parts)] if row["what"] == "part" else None,
                words="" if row["what"] == "part" else "Work and bits",
                service=row["what"] == "service",
                job=job if row["job"] else None,
                system=(make.system, make.other_system)[row["system"]],
            )
        )
    charges = []
    for row in given["charges"]:
        tax = row["kind"] == "tax"
        basis = row["basis"]
        if basis == "weight" and any(line.part is None and not line.service for line in lines):
            basis = "count"  # words have no weight
        charges.append(
            ChargeFacts(
                row["kind"],
                row["amount"],
                currency=make.boat.currency if row["home"] else "",
                basis=basis,
                reclaimable=tax and row["mark"] in ("reclaimable", "both"),
                in_prices=tax and row["mark"] in ("in_prices", "both"),
                lines=(0,) if row["some"] else None,
            )
        )
    return lines, charges


def do(make: Factory, order: Order, deed: str, dice: int) -> None:
    """Do one deed to an order, or be refused."""
    order.refresh_from_db()
    line = order.lines.all()[dice % order.lines.count()]
    if deed == "arrive":
        quantity = max(D(dice % 1000) / 1000 * line.quantity, D("0.001")).quantize(D("0.001"))
        arrival = Arrival(line, quantity, more_agreed=dice % 7 == 0, to_job=dice % 2 == 0)
        deliveries.book_in(make.boat, [arrival], by=make.owner, on=make.today, today=make.today)
    elif deed == "wont":
        arrival = Arrival(line, wont_come=True)
        deliveries.book_in(make.boat, [arrival], by=make.owner, on=make.today, today=make.today)
    elif deed == "undo":
        standing = list(Delivery.objects.filter(lines__line__order=order, undone_at=None).distinct())
        if standing:
            deliveries.undo_delivery(standing[dice % len(standing)], by=make.owner, today=make.today)
    elif deed == "cancel":
        orders.cancel_order(order)
    elif deed == "uncancel":
        orders.uncancel_order(order)
    elif deed == "draft":
        orders.back_to_draft(order)
    elif deed == "place":
        orders.place_order(order, on=make.today, today=make.today)
    else:
        split = Split(dice % 10_000, order=order)
        pay(make.boat, [split], on=make.today, today=make.today, by=make.owner)


def check_sums(make: Factory) -> None:
    """Assert what must always be true of money."""
    boat = make.boat
    for order in Order.objects.filter(boat=boat):
        lines = list(order.lines.all())
        assert sum(line.landed for line in lines) == order.landed
        assert sum(line.goods + line.charges for line in lines) == order.landed
        effects = sum(Charge.objects.filter(order=order).values_list("effect", flat=True))
        assert sum(line.charges for line in lines) == effects
        for charge in order.charges.all():
            assert sum(charge.shares.values_list("home", flat=True)) == charge.effect
        for row in lines:
            assert sum(row.shares.values_list("home", flat=True)) == row.charges
            assert (0 <= row.delivered <= row.landed) or row.landed < 0
            if row.counted and row.arrived >= row.wanted:
                assert row.delivered == row.landed
    rows = spend.facts(boat, spend.Filters())
    whole = spend.Money()
    for row in rows:
        whole.add(spend.Money(row.ordered, row.delivered, row.paid))
    counted = Line.objects.filter(boat=boat, counted=True)
    assert whole.ordered == sum(counted.values_list("landed", flat=True))
    in_sums = Order.objects.counted().filter(boat=boat)
    assert whole.ordered == sum(in_sums.values_list("landed", flat=True))
    for by in ("system", "job", "supplier"):
        added = spend.Money()
        for money in spend.totals(rows, by).values():
            added.add(money)
        assert added == whole
    months = spend.Money()
    for money in spend.by_month(boat, rows).values():
        months.add(money)
    assert months == whole


@pytest.fixture
def cast(make):
    """A boat, parts that have a weight, and a job; a rate is typed for each foreign order."""
    parts = [
        make.part(weight_kg=D("0.25")),
        make.part(weight_kg=D("12.5")),
        make.part(kept="level", weight_kg=D(1)),
    ]
    return make, parts, make.job()


@settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    derandomize=True,
)
@given(drawn=st.lists(an_order, min_size=1, max_size=3), deeds=st.lists(a_deed, max_size=8))
def test_whatever_is_bought_the_sums_agree(cast, drawn, deeds):
    """Systems = jobs = suppliers = months = orders = lines; shares = charges."""
    make, parts, job = cast
    with transaction.atomic():
        made = []
        for given_order in drawn:
            lines, charges = facts(make, given_order, parts, job)
            on = make.today - timedelta(days=given_order["days_ago"])
            try:
                with transaction.atomic():
                    made.append(
                        make.order(
                            *lines,
                            charges=tuple(charges),
                            currency=given_order["currency"],
                            rate=CURRENCIES[given_order["currency"]],
                            charged=given_order["charged"],
                            on=on,
                        )
                    )
            except Refused as refused:
                if refused.code not in ("charged", "rate"):  # a card charged for nothing sets no rate
                    raise
        check_sums(make)
        for deed, dice in deeds if made else []:
            order = made[dice % len(made)]
            with contextlib.suppress(Refused), transaction.atomic():
                do(make, order, deed, dice)
            check_sums(make)
            assert list(differences()) == []
        transaction.set_rollback(True)


@pytest.mark.parametrize("currency", sorted(CURRENCIES))
def test_what_the_card_was_charged_is_the_cost_to_the_penny(make, currency, clean_ledger):
    """Whatever the rate rounds to, the order costs what left the account."""
    if currency == "GBP":
        return_rate = make.order(make.line(price=D("10.00")), charged=D("11.00"))
        assert return_rate.landed == 1000  # in one's own money the paper is right
        return
    order = make.order(
        make.line(price=D(3), packs=D(7)),
        make.line(price=D(11)),
        charges=(ChargeFacts("freight", D(5)), ChargeFacts("discount", D(2))),
        currency=currency,
        charged=D("123.45"),
    )
    assert order.landed == 12345
    assert sum(order.lines.values_list("landed", flat=True)) == 12345


def test_state_follows_what_comes(make, clean_ledger):
    """Ordered, part arrived, arrived; and back again by undo."""
    order = make.order(make.line(make.part(), packs=D(4)))
    line = order.lines.get()
    seen = [order.state]
    came = []
    for quantity in (1, 3):
        arrival = Arrival(line, Decimal(quantity))
        came.append(deliveries.book_in(make.boat, [arrival], by=make.owner, on=make.today, today=make.today))
        order.refresh_from_db()
        seen.append(order.state)
    for delivery in came:
        deliveries.undo_delivery(delivery, by=make.owner, today=make.today)
        order.refresh_from_db()
        seen.append(order.state)
    assert seen == [
        OrderState.ORDERED,
        OrderState.PART_ARRIVED,
        OrderState.ARRIVED,
        OrderState.PART_ARRIVED,
        OrderState.ORDERED,
    ]
