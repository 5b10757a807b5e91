"""Supplier terms, lead times and prices: what counts, what is compared, and what is refused with nothing changed."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from refit.buying.actions import offers, terms
from refit.buying.actions.deliveries import Arrival, book_in, undo_delivery
from refit.buying.actions.offers import OfferFacts
from refit.buying.actions.orders import ChargeFacts
from refit.buying.actions.terms import SupplierTerms
from refit.buying.leads import learned_words, read_leads
from refit.buying.models import Offer
from refit.buying.prices import Carriage, read_prices
from refit.calc.lead import Learned
from tests.factory import D, Factory
from tests.refusing import refuse

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]


def ask(make: Factory, part, supplier, price="10", **facts) -> Offer:
    values = {"currency": "GBP", "seen_on": make.today} | facts
    return offers.add_offer(part, OfferFacts(supplier, D(price), **values), today=make.today)


def came(make: Factory, part, supplier, took: int, ago: int = 0, **facts):
    """Order a part so that it came so many days later, `ago` days before today."""
    arrived = make.today - timedelta(days=ago)
    line = make.line(part, **{"price": D("10")} | facts)
    order = make.order(line, supplier=supplier, on=arrived - timedelta(days=took))
    arrival = Arrival(order.lines.get(), order.lines.get().quantity)
    return book_in(make.boat, [arrival], by=make.owner, on=arrived, today=make.today)


def lead(make: Factory, supplier, part, offer=None):
    return read_leads(make.boat, make.today).of(supplier, part, offer)


def test_the_offers_own_days_count_before_what_deliveries_teach_and_that_before_their_word(make):
    """The one rule, from the last that counts to the first; nobody knows is None, never nought."""
    part, shop = make.part(), make.supplier()
    assert lead(make, shop, part).terms.lead_days is None
    assert lead(make, shop, part).words == "ask"
    terms.change_terms(shop, SupplierTerms(lead_days=5))
    shop.refresh_from_db()
    assert (lead(make, shop, part).terms.lead_days, lead(make, shop, part).said_by) == (5, "supplier")
    other = make.part()
    came(make, other, shop, 20, ago=40)
    assert (lead(make, shop, part).terms.lead_days, lead(make, shop, part).said_by) == (20, "deliveries")
    came(make, part, shop, 9, ago=10)
    assert lead(make, shop, part).terms.lead_days == 9
    offer = ask(make, part, shop, lead_days=3)
    assert (lead(make, shop, part, offer).terms.lead_days, lead(make, shop, part, offer).said_by) == (
        3,
        "price",
    )


def test_deliveries_teach_by_the_last_two_and_the_median(make):
    part, shop = make.part(), make.supplier()
    for took, ago in ((7, 90), (6, 60), (9, 30)):
        came(make, part, shop, took, ago)
    found = read_leads(make.boat, make.today)
    assert found.of_pair[(shop.pk, part.pk)] == Learned((6, 9), D(7), 8)
    assert found.of_supplier[shop.pk] == Learned((6, 9), D(7), 8)
    assert learned_words(found.of_supplier[shop.pk]) == "last two 6 and 9 days, median 7"


def test_what_teaches_nothing(make):
    """A delivery that was undone; an order of the day it came, unless one goes there; what nobody ordered a part of."""
    part, shop = make.part(), make.supplier()
    undo_delivery(came(make, part, shop, 12, ago=3), by=make.owner, today=make.today)
    came(make, part, shop, 0, ago=2)
    assert read_leads(make.boat, make.today).of_supplier == {}
    terms.change_terms(shop, SupplierTerms(is_shop=True))
    assert read_leads(make.boat, make.today).of_supplier[shop.pk].used == 0


def test_what_may_not_fly_takes_the_days_by_land_or_sea_or_asks(make):
    part, shop = make.part(no_air=True), make.supplier()
    terms.change_terms(shop, SupplierTerms(lead_days=4))
    shop.refresh_from_db()
    assert lead(make, shop, part).words == "ask, it may not fly"
    terms.change_terms(shop, SupplierTerms(lead_days=4, surface_days=30))
    shop.refresh_from_db()
    assert lead(make, shop, part).words == "30 days, by land or sea"
    offer = ask(make, part, shop, lead_days=2, surface_days=21)
    assert lead(make, shop, part, offer).terms.lead_days == 21


def test_working_days_leave_out_the_public_holidays_of_their_country(make):
    """Good Friday, 3 April, and Easter Monday, 6 April 2026 (England's bank holidays, as the government lists them)."""
    part, shop = make.part(), make.supplier()
    terms.change_terms(shop, SupplierTerms(lead_days=2, in_working_days=True, country="GB", region="ENG"))
    found = read_leads(make.boat, date(2026, 4, 1)).of(
        read_leads(make.boat, date(2026, 4, 1)).suppliers[shop.pk], part
    )
    assert {date(2026, 4, 3), date(2026, 4, 6)} <= found.terms.off
    assert found.words == "2 working days"


@pytest.mark.parametrize(
    ("facts", "code", "field"),
    [
        ({"lead_days": 10_000}, "lead", "lead_days"),
        ({"lead_days": 1001}, "lead", "lead_days"),
        ({"surface_days": -1}, "lead", "surface_days"),
        ({"return_days": 5000}, "days", "return_days"),
        ({"free_freight_from": 10**12}, "sum", "free_freight_from"),
        ({"usual_freight": -1}, "sum", "usual_freight"),
        ({"country": "XX"}, "no_such_country", "country"),
        ({"country": "GB", "region": "ZZ"}, "no_such_part", "region"),
        ({"region": "ENG"}, "no_country", "country"),
    ],
)
def test_terms_that_cannot_be_right_are_refused(make, facts, code, field):
    shop = make.supplier()
    refused = refuse(code, lambda: terms.change_terms(shop, SupplierTerms(**facts)))
    assert refused.field == field


@pytest.mark.parametrize(
    ("facts", "code"),
    [
        ({"price": D("-0.01")}, "price"),
        ({"price": D(10) ** 11}, "price"),
        ({"pack_size": D(0)}, "pack"),
        ({"pack_size": D(10) ** 6}, "pack"),
        ({"lead_days": 10_000}, "lead"),
        ({"currency": "ZZZ"}, "currency"),
        ({"currency": "XAU"}, "currency"),
        ({"seen_on": date(2099, 1, 1)}, "future"),
        ({"seen_on": date(1, 1, 1)}, "too_early"),
    ],
)
def test_a_price_that_cannot_be_right_is_refused(make, facts, code):
    part, shop = make.part(), make.supplier()
    values = {"price": D(1), "currency": "GBP", "seen_on": make.today} | facts
    refuse(code, lambda: offers.add_offer(part, OfferFacts(shop, **values), today=make.today))


def test_another_boats_supplier_asks_nothing_here(make):
    theirs = Factory.start(name="Other", prefix="other-").supplier()
    facts = OfferFacts(theirs, D(1), "GBP", make.today)
    part = make.part()
    refuse("other_boat", lambda: offers.add_offer(part, facts, today=make.today))


def test_an_offer_ends_and_is_opened_again(make):
    part, shop = make.part(), make.supplier()
    offer = ask(make, part, shop)
    offers.end_offer(offer)
    assert read_prices(make.boat, make.today).quotes(part, D(1)) == []
    refuse("ended", lambda: offers.end_offer(offer))
    facts = OfferFacts(shop, D(2), "GBP", make.today)
    refuse("ended", lambda: offers.change_offer(offer, facts, today=make.today))
    offers.reopen_offer(offer)
    refuse("open", lambda: offers.reopen_offer(offer))
    assert [quote.goods for quote in read_prices(make.boat, make.today).quotes(part, D(1))] == [1000]


def test_whole_packs_are_bought_and_each_is_what_one_unit_costs(make):
    part, shop = make.part(), make.supplier(is_shop=True)
    ask(make, part, shop, "12.50", pack_size=D(10))
    found = read_prices(make.boat, make.today).quotes(part, D(11))[0]
    assert (found.packs, found.quantity, found.goods, found.each) == (2, 20, 2500, D("1.25"))
    rope = make.part(unit="m")
    ask(make, rope, shop, "2.00")
    measured = read_prices(make.boat, make.today).quotes(rope, D("4.3"))[0]
    assert (measured.packs, measured.quantity, measured.goods) == (D("4.3"), D("4.3"), 860)


def test_carriage_is_guessed_and_it_is_said_from_what(make):
    part = make.part()
    free = make.supplier("Free", free_freight_from=2000, usual_freight=500)
    ask(make, part, free, "10")
    prices = read_prices(make.boat, make.today)
    for quantity, carriage, why in ((1, 500, Carriage.USUAL), (2, 0, Carriage.FREE)):
        found = prices.quotes(part, D(quantity))[0]
        assert (found.carriage, found.carriage_from, found.all_in) == (
            carriage,
            why,
            1000 * quantity + carriage,
        )
    shop, unknown, past = make.supplier("Shop", is_shop=True), make.supplier("Unknown"), make.supplier("Past")
    for supplier in (shop, unknown, past):
        ask(make, part, supplier, "10")
    make.order(make.line(price=D(30)), supplier=past, charges=(ChargeFacts("freight", D("9")),))
    make.order(make.line(price=D(30)), supplier=past)
    by_name = {q.supplier.name: q for q in read_prices(make.boat, make.today).quotes(part, D(1))}
    assert (by_name["Shop"].carriage, by_name["Shop"].carriage_from) == (0, Carriage.COUNTER)
    assert (by_name["Unknown"].carriage, by_name["Unknown"].all_in) == (None, 1000)
    assert (by_name["Past"].carriage, by_name["Past"].carriage_from) == (450, Carriage.AVERAGE)


def test_what_was_paid_last_stands_in_for_a_supplier_without_an_offer(make):
    part, shop = make.part(), make.supplier("Paid")
    came(make, part, shop, 5, ago=200, price=D("8"))
    newest = came(make, part, shop, 5, ago=100, price=D("9"))
    found = read_prices(make.boat, make.today).quotes(part, D(1))
    assert [(q.price.price, q.price.order, q.is_old) for q in found] == [
        (D("9"), newest.lines.get().line.order.number, True)
    ]
    ask(make, part, shop, "11")
    prices = read_prices(make.boat, make.today)
    assert [quote.price.price for quote in prices.quotes(part, D(1))] == [D("11")]
    both = prices.quotes(part, D(1), paid_too=True)
    assert sorted(quote.price.price for quote in both) == [D("9"), D("11")]


def test_a_price_is_old_after_ninety_days(make):
    part, shop = make.part(), make.supplier()
    for days, old in ((90, False), (91, True)):
        Offer.objects.all().delete()
        ask(make, part, shop, seen_on=make.today - timedelta(days=days))
        assert read_prices(make.boat, make.today).quotes(part, D(1))[0].is_old is old


def test_tax_is_added_only_where_it_is_cost(make):
    part, shop = make.part(), make.supplier(tax_percent=D(20))
    ask(make, part, shop, "10", with_tax=False)
    assert read_prices(make.boat, make.today).quotes(part, D(1))[0].goods == 1000
    make.boat.deducts_tax = False
    make.boat.save()
    assert read_prices(make.boat, make.today).quotes(part, D(1))[0].goods == 1200


def test_foreign_money_is_changed_at_a_rate_that_is_named_or_stays_foreign(make):
    """Without a published rate the newest order's counts; without any, the price is in no sum and comes last."""
    part, shop, home = make.part(), make.supplier("Abroad"), make.supplier("Home", is_shop=True)
    day = date(2090, 1, 5)  # no rate is published for it
    offers.add_offer(part, OfferFacts(shop, D(50), "EUR", make.today), today=make.today)
    ask(make, part, home, "99")
    found = read_prices(make.boat, day).quotes(part, D(1))
    assert [(quote.supplier.name, quote.all_in) for quote in found] == [("Home", 9900), ("Abroad", None)]
    order = make.order(make.line(price=D(5)), currency="EUR", rate=D("1.25"))
    abroad = read_prices(make.boat, day).quotes(part, D(1))[0]
    assert (abroad.supplier.name, abroad.goods, abroad.each) == ("Abroad", 4000, D(40))
    assert f"order {order.number}" in abroad.rate.words


def test_the_best_is_in_time_then_cheapest_then_the_least_late_then_unknown(make):
    part, wanted = make.part(), make.today + timedelta(days=20)
    for name, price, days in (
        ("Cheap and late", "1", 30),
        ("Dear in time", "9", 5),
        ("Fair in time", "5", 10),
        ("Unknown", "2", None),
    ):
        ask(make, part, make.supplier(name, usual_freight=0), price, lead_days=days)
    found = read_prices(make.boat, make.today).quotes(part, D(1), wanted)
    names = [quote.supplier.name for quote in found]
    assert names == ["Fair in time", "Dear in time", "Cheap and late", "Unknown"]
    assert [quote.late_days for quote in found] == [0, 0, 10, None]
    assert found[0].order_by == wanted - timedelta(days=13)  # ten days and three of margin


def test_an_order_in_other_money_leaves_the_currency_of_known_carriage_alone(make):
    shop = make.supplier("Sums", currency="GBP", usual_freight=500)
    make.order(make.line(), supplier=shop, currency="EUR", rate=D("1.2"))
    shop.refresh_from_db()
    assert (shop.currency, shop.usual_freight) == ("GBP", 500)
    plain = make.supplier("Plain", currency="GBP")
    make.order(make.line(), supplier=plain, currency="EUR", rate=D("1.2"))
    plain.refresh_from_db()
    assert plain.currency == "EUR"


def test_prices_cost_the_same_number_of_queries_however_many(make):
    def queries() -> int:
        with CaptureQueriesContext(connection) as seen:
            prices = read_prices(make.boat, make.today)
            for part in parts:
                assert prices.quotes(part, D(3))
        return len(seen)

    shop = make.supplier("One")
    parts = [make.part()]
    ask(make, parts[0], shop)
    few = queries()
    for _ in range(20):
        parts.append(make.part())
        ask(make, parts[-1], make.supplier())
        came(make, parts[-1], shop, 4, ago=2)
    assert queries() == few == 9
