"""The page of the copy and the copy itself: who gets it, how it is handed over, and what it never holds."""

import json
import re
from decimal import Decimal

import pytest
from django.urls import reverse

from refit.reports.copy import policy
from refit.stores.actions.parts import add_need
from tests.boat.whole import fill

PAGES = ("copy", "copy-html")


def at(make, name: str) -> str:
    return reverse(f"pages:{name}", args=[make.boat.slug])


def test_the_page_says_what_it_is_and_leads_to_the_file(make, as_viewer):
    page = as_viewer.get(at(make, "copy")).content.decode()
    assert f'href="{at(make, "copy-html")}"' in page
    assert page.count('class="button next"') == 1
    assert f"{make.boat.slug}-copy-{make.today.isoformat()}.html" in page


def test_the_file_comes_down_with_the_policy_that_lets_it_run(make, as_crew):
    part = make.part("Impeller")
    make.stock(part, make.place("S1"), 2)
    add_need(make.job("Pump"), part=part, words="", quantity=1)
    answer = as_crew.get(at(make, "copy-html"))
    assert answer["Content-Type"] == "text/html; charset=utf-8"
    name = f"{make.boat.slug}-copy-{make.today.isoformat()}.html"
    assert answer["Content-Disposition"] == f'attachment; filename="{name}"'
    assert answer["Content-Security-Policy"] == f"{policy()}; frame-ancestors 'none'"
    data = json.loads(re.search('id="data">(.*?)</script>', answer.content.decode())[1])
    assert [row[0] for row in data["parts"]] == ["Impeller"]
    assert [row[1] for row in data["fetch"]] == ["Pump"]


def test_what_is_to_be_bought_stands_in_it_by_shop(make, as_crew):
    job = make.job("Pump")
    add_need(job, part=make.part("Gasket", specification="1.5 mm"), words="", quantity=4)
    page = as_crew.get(at(make, "copy-html")).content.decode()
    data = json.loads(re.search('id="data">(.*?)</script>', page)[1])
    assert [(shop[0], [row[:4] for row in shop[2]]) for shop in data["town"]] == [
        ("Any shop", [["Gasket", "1.5 mm", "4", f"{job.number} Pump"]])
    ]


@pytest.mark.parametrize("name", PAGES)
def test_an_outsider_finds_nothing_and_a_trade_is_refused(make, as_outsider, as_trade, name):
    assert as_outsider.get(at(make, name)).status_code == 404
    assert as_trade.get(at(make, name)).status_code == 403


@pytest.mark.parametrize("name", PAGES)
def test_nothing_can_be_sent_there(make, as_owner, name):
    assert as_owner.post(at(make, name)).status_code == 405


def test_lockers_and_today_lead_there_for_those_who_may(make, as_viewer, as_trade):
    make.stock(make.part(), make.place("S1"), 1)
    link = f'href="{at(make, "copy")}"'
    for name in ("lockers", "today"):
        assert link in as_viewer.get(at(make, name)).content.decode(), name
        assert link not in as_trade.get(at(make, name)).content.decode(), name


def test_it_holds_no_money_and_no_people(make, as_owner):
    fill(make)
    supplier = make.supplier("Lindqvist Marinteknik")
    make.order(make.line(make.part("Anode"), price=Decimal(7654)), supplier=supplier)
    page = as_owner.get(at(make, "copy-html")).content.decode()
    assert "Impeller" in page
    for word in ("7654", "765400", "Lindqvist", make.owner.first_name, make.boat.currency):
        assert re.search(rf"\b{re.escape(word)}\b", page) is None, word
