"""Orders and deliveries: they work, they are refused by their code, and a refusal leaves no trace."""

from datetime import date, timedelta

import pytest

from refit.boat.actions import papers
from refit.boat.actions.boats import change_boat
from refit.boat.refusals import Refused
from refit.buying import reading, spend
from refit.buying.actions import deliveries, orders
from refit.buying.actions.deliveries import Arrival
from refit.buying.actions.orders import ChargeFacts, LineFacts, OrderFacts
from refit.buying.actions.payments import Split, pay
from refit.buying.models import Delivery, Order, Payment
from refit.stores.actions import ledger, parts, stow
from refit.stores.models import Holding
from tests.boat.whole import picture
from tests.factory import D
from tests.refusing import refuse

pytestmark = pytest.mark.usefixtures("clean_ledger")


@pytest.fixture
def who(make) -> dict:
    return {"by": make.owner, "on": make.today, "today": make.today}


def came(make, who, order, *quantities, **facts) -> Delivery:
    """Book in so much of each line."""
    arrivals = [Arrival(line, D(q), **facts) for line, q in zip(order.lines.all(), quantities, strict=True)]
    return deliveries.book_in(make.boat, arrivals, **who)


@pytest.mark.parametrize(
    ("facts", "code"),
    [
        ({"packs": D(0)}, "nothing"),
        ({"packs": D(-1)}, "nothing"),
        ({"packs": D("1000000")}, "too_large"),
        ({"packs": D("0.5"), "pack_size": D("0.001")}, "places"),
        ({"price": D(-1)}, "negative"),
        ({"price": D(10) ** 10}, "too_large"),
        ({"price": D(9) * 10**11, "packs": D("0.001")}, "too_large"),
        ({"price": D(9) * 10**9, "packs": D("0.001"), "total": True}, "too_large"),
    ],
)
def test_a_line_that_cannot_be(make, facts, code):
    """Nothing, less than nothing, absurd amounts, four places."""
    refuse(code, lambda: make.draft(make.line(**facts)))


@pytest.mark.parametrize(
    ("facts", "code"),
    [
        ({"currency": "XYZ"}, "currency"),
        ({"currency": "XAU"}, "currency"),
        ({"currency": "USD", "rate": D(0)}, "rate"),
        ({"currency": "USD", "rate": D(10) ** 7}, "rate"),
        ({"currency": "USD", "charged": D(0)}, "charged"),
        ({"charged": D(-1)}, "charged"),
        ({"charged": D(10) ** 12}, "charged"),
        ({"ordered_on": date(2999, 1, 1)}, "future"),
        ({"ordered_on": date(1, 1, 1)}, "too_early"),
        ({"expected_on": date(2226, 1, 1)}, "date"),
        ({"charges": (ChargeFacts("freight", D(-1)),)}, "negative"),
        ({"charges": (ChargeFacts("freight", D(10) ** 10),)}, "too_large"),
        ({"charges": (ChargeFacts("freight", D(1), currency="XYZ"),)}, "currency"),
        ({"charges": (ChargeFacts("freight", D(1), currency="KWD"),)}, "no_rate"),
        ({"charges": (ChargeFacts("freight", D(1), lines=(9,)),)}, "no_lines"),
        ({"charges": (ChargeFacts("freight", D(1), reclaimable=True),)}, "tax_marks"),
        ({"charges": (ChargeFacts("freight", D(1), basis="weight"),)}, "missing_weight"),
    ],
)
def test_an_order_that_cannot_be(make, facts, code):
    """Money that does not exist, rates and days that cannot be right, charges on nothing."""
    supplier = make.supplier()
    refuse(code, lambda: make.draft(supplier=supplier, **facts))


def test_an_order_has_lines(make):
    """An empty one is none."""
    facts = OrderFacts(make.supplier(), "GBP", [])
    refuse("no_lines", lambda: orders.write_order(make.boat, facts, by=make.owner, today=make.today))


def test_placing(make, who):
    """Every line has a system by then; placed once, it is written anew no more; back as long as nothing came."""
    loose = make.draft(LineFacts(D(1), D(5), words="Something"))
    refuse("no_system", lambda: orders.place_order(loose, on=make.today, today=make.today))
    order = make.order(make.line(make.part(), packs=D(2)))
    refuse("placed_already", lambda: orders.place_order(order, on=make.today, today=make.today))
    facts = OrderFacts(order.supplier, "GBP", [make.line()])
    again = {"by": make.owner, "today": make.today, "order": order}
    refuse("placed", lambda: orders.write_order(make.boat, facts, **again))
    refuse("placed", lambda: orders.throw_away(order))
    delivery = came(make, who, order, 1)
    refuse("arrived", lambda: orders.back_to_draft(order))
    refuse("arrived", lambda: orders.cancel_order(order))
    deliveries.undo_delivery(delivery, by=make.owner, today=make.today)
    pay(make.boat, [Split(100, order=order)], on=make.today, today=make.today, by=make.owner)
    refuse("paid", lambda: orders.back_to_draft(order))
    Payment.objects.all().delete()
    assert orders.back_to_draft(order).is_draft
    refuse("has_past", lambda: orders.throw_away(order))
    assert orders.write_order(make.boat, facts, **again).lines.get().what == "Bits and pieces"
    orders.throw_away(order)
    assert list(Order.objects.all()) == [loose]


def test_cancelling_and_taking_it_back(make):
    """A draft that was cancelled is a draft again, not ordered behind one's back."""
    order, draft = make.order(), make.draft(ordered_on=make.today)
    for given, state in ((order, "ordered"), (draft, "draft")):
        refuse("not_cancelled", lambda given=given: orders.uncancel_order(given))
        assert orders.cancel_order(given).state == "cancelled"
        assert spend.facts(make.boat, spend.Filters(supplier=given.supplier_id)) == []
        refuse("cancelled", lambda given=given: orders.cancel_order(given))
        assert orders.uncancel_order(given).state == state


def test_a_receipt_is_not_lost_with_a_draft(make):
    """It goes back into the tray."""
    draft = make.draft()
    paper = papers.add_paper(make.boat, picture(), kind="receipt", by=make.owner, in_tray=True)
    orders.attach_paper(draft, paper)
    assert not paper.in_tray
    orders.throw_away(draft)
    paper.refresh_from_db()
    assert paper.in_tray


def test_a_preview_keeps_nothing(make):
    """It costs the order by the same rules."""
    facts = OrderFacts(make.supplier(), "GBP", [make.line(price=D(10))], (ChargeFacts("freight", D(5)),))
    shown = orders.preview(make.boat, facts, by=make.owner, today=make.today)
    assert (shown["order"].landed, [line.landed for line in shown["lines"]]) == (1500, [1500])
    assert not Order.objects.exists()


@pytest.mark.parametrize(
    ("marks", "landed"),
    [
        ({}, 12000),
        ({"reclaimable": True}, 10000),
        ({"in_prices": True}, 10000),
        ({"in_prices": True, "reclaimable": True}, 8000),
    ],
)
def test_tax_is_cost_only_if_it_stays_paid(make, marks, landed):
    """IAS 2 Inventories, paragraph 11: tax that can be reclaimed is no cost, other tax is, and it counts once."""
    assert make.order(make.line(price=D(100)), charges=(ChargeFacts("tax", D(20), **marks),)).landed == landed


def test_a_boat_that_cannot_deduct_tax_pays_it(make):
    change_boat(make.boat, deducts_tax=False)
    make.boat.refresh_from_db()
    with pytest.raises(Refused) as refusal:
        make.order(make.line(price=D(100)), charges=(ChargeFacts("tax", D(20), reclaimable=True),))
    assert refusal.value.code == "not_deducted"
    assert "money back on the order" in str(refusal.value)
    assert not Order.objects.exists()
    assert make.order(make.line(price=D(100)), charges=(ChargeFacts("tax", D(20)),)).landed == 12000


def test_duty_and_freight_add_and_a_discount_takes_off(make):
    """IAS 2, paragraph 11: import duty and transport belong to the cost, a trade discount comes off it."""
    charges = (ChargeFacts("duty", D(3)), ChargeFacts("freight", D(5)), ChargeFacts("discount", D(10)))
    assert make.order(make.line(price=D(100)), charges=charges).landed == 9800


@pytest.mark.parametrize(
    ("currency", "price", "rate", "landed"), [("JPY", "1000", "200", 500), ("KWD", "1.234", "0.4", 309)]
)
def test_currencies_without_pence_and_with_thousandths(make, currency, price, rate, landed):
    """ISO 4217: the yen has no minor unit, the Kuwaiti dinar has thousandths; rounded once, half up."""
    order = make.order(make.line(price=D(price)), currency=currency, rate=D(rate))
    assert order.landed == landed


def test_booking_in(make, who):
    """To its place, to not stowed yet, to the job; more than ordered asks; nothing ticked is nothing done."""
    part, job, place = make.part(), make.job(), make.place()
    order = make.order(make.line(part, packs=D(6), job=job))
    came(make, who, order, 1, place=place)
    came(make, who, order, 2)
    came(make, who, order, 3, to_job=True)
    held = {h.place.plate: h.quantity for h in Holding.objects.there()}
    assert held == {place.plate: 1, "Not stowed yet": 2}
    refuse("nothing", lambda: came(make, who, order, 0))
    refuse("more_than_ordered", lambda: came(make, who, order, 1))
    refuse("too_large", lambda: came(make, who, order, 10**6, more_agreed=True))
    came(make, who, order, 1, more_agreed=True)
    draft = make.draft()
    refuse("not_placed", lambda: came(make, who, draft, 1))
    refuse(
        "negative",
        lambda: deliveries.book_in(make.boat, [Arrival(order.lines.get(), D(-1), wont_come=True)], **who),
    )
    refuse(
        "future",
        lambda: came(make, {**who, "on": make.today + timedelta(days=1)}, order, 1, more_agreed=True),
    )


def test_two_lines_of_a_part_kept_by_level(make, who):
    """Two tins on two lines come together; taken to the job at once, a tin says nothing of the locker."""
    oil, place, job = make.part("Oil", kept="level"), make.place(), make.job()
    order = make.order(make.line(oil), make.line(oil), make.line(oil, job=job))
    line = order.lines.order_by("position")
    arrivals = [
        Arrival(line[0], D(1), place=place),
        Arrival(line[1], D(1), place=place),
        Arrival(line[2], D(1), to_job=True),
    ]
    delivery = deliveries.book_in(make.boat, arrivals, **who)
    assert [(h.place, h.level) for h in Holding.objects.there()] == [(place, "fine")]
    deliveries.undo_delivery(delivery, by=make.owner, today=make.today)
    assert not Holding.objects.there().exists()


def test_words_that_come_to_a_place_become_a_part(make, who):
    """What stood on the paper stays on the line."""
    order = make.order(make.line(words="Odd bracket"))
    came(make, who, order, 1, place=make.place())
    line = order.lines.get()
    assert (line.part.name, line.words) == ("Odd bracket", "Odd bracket")


def test_wont_come_and_back(make, who):
    """The rest is closed and the freight falls on what came; undone, all is as before, even if nothing was to come."""
    order = make.order(
        make.line(price=D(10), packs=D(4)), make.line(price=D(60)), charges=(ChargeFacts("freight", D(10)),)
    )
    first, second = order.lines.order_by("position")
    gone = deliveries.book_in(make.boat, [Arrival(second, wont_come=True)], **who)
    order.refresh_from_db()
    assert [line.landed for line in order.lines.order_by("position")] == [5000, 0]
    rest = deliveries.book_in(make.boat, [Arrival(first, wont_come=True)], **who)
    order.refresh_from_db()
    assert order.state == "cancelled"
    refuse("nothing_comes", lambda: orders.uncancel_order(order))
    for delivery in (rest, gone):
        deliveries.undo_delivery(delivery, by=make.owner, today=make.today)
    order.refresh_from_db()
    assert (order.state, order.landed) == ("ordered", 11000)
    refuse("undone_already", lambda: deliveries.undo_delivery(gone, by=make.owner, today=make.today))


def test_a_charge_for_what_wont_come_is_still_money_spent(make, who):
    """Freight on one line alone, which never came: it stays under that line's system."""
    charges = (ChargeFacts("freight", D(7), lines=(1,)),)
    order = make.order(
        make.line(price=D(10)), make.line(price=D(60), system=make.other_system), charges=charges
    )
    deliveries.book_in(make.boat, [Arrival(order.lines.order_by("position")[1], wont_come=True)], **who)
    money = spend.totals(spend.facts(make.boat, spend.Filters()), "system")
    assert {system: sums.ordered for system, sums in money.items()} == {
        make.system.pk: 1000,
        make.other_system.pk: 700,
    }


def test_a_delivery_is_undone_only_as_a_whole(make, who):
    """Not through the ledger, and not while some of it has been taken."""
    order = make.order(make.line(make.part(), packs=D(2)))
    delivery = came(make, who, order, 2)
    refuse("documented", lambda: ledger.undo(delivery.entry, by=make.owner, today=make.today))
    taken = stow.take(Holding.objects.get(), D(1), **who)
    refuse("taken_since", lambda: deliveries.undo_delivery(delivery, by=make.owner, today=make.today))
    ledger.undo(taken, by=make.owner, today=make.today)
    deliveries.undo_delivery(delivery, by=make.owner, today=make.today)
    order.refresh_from_db()
    assert (order.state, order.delivered) == ("ordered", 0)


def test_bought_and_here(make, who):
    """Ordered, arrived and paid in one save; taken back in one."""
    facts = OrderFacts(make.supplier(), "GBP", [make.line(make.part(), job=make.job())])
    order, _ = deliveries.buy_here(make.boat, facts, by=make.owner, today=make.today, straight_to_job=True)
    assert (order.state, Payment.objects.get().amount, Holding.objects.there().count()) == (
        "arrived",
        1000,
        0,
    )
    back = deliveries.undo_buy_here(order, by=make.owner, today=make.today)
    assert (back.state, Payment.objects.count(), spend.facts(make.boat, spend.Filters())) == ("draft", 0, [])
    split = Split(-1, order=order)
    refuse("nothing", lambda: pay(make.boat, [split], on=make.today, today=make.today, by=make.owner))


def test_what_a_job_still_wants(make, who):
    """Wanted less what is on order less what was taken for it."""
    job, part = make.job(), make.part()
    parts.add_need(job, part=part, words="", quantity=D(5))
    order = make.order(make.line(part, packs=D(2), job=job))
    stow.take(make.stock(part, make.place(), 1), D(1), job=job, **who)
    row = reading.wanted([job])[job.pk][0]
    assert (row.taken, row.on_order, row.unmet) == (1, 2, 2)
    came(make, who, order, 2, to_job=True)
    row = reading.wanted([job])[job.pk][0]
    assert (row.taken, row.on_order, row.unmet) == (3, 0, 2)


def test_suppliers(make):
    """One of a name; how they print prices is remembered from the last order."""
    one, other = make.supplier("Chandler & Co"), make.supplier("Rigger")
    assert orders.add_supplier(make.boat, "chandler & co") == one
    refuse("taken", lambda: orders.change_supplier(other, name="CHANDLER & CO"))
    make.draft(supplier=other, currency="SEK", rate=D("13.42"), prices_with_tax=False, tax_percent=D(25))
    other.refresh_from_db()
    assert (other.currency, other.prices_with_tax, other.tax_percent) == ("SEK", False, D(25))


def test_a_weight_that_was_put_right_shares_anew(make):
    """Freight by weight follows the weights; without a weight it is refused and all stays."""
    light, heavy = make.part(weight_kg=D(1)), make.part(weight_kg=D(1))
    charges = (ChargeFacts("freight", D(10), basis="weight"),)
    order = make.order(make.line(light), make.line(heavy), charges=charges)
    parts.change_part(heavy, weight_kg=D(4))
    orders.share_anew(heavy)
    assert [line.charges for line in order.lines.order_by("position")] == [200, 800]

    def weigh_nothing() -> None:
        parts.change_part(heavy, weight_kg=None)
        orders.share_anew(heavy)

    refuse("missing_weight", weigh_nothing)
