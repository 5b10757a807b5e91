"""Random money as it really comes: after every deed, all sums agree to the minor unit.

Orders in five currencies with charges; bills that come late, by other payees, over several orders; refunds applied
for, come, as store credit and in goodwill; goods back, sent and kept; payments that settle, that are split and taken
back; corrections, cancellations, arrivals and undos. A boat in pounds, and one in yen, which has no smaller unit.
"""

import contextlib
from collections import Counter
from dataclasses import dataclass, field
from datetime import timedelta
from fractions import Fraction
from math import floor
from random import Random
from typing import Any

import pytest
from django.db import transaction
from django.db.models import Sum
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from refit.boat.refusals import Refused
from refit.buying import spend
from refit.buying.actions import (
    charges,
    corrections,
    deliveries,
    deposits,
    disposals,
    orders,
    payments,
    refunds,
)
from refit.buying.actions.charges import Bill
from refit.buying.actions.corrections import Head, LineChange
from refit.buying.actions.deliveries import Arrival
from refit.buying.actions.orders import ChargeFacts, LineFacts
from refit.buying.actions.payments import Split
from refit.buying.actions.refunds import Refund
from refit.buying.models import (
    COUNTED_STATES,
    Charge,
    Credit,
    CreditKind,
    CreditShare,
    Delivery,
    Line,
    Order,
    Payment,
    PaymentSplit,
    Return,
    ReturnLine,
    Share,
    Supplier,
)
from refit.calc.money import from_minor
from refit.carry.ledger import differences
from refit.stores.models import Holding
from tests.factory import D, Factory

# Units of each for one pound; for one yen, the same divided by the pound's yen.
RATES = {"GBP": D(1), "EUR": D("1.17"), "SEK": D("13.42"), "JPY": D("189.23"), "KWD": D("0.3891")}
PLACES = {"JPY": 0, "KWD": 3}


@dataclass
class Season:
    """What a random season acts on, and the dice it is thrown with."""

    make: Factory
    dice: Random
    done: Counter[str] = field(default_factory=Counter)
    over: set[int] = field(default_factory=set)  # orders refunded beyond what they cost by now

    def __post_init__(self) -> None:
        make = self.make
        self.today = make.today
        self.parts = [make.part(weight_kg=D("0.25")), make.part(weight_kg=D("12.5"))]
        self.job = make.job()
        self.sellers = [make.supplier(), make.supplier()]
        self.courier = make.supplier("Courier")

    def rate(self, currency: str) -> Any:
        home = self.make.boat.currency
        return None if currency == home else (RATES[currency] / RATES[home]).quantize(D("0.00000001"))

    def money(self, currency: str, most: int = 60_000) -> Any:
        """Return an amount of some pounds in a currency, in its own least unit."""
        pence = self.dice.randrange(1, most)
        step = D(1).scaleb(-PLACES.get(currency, 2))
        return max((D(pence) / 100 * RATES[currency]).quantize(step), step)

    def day(self) -> Any:
        return self.today - timedelta(days=self.dice.randrange(120))

    def any(self, rows: Any) -> Any:
        rows = sorted(rows, key=lambda row: row.pk)  # as no database promises
        if not rows:
            raise Refused("There is none.", code="none")
        return self.dice.choice(rows)

    def who(self) -> dict[str, Any]:
        return {"by": self.make.owner, "today": self.today}

    # --- What may happen ---------------------------------------------------------------------------------------

    def line(self, currency: str) -> LineFacts:
        dice = self.dice
        part = dice.choice([*self.parts, None])
        return LineFacts(
            packs=D(dice.choice(["1", "2", "3", "7"])),
            pack_size=D(dice.choice(["1", "1", "0.25"])),
            price=self.money(currency) if dice.random() < 0.9 else D(0),
            total=dice.random() < 0.5,
            part=part,
            words="" if part else "Work",
            service=part is None,
            job=dice.choice([None, self.job]),
            system=dice.choice([self.make.system, self.make.other_system]),
        )

    def order(self) -> None:
        dice = self.dice
        currency = dice.choice(sorted(RATES))
        home = self.make.boat.currency
        kinds = ("freight", "duty", "tax", "handling", "card", "discount", "back")
        rows = []
        for kind in dice.sample(kinds, dice.randrange(3)):
            other = dice.random() < 0.4
            rows.append(
                ChargeFacts(
                    kind,
                    self.money(home if other else currency, 900),
                    currency=home if other else "",
                    basis=dice.choice(["value", "weight", "count"]),
                    expected=kind == "duty" and dice.random() < 0.7,
                    reclaimable=kind == "tax" and dice.random() < 0.5,
                    in_prices=kind == "tax" and dice.random() < 0.3,
                    payee=self.courier if kind == "duty" else None,
                )
            )
        self.make.order(
            *[self.line(currency) for _ in range(dice.randrange(1, 4))],
            charges=tuple(rows),
            supplier=dice.choice(self.sellers),
            currency=currency,
            rate=self.rate(currency),
            charged=self.money(home) if dice.random() < 0.3 else None,
            on=self.day(),
        )

    def bill(self, currency: str, **facts: Any) -> Bill:
        kind = self.dice.choice(["freight", "duty", "tax", "handling", "return", "restock"])
        return Bill(
            kind,
            self.money(currency, 4_000),
            currency,
            rate=self.rate(currency),
            basis=self.dice.choice(["value", "weight", "count"]),
            reclaimable=kind == "tax" and self.dice.random() < 0.5,
            payee=self.dice.choice([None, self.courier]),
            billed_on=self.dice.choice([None, self.today]),
            **facts,
        )

    def charge(self) -> None:
        order = self.any(Order.objects.filter(boat=self.make.boat, state__in=COUNTED_STATES))
        lines = list(order.lines.all())
        bill = self.bill(self.dice.choice([order.currency, self.make.boat.currency]))
        some = self.dice.sample(lines, self.dice.randrange(1, len(lines) + 1))
        charges.add_charge(self.make.boat, some, bill, **self.who())

    def parcel(self) -> None:
        lines = list(Line.objects.filter(boat=self.make.boat, order__state__in=COUNTED_STATES))
        some = self.dice.sample(lines, min(len(lines), self.dice.randrange(2, 6)))
        charges.add_charge(self.make.boat, some, self.bill(self.dice.choice(sorted(RATES))), **self.who())

    def bill_came(self) -> None:
        charge = self.any(Charge.objects.filter(boat=self.make.boat, expected=True))
        charges.bill_came(charge, self.bill(self.make.boat.currency), **self.who())

    def bill_not(self) -> None:
        charge = self.any(Charge.objects.filter(boat=self.make.boat, expected_home__isnull=False))
        charges.bill_did_not_come(charge, **self.who())

    def bill_changed(self) -> None:
        charge = self.any(Charge.objects.filter(boat=self.make.boat))
        bill = self.bill(charge.currency, expected=self.dice.random() < 0.2)
        charges.change_charge(charge, bill, **self.who())

    def bill_off(self) -> None:
        charges.remove_charge(self.any(Charge.objects.filter(boat=self.make.boat)), **self.who())

    def refund(self) -> None:
        order = self.any(Order.objects.filter(boat=self.make.boat, state__in=COUNTED_STATES))
        dice, home = self.dice, self.make.boat.currency
        left = refunds.left_to_refund(order)
        kind = dice.choice(list(CreditKind.values))
        currency = dice.choice([order.currency, home])
        amount = self.money(currency, max(min(abs(left), 30_000), 2))
        if currency == home and left > 0:
            amount = from_minor(dice.choice([left, max(left // 3, 1)]), home)
        came = dice.random() < 0.6
        refund = Refund(
            kind,
            amount,
            currency,
            came_on=self.today if came else None,
            applied_on=None if came else self.today,
            came=self.money(home, 3_000) if came and currency != home and dice.random() < 0.5 else None,
            reason="Sorry" if kind == CreditKind.GOODWILL else "",
            as_store_credit=dice.random() < 0.3,
        )
        lines = list(order.lines.all())
        refunds.add_refund(order, dice.sample(lines, dice.randrange(1, len(lines) + 1)), refund, **self.who())

    def refund_came(self) -> None:
        credit = self.any(Credit.objects.filter(boat=self.make.boat, came_on=None))
        came = self.money(self.make.boat.currency, 2_000) if self.dice.random() < 0.5 else None
        refunds.refund_came(credit, came_on=self.today, came=came, today=self.today)

    def refund_not(self) -> None:
        refunds.refund_did_not_come(
            self.any(Credit.objects.filter(boat=self.make.boat, came_on__isnull=False))
        )

    def refund_off(self) -> None:
        refunds.take_back_refund(self.any(Credit.objects.filter(boat=self.make.boat)))

    def back(self) -> None:
        line = self.any(Line.objects.filter(boat=self.make.boat, arrived__gt=0).select_related("order"))
        holding = Holding.objects.filter(part=line.part, quantity__gt=0).first() if line.part else None
        quantity = max((line.arrived / self.dice.choice([1, 2])).quantize(D("0.001")), D("0.001"))
        refunds.say_going_back(line.order, [(line, quantity, holding)], by=self.make.owner, on=self.today)

    def sent(self) -> None:
        back = self.any(Return.objects.filter(boat=self.make.boat, sent_on=None))
        refunds.send_back(back, by=self.make.owner, on=self.today, today=self.today)

    def not_sent(self) -> None:
        refunds.not_sent(self.any(Return.objects.filter(boat=self.make.boat)), **self.who())

    def kept(self) -> None:
        refunds.keep_after_all(self.any(Return.objects.filter(boat=self.make.boat)))

    def pay(self) -> None:
        dice, home = self.dice, self.make.boat.currency
        seller = dice.choice(self.sellers)
        rows = list(Order.objects.filter(supplier=seller, state__in=COUNTED_STATES))
        splits = []
        for order in dice.sample(rows, min(len(rows), dice.randrange(1, 4))):
            amount = max(order.landed // dice.choice([1, 2, 3]), 1) + dice.choice([0, 0, 1])
            settles = None
            if order.currency != home and dice.random() < 0.6:
                settles = int(max(D(amount) * (self.rate(order.currency) or D(1)), D(1)))
            splits.append(Split(amount, order=order, settles=settles))
        bill = Charge.objects.filter(boat=self.make.boat, expected=False, payee=self.courier).first()
        if bill is not None and dice.random() < 0.4:
            splits.append(Split(max(abs(bill.home), 1), charge=bill))
        means = "credit" if dice.random() < 0.3 else "card"
        if means == "credit" and splits:
            splits = [Split(max(payments.store_credit(seller), 1), order=splits[0].order)]
        on = max([self.today - timedelta(days=dice.randrange(20))])
        payments.pay(self.make.boat, splits, on=on, means=means, is_deposit=dice.random() < 0.2, **self.who())

    def pay_off(self) -> None:
        payments.take_back_payment(self.any(Payment.objects.filter(boat=self.make.boat)))

    def correct(self) -> None:
        order = self.any(Order.objects.filter(boat=self.make.boat, state__in=COUNTED_STATES))
        dice = self.dice
        kept = [line for line in order.lines.all() if dice.random() < 0.85]
        changes = []
        for line in kept:
            step = D(1).scaleb(-PLACES.get(order.currency, 2))
            price = (line.unit_price * dice.choice([1, 1, D("0.9"), D("1.3"), 0])).quantize(step)
            facts = LineFacts(
                packs=line.packs + dice.choice([0, 0, 1, -1]),
                pack_size=line.pack_size,
                price=price,
                part=line.part,
                words=line.words,
                service=line.kind == "service",
                job=dice.choice([None, self.job]),
                system=dice.choice([self.make.system, self.make.other_system]),
            )
            changes.append(LineChange(facts, line=line))
        if dice.random() < 0.3:
            changes.append(LineChange(self.line(order.currency)))
        head = Head(order.supplier, order.ordered_on, rate=self.rate(order.currency))
        corrections.correct_order(order, head, changes, **self.who())

    def arrive(self) -> None:
        order = self.any(Order.objects.filter(boat=self.make.boat, state__in=COUNTED_STATES))
        lines = list(order.lines.all())
        if self.dice.random() < 0.5:
            arrivals = [Arrival(line, line.open_quantity) for line in lines if line.open_quantity > 0]
        else:
            line = self.dice.choice(lines)
            some = max((line.open_quantity / 2).quantize(D("0.001")), D(0))
            arrivals = [Arrival(line, some, wont_come=self.dice.random() < 0.4)]
        deliveries.book_in(self.make.boat, arrivals, on=self.today, **self.who())

    def arrive_not(self) -> None:
        standing = Delivery.objects.filter(boat=self.make.boat, undone_at=None)
        deliveries.undo_delivery(self.any(standing), **self.who())

    def cancel(self) -> None:
        orders.cancel_order(self.any(Order.objects.filter(boat=self.make.boat)))

    def uncancel(self) -> None:
        orders.uncancel_order(self.any(Order.objects.filter(boat=self.make.boat)))

    def draft(self) -> None:
        orders.back_to_draft(self.any(Order.objects.filter(boat=self.make.boat)))

    def place(self) -> None:
        order = self.any(Order.objects.filter(boat=self.make.boat, state="draft"))
        orders.place_order(order, on=self.day(), today=self.today)

    def lose(self) -> None:
        order = self.any(Order.objects.filter(boat=self.make.boat, payment_splits__isnull=False).distinct())
        deposits.lose_deposit(order, on=self.today, **self.who())

    def found(self) -> None:
        lost = Delivery.objects.filter(boat=self.make.boat, undone_at=None, note__startswith=deposits.LOST)
        deposits.find_deposit(self.any(lost), **self.who())

    def again(self) -> None:
        order = self.any(Order.objects.filter(boat=self.make.boat, state__in=COUNTED_STATES))
        repeat = payments.repeat_order(order, every_months=1, next_on=self.day())
        payments.confirm_repeat(repeat, **self.who())

    def sold(self) -> None:
        facts = {"kind": "sold", "what": "Old winch", "system": self.make.system, "on": self.day()}
        disposals.add_disposal(self.make.boat, amount=self.dice.randrange(9_000), **facts, **self.who())


DEEDS = [
    *["order", "charge", "parcel", "bill_came", "refund", "pay", "correct", "arrive", "back"] * 3,
    *["refund_came", "sent", "pay_off", "parcel", "pay", "arrive"] * 2,
    *["bill_not", "bill_changed", "bill_off", "refund_not", "refund_off", "not_sent", "kept"],
    *["arrive_not", "cancel", "uncancel", "draft", "place", "lose", "found", "again", "sold"],
]


def check(boat: Any) -> None:
    """Assert what must always be true of money, by sums that pass every function under test."""
    lines = list(Line.objects.filter(boat=boat).select_related("order"))
    for order in Order.objects.filter(boat=boat):
        mine = [line for line in lines if line.order_id == order.pk]
        for name in ("goods", "landed", "delivered", "refunded"):
            assert sum(getattr(line, name) for line in mine) == getattr(order, name), (order, name)
        check_settled(order, mine)
    shares, bearing = total_by(Share, "charge"), total_by(Share, "line")
    for charge in Charge.objects.filter(boat=boat):
        assert shares.get(charge.pk, 0) == charge.effect
    for line in lines:
        assert line.goods + line.charges == line.landed
        assert bearing.get(line.pk, 0) == line.charges
    splits = total_by(PaymentSplit, "payment", "amount")
    for payment in Payment.objects.filter(boat=boat):
        assert splits.get(payment.pk, 0) == payment.amount
    credited = total_by(CreditShare, "credit")
    for credit in Credit.objects.filter(boat=boat):
        assert credited.get(credit.pk, 0) == credit.home
    back = total_by(ReturnLine, "line", "quantity")
    assert all(back.get(line.pk, 0) <= line.arrived for line in lines)
    kept = Credit.objects.filter(as_store_credit=True, came_on__isnull=False).values_list("order__supplier")
    for seller in Supplier.objects.filter(pk__in=kept):
        assert payments.store_credit(seller) >= 0
    check_spend(boat, lines)


def check_settled(order: Order, lines: list[Line]) -> None:
    """Assert that what was settled costs what was truly paid for it, and only the rest goes by the rate."""
    home = order.boat.currency
    settling = order.payment_splits.exclude(settles=None).aggregate(own=Sum("settles"), home=Sum("amount"))
    if order.currency == home or not settling["own"] or any(line.wont_come for line in lines):
        return
    charges = [
        (-1 if charge.kind == "discount" else 1, charge)
        for charge in order.charges.filter(currency=order.currency, in_prices=False, payee=None)
    ]
    bill = sum(line.amount for line in lines) + sum(sign * charge.amount for sign, charge in charges)
    cost = order.goods + sum(charge.home for _, charge in charges)
    if bill >= settling["own"]:
        places = PLACES.get(home, 2) - PLACES.get(order.currency, 2)
        rest = Fraction(bill - settling["own"]) / Fraction(order.rate) * Fraction(10) ** places
        assert cost == settling["home"] + floor(rest + Fraction(1, 2)), order


def check_ceiling(season: Season, deed: str) -> None:
    """Assert that what came back or is applied for is within what each order costs, goodwill aside.

    A payment is a fact: where it settles for less what was refunded before at another rate, it stands.
    """
    taken = Credit.objects.exclude(kind=CreditKind.GOODWILL).order_by().values_list("order")
    back = dict(taken.annotate(total=Sum("home")))
    costs = Order.objects.filter(pk__in=back, state__in=COUNTED_STATES).values_list("pk", "landed")
    over = {pk for pk, landed in costs if back[pk] > max(landed, 0)}
    if deed not in ("pay", "pay_off"):
        assert over <= season.over, (deed, "more came back than it cost")
    season.over = over


def check_spend(boat: Any, lines: list[Line]) -> None:
    """Assert that systems, jobs, suppliers and months each add up to what orders, payments and refunds make."""
    facts = spend.facts(boat, spend.Filters())
    whole = spend.Money()
    for fact in facts:
        whole.add(spend.Money(fact.ordered, fact.delivered, fact.paid))
    found = {by: spend.totals(facts, by) for by in ("system", "job", "supplier")}
    found["month"] = spend.by_month(boat, facts)
    for by, parts in found.items():
        added = spend.Money()
        for money in parts.values():
            added.add(money)
        assert added == whole, by
    counted = Order.objects.filter(boat=boat, state__in=COUNTED_STATES)
    came = Credit.objects.filter(boat=boat, came_on__isnull=False)
    back = total(came, "home")
    assert whole.ordered == total(counted, "landed") - back
    assert {by: nonzero(parts) for by, parts in found.items()} == ordered_by(lines)
    on_orders = PaymentSplit.objects.filter(order__in=counted)
    on_bills = PaymentSplit.objects.filter(boat=boat, charge__isnull=False)
    assert whole.paid == total(on_orders, "amount") + total(on_bills, "amount") - back
    paid: Counter[str] = Counter()
    for day, amount in [*(on_orders | on_bills).values_list("payment__paid_on", "amount")]:
        paid[f"{day:%Y-%m}"] += amount
    for day, amount in came.values_list("came_on", "home"):
        paid[f"{day:%Y-%m}"] -= amount
    assert {month: money.paid for month, money in found["month"].items() if money.paid} == dropped(paid)
    if all(line.arrived >= line.wanted for line in lines if line.counted):
        assert whole.delivered == whole.ordered  # all that is bought has come


def ordered_by(lines: list[Line]) -> dict[str, dict[Any, int]]:
    """Return Ordered by system, job, supplier and month, from the lines and what came back on them."""
    sums: dict[str, Counter[Any]] = {by: Counter() for by in ("system", "job", "supplier", "month")}
    by_pk = {line.pk: line for line in lines if line.order.state in COUNTED_STATES}
    entries = [(line, line.order.ordered_on, line.landed) for line in by_pk.values()]
    rows = CreditShare.objects.filter(line__in=by_pk, credit__came_on__isnull=False)
    entries += [
        (by_pk[pk], day, -home) for pk, day, home in rows.values_list("line", "credit__came_on", "home")
    ]
    for line, day, amount in entries:
        sums["system"][line.system_id] += amount
        sums["job"][line.job_id] += amount
        sums["supplier"][line.order.supplier_id] += amount
        sums["month"][f"{day:%Y-%m}"] += amount
    return {by: dropped(parts) for by, parts in sums.items()}


def nonzero(parts: dict[Any, spend.Money]) -> dict[Any, int]:
    return {key: money.ordered for key, money in parts.items() if money.ordered}


def dropped(sums: Counter[Any]) -> dict[Any, int]:
    return {key: amount for key, amount in sums.items() if amount}


def total_by(model: Any, key: str, name: str = "home") -> dict[int, int]:
    return dict(model.objects.order_by().values_list(key).annotate(total=Sum(name)))


def total(rows: Any, name: str) -> Any:
    return rows.aggregate(total=Sum(name))["total"] or 0


def live(season: Season, deeds: int, *, until: frozenset[str] = frozenset()) -> None:
    """Do so many deeds, each done or refused; the sums are checked after each, the ledger at the end.

    With `until`, what was not done yet is tried more often, and it is over when all of them were done.
    """
    while Order.objects.count() < 2:
        with contextlib.suppress(Refused), transaction.atomic():
            season.order()
    for _ in range(deeds):
        missing = sorted(until - set(season.done))
        if until and not missing:
            break
        deed = season.dice.choice(missing if missing and season.dice.random() < 0.4 else DEEDS)
        with contextlib.suppress(Refused):
            with transaction.atomic():
                getattr(season, deed)()
            season.done[deed] += 1
            check(season.make.boat)
            check_ceiling(season, deed)
    assert list(differences()) == []


@settings(
    max_examples=10,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(seed=st.integers(0, 10**9), home=st.sampled_from(["GBP", "GBP", "JPY"]))
def test_however_the_money_comes_the_sums_agree(db, seed, home):
    """Systems = jobs = suppliers = months = orders; shares = charges; splits = payments; shares = refunds."""
    with transaction.atomic():
        live(Season(Factory.start(currency=home), Random(seed)), 30)
        transaction.set_rollback(True)


@pytest.mark.parametrize(("home", "seed"), [("GBP", 3), ("JPY", 5)])
def test_a_season_sees_every_deed(db, home, seed):
    """So that the law is not kept by everything being refused."""
    season = Season(Factory.start(currency=home), Random(seed))
    live(season, 300, until=frozenset(DEEDS))
    assert set(season.done) == set(DEEDS)
