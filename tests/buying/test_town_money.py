"""What is bought in town in other money than the boat's: a price is never taken for one in other money."""

import pytest

from refit.buying.actions import offers, orders, town
from refit.buying.actions.offers import OfferFacts
from refit.buying.actions.town import Bought
from refit.buying.models import RateSource
from refit.stores.models import Need
from tests.factory import D, Factory
from tests.refusing import refuse

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]


@pytest.fixture
def bolt(make: Factory):
    part = make.part("Bolt")
    Need.objects.create(boat=make.boat, job=make.job(), part=part, quantity=D(2))
    return part


def shop_asking(make: Factory, part, currency: str):
    shop = make.supplier("Chandler", is_shop=True, currency=currency)
    offers.add_offer(part, OfferFacts(shop, D(500), currency, make.today), today=make.today)
    return shop


def buy(make: Factory, shop, **facts):
    made = town.buy_in_town(make.boat, shop, by=make.owner, today=make.today, **facts)
    return made.lines.get().line


def test_without_a_rate_the_price_is_left_for_the_receipt(make, bolt):
    shop = shop_asking(make, bolt, "FJD")
    key = f"p{bolt.pk}"
    refuse("no_rate", lambda: buy(make, shop, key=key, bought=Bought(price=D(500))))
    line = buy(make, shop, key=key)
    assert (line.order.currency, line.unit_price) == ("GBP", 0)
    shop.refresh_from_db()
    assert shop.currency == "FJD"


def test_the_rate_of_the_newest_order_in_that_money_counts(make, bolt):
    shop = shop_asking(make, bolt, "FJD")
    make.order(currency="FJD", rate=D("2.9"))
    line = buy(make, shop, key=f"p{bolt.pk}")
    assert (line.order.currency, line.unit_price) == ("FJD", 500)
    assert (line.order.rate, line.order.rate_source) == (D("2.9"), RateSource.TYPED)


def test_a_line_of_an_order_in_other_money_is_bought_without_its_price(make):
    shop = make.supplier("Chandler", is_shop=True)
    draft = make.draft(make.line(price=D(500)), supplier=shop, currency="FJD", rate=D("2.9"))
    orders.change_supplier(shop, name="Chandler", currency="GBP", prices_with_tax=True)
    shop.refresh_from_db()
    line = buy(make, shop, line=draft.lines.get())
    assert (line.order.currency, line.unit_price) == ("GBP", 0)
