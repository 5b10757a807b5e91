"""Prices on a part's page and terms on a supplier's: kept, changed, ended, undone; and who may not."""

import re
from html import unescape

import pytest

from refit.buying.models import Offer, Supplier
from tests.factory import D, Factory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]
HUGE = 10**30


def prices(make: Factory, part, end: str = "") -> str:
    return f"/{make.boat.slug}/parts/{part.pk}/prices/{end}"


def terms(make: Factory, supplier, end: str = "terms/") -> str:
    return f"/{make.boat.slug}/suppliers/{supplier.pk}/{end}"


def said(response) -> str:
    return " ".join(unescape(response.content.decode()).split())


def undo_of(response) -> str:
    """Return the address that the message's Undo posts to."""
    return unescape(
        re.search(r'<form[^>]*action="([^"]+)"[^>]*>(?:(?!</form>).)*Undo', response.content.decode(), re.S)[
            1
        ]
    )


def typed(**facts) -> dict:
    return {
        "supplier": "Fastenings",
        "price": "2,50",
        "currency": "",
        "pack_size": "",
        "lead_days": "4",
    } | facts


@pytest.fixture
def bolt(make):
    return make.part("Bolt")


def test_a_price_is_typed_in_one_line_and_compared_on_the_parts_page(make, bolt, as_crew):
    response = as_crew.post(prices(make, bolt), typed(pack_size="10"), follow=True)
    assert "Fastenings asks 2.5 GBP for Bolt." in said(response)
    offer = Offer.objects.get()
    assert (offer.price, offer.currency, offer.pack_size, offer.lead_days, offer.seen_on) == (
        D("2.5"),
        "GBP",
        10,
        4,
        make.today,
    )
    text = said(as_crew.get(f"/{make.boat.slug}/parts/{bolt.pk}/"))
    assert "£2.50 for 10" in text
    assert "0.2500" in text
    assert "All in for 25" in said(as_crew.get(prices(make, bolt, "?many=25")))
    for nonsense in ("x", "-1", "0", "9" * 5000, "\x00"):
        assert "All in for 1" in said(as_crew.get(prices(make, bolt), {"many": nonsense}))
    as_crew.post(undo_of(response))
    assert Offer.objects.get().ended_at is not None
    as_crew.post(prices(make, bolt, f"{offer.pk}/open/"))
    assert Offer.objects.get().ended_at is None


def test_a_price_is_changed_and_the_message_undoes_it(make, bolt, as_owner):
    as_owner.post(prices(make, bolt), typed(note="by the box", web="shop.example"), follow=True)
    offer = Offer.objects.get()
    response = as_owner.post(prices(make, bolt, f"{offer.pk}/"), typed(price="3", lead_days=""), follow=True)
    offer.refresh_from_db()
    assert (offer.price, offer.lead_days, offer.note) == (3, None, "")
    as_owner.post(undo_of(response))
    offer.refresh_from_db()
    assert (offer.price, offer.lead_days, offer.note) == (D("2.5"), 4, "by the box")
    assert offer.web == "https://shop.example"


def test_the_same_price_sent_twice_is_kept_once(make, bolt, as_owner):
    for _ in range(2):
        response = as_owner.post(prices(make, bolt), typed(form_key="same"), follow=True)
    assert "Already recorded" in said(response)
    assert Offer.objects.count() == 1


@pytest.mark.parametrize(
    "facts",
    [
        {"supplier": ""},
        {"supplier": "x" * 81},
        {"price": ""},
        {"price": "-1"},
        {"price": "1e3"},
        {"price": "99999999999999"},
        {"currency": "ZZZ"},
        {"pack_size": "0"},
        {"pack_size": "1000000"},
        {"lead_days": "10000"},
        {"lead_days": "-1"},
        {"lead_days": "1.5"},
        {"lead_days": "soon"},
        {"surface_days": "1001"},
        {"seen_on": "2099-01-01"},
        {"seen_on": "0001-01-01"},
        {"web": "javascript:alert(1)"},
        {"note": "x" * 201},
        {"taxed": "perhaps"},
    ],
)
def test_a_price_that_cannot_be_right_changes_nothing(make, bolt, as_owner, facts):
    response = as_owner.post(prices(make, bolt), typed(**facts))
    assert response.status_code == 422
    assert "Not saved" in said(response)
    assert (Offer.objects.count(), Supplier.objects.count()) == (0, 0)


def test_terms_are_kept_shown_and_undone(make, as_crew):
    shop = make.supplier("Fastenings", currency="EUR")
    data = {
        "lead_days": "6",
        "surface_days": "30",
        "in_working_days": "on",
        "country": "NL",
        "free_freight_from": "150",
        "usual_freight": "12,50",
        "return_days": "14",
        "claim_days": "3",
        "is_shop": "on",
        "form_key": "same",
    }
    for _ in range(2):
        response = as_crew.post(terms(make, shop), data, follow=True)
    assert "Already recorded" in said(response)
    shop.refresh_from_db()
    assert (shop.lead_days, shop.free_freight_from, shop.usual_freight) == (6, 15000, 1250)
    text = said(as_crew.get(terms(make, shop, "")))
    for words in (
        "6 working days, they say",
        "Netherlands",
        "€150.00 of goods",
        "within 14 days",
        "a shop we go to",
    ):
        assert words in text


def test_the_undo_of_terms_brings_back_what_was_not_known(make, as_crew):
    shop = make.supplier("Fastenings", lead_days=9, usual_freight=700)
    response = as_crew.post(terms(make, shop), {"lead_days": "", "is_shop": "on"}, follow=True)
    shop.refresh_from_db()
    assert (shop.lead_days, shop.usual_freight, shop.is_shop) == (None, None, True)
    assert "not known, ask" in said(response)
    as_crew.post(undo_of(response))
    shop.refresh_from_db()
    assert (shop.lead_days, shop.usual_freight, shop.is_shop) == (9, 700, False)


@pytest.mark.parametrize(
    "facts",
    [
        {"lead_days": "10000"},
        {"lead_days": "-1"},
        {"lead_days": "\x00"},
        {"surface_days": "1001"},
        {"country": "XX"},
        {"country": "GB", "region": "ZZ"},
        {"region": "ENG"},
        {"free_freight_from": "-1"},
        {"free_freight_from": "99999999999"},
        {"usual_freight": "1e3"},
        {"return_days": "5000"},
        {"claim_days": "1,5"},
    ],
)
def test_terms_that_cannot_be_right_change_nothing(make, as_owner, facts):
    shop = make.supplier("Fastenings", lead_days=3)
    response = as_owner.post(terms(make, shop), {"lead_days": "5"} | facts)
    assert response.status_code == 422
    shop.refresh_from_db()
    assert shop.lead_days == 3


def test_who_may_and_what_is_not_there(make, bolt, as_viewer, as_trade, as_outsider, as_owner):
    as_owner.post(prices(make, bolt), typed())
    offer, shop = Offer.objects.get(), Supplier.objects.get()
    one = prices(make, bolt, f"{offer.pk}/")
    for client, sees, changes in ((as_viewer, 200, 403), (as_trade, 403, 403), (as_outsider, 404, 404)):
        assert client.get(prices(make, bolt)).status_code == sees
        assert client.get(one).status_code == changes
        for where in (prices(make, bolt), one, f"{one}end/", f"{one}open/", terms(make, shop)):
            assert client.post(where, typed()).status_code == changes
    for where in (f"{one}end/", f"{one}open/", terms(make, shop)):
        assert as_owner.get(where).status_code == 405
    other = make.part("Nut")
    for where in (
        prices(make, other, f"{offer.pk}/"),
        prices(make, bolt, f"{HUGE}/"),
        prices(make, bolt, "0/end/"),
    ):
        assert as_owner.post(where, typed()).status_code == 404
    assert (Offer.objects.get().price, Offer.objects.get().ended_at) == (D("2.5"), None)


def test_a_trade_sees_no_prices_on_a_part(make, bolt, as_owner, as_trade):
    as_owner.post(prices(make, bolt), typed())
    job = make.job(given_to=make.member(make.trade))
    job.needs.create(boat=make.boat, part=bolt)
    response = as_trade.get(f"/{make.boat.slug}/parts/{bolt.pk}/")
    assert response.status_code == 200
    assert "Fastenings" not in said(response)
