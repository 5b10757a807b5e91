"""Spares on board: what counts as aboard, what is short or out of date, by system and by place, on paper and as xlsx."""

import io
import subprocess
from datetime import timedelta
from decimal import Decimal

import openpyxl
import pytest
from django.urls import reverse

from refit.pages.spare_list import by_place, by_system, spares_of, wrong
from refit.stores.actions import stow
from refit.stores.actions.parts import retire_part
from refit.stores.models import Kept, Level
from tests.factory import Factory
from tests.lengths import Lengths
from tests.tools import need

pytestmark = pytest.mark.usefixtures("clean_ledger")
D = Decimal


def go(make, name):
    return reverse(f"pages:{name}", args=[make.boat.slug])


def spare(make, name, minimum=2, **more):
    return make.part(name, is_spare=True, minimum=D(minimum), **more)


def names(pairs):
    return [item.part.name for item, _ in pairs]


@pytest.fixture
def stores(make):
    """Flares partly out of date, impellers ashore, filters enough, and a thing that is no spare."""
    make.flares = spare(make, "Flare", 4, has_expiry=True, numbers=[("maker", "F-1", "")])
    make.impellers = spare(make, "Impeller", 2, system=make.system)
    make.filters = spare(make, "Filter", 3, system=make.system)
    make.part("Cushion")
    make.s2, make.s10 = make.place("S2"), make.place("S10")
    make.stock(make.flares, make.s2, 4, expires_on=make.today - timedelta(days=1))
    make.stock(make.flares, make.s10, 4, expires_on=make.today)
    make.stock(make.impellers, make.place("A1", parent=make.ashore), 9)
    make.stock(make.filters, make.s2, 1)
    make.stock(make.filters, make.s10, 2)
    return make


def test_ashore_is_not_aboard_and_out_of_date_does_not_count(stores):
    found = {item.part.name: item.sheet for item in spares_of(stores.boat, stores.today)}
    assert set(found) == {"Flare", "Impeller", "Filter"}
    flare, impeller = found["Flare"], found["Impeller"]
    assert (flare.aboard, flare.out_of_date, flare.short) == (4, 4, 0)
    assert flare.state == "out of date"
    assert (impeller.aboard, impeller.short, impeller.places) == (0, 2, ())
    assert impeller.state == "below minimum"
    assert (found["Filter"].aboard, found["Filter"].state) == (3, "")


def test_the_marked_day_is_the_last_good_day(stores):
    tomorrow = {
        item.part.name: item.sheet for item in spares_of(stores.boat, stores.today + timedelta(days=1))
    }
    assert (tomorrow["Flare"].aboard, tomorrow["Flare"].out_of_date) == (0, 8)
    assert tomorrow["Flare"].state == "below minimum, out of date"


def test_what_is_short_comes_first_then_what_is_out_of_date(stores):
    assert [item.part.name for item in wrong(spares_of(stores.boat, stores.today))] == ["Impeller", "Flare"]


def test_spares_stand_by_system_and_by_place(stores):
    found = spares_of(stores.boat, stores.today)
    assert [(group.heading, names(group.spares)) for group in by_system(found)] == [
        ("Engine", ["Impeller", "Filter"]),
        ("No one system", ["Flare"]),
    ]
    assert [(group.heading, names(group.spares)) for group in by_place(found)] == [
        ("S2", ["Flare", "Filter"]),
        ("S10", ["Flare", "Filter"]),
        ("None aboard", ["Impeller"]),
    ]
    held = by_place(found)[1].spares[1][1]
    assert [holding.quantity for holding in held] == [2]


def test_a_spare_kept_by_level_tells_its_level(make):
    rope = spare(make, "Whipping twine", 0, kept=Kept.LEVEL)
    glue = spare(make, "Glue", 0, kept=Kept.LEVEL, has_expiry=True)
    tool = spare(make, "Splicing kit", 0, kept=Kept.HERE)
    spare(make, "Wax", 0, kept=Kept.LEVEL)
    place, ashore = make.place(), make.place(parent=make.ashore)
    make.stock(rope, place)
    make.stock(rope, ashore)
    stow.say_level(rope, place, Level.LOW, by=make.owner, on=make.today, today=make.today)
    make.stock(tool, place)
    make.stock(glue, place, expires_on=make.today - timedelta(days=9))
    found = {item.part.name: item.sheet for item in spares_of(make.boat, make.today)}
    assert {name: (row.level, row.state) for name, row in found.items()} == {
        "Whipping twine": ("low", "low"),
        "Splicing kit": ("here", ""),
        "Glue": ("none", "none, out of date"),
        "Wax": ("none", "none"),
    }


def test_a_retired_spare_is_not_carried(make):
    retire_part(spare(make, "Old"))
    assert spares_of(make.boat, make.today) == []


def test_the_page_shows_both_ways_with_the_caution(stores, as_owner):
    page = as_owner.get(go(stores, "spares"))
    shown = page.content.decode()
    for words in ("See to these first", "Impeller", "below 2", "4 out of date", "S10", "9 ashore"):
        assert words in shown, words
    assert "never use them up" in shown
    assert shown.index("Impeller") < shown.index("Filter")
    by_place_page = as_owner.get(go(stores, "spares"), {"by": "place"}).content.decode()
    assert "None aboard" in by_place_page
    assert go(stores, "spares-pdf") + "?by=place" in by_place_page


def test_without_dated_things_there_is_no_caution(make, as_owner):
    make.stock(spare(make, "Filter"), make.place(), 2)
    assert "never use them up" not in as_owner.get(go(make, "spares")).content.decode()


def read_pdf(data, tmp_path):
    file = tmp_path / "spares.pdf"
    file.write_bytes(data)
    return subprocess.run(
        [need("pdftotext"), "-layout", file, "-"], capture_output=True, text=True, check=True
    ).stdout


def test_the_sheet_for_the_chart_table_bears_the_boat_and_what_is_wrong_first(stores, as_owner, tmp_path):
    answer = as_owner.get(go(stores, "spares-pdf"), {"by": "place"})
    assert answer["Content-Type"] == "application/pdf"
    words = read_pdf(answer.content, tmp_path)
    assert "Test Boat" in words
    assert "by place" in words
    assert "not verified" in words
    assert words.index("Impeller") < words.index("Filter")
    assert "S10 · Saloon" in words
    other = read_pdf(as_owner.get(go(stores, "spares-pdf")).content, tmp_path)
    assert "by system" in other
    assert "Engine" in other


def test_the_sheet_shows_levels_as_words(make, as_owner, tmp_path):
    twine = spare(make, "Whipping twine", 0, kept=Kept.LEVEL)
    place = make.place("S2")
    make.stock(twine, place)
    stow.say_level(twine, place, Level.LOW, by=make.owner, on=make.today, today=make.today)
    line = next(
        line
        for line in read_pdf(as_owner.get(go(make, "spares-pdf")).content, tmp_path).splitlines()
        if "Whipping twine" in line
    )
    assert "low" in line
    assert " 0 " not in line


def test_the_spreadsheet_holds_both_ways(stores, as_owner):
    answer = as_owner.get(go(stores, "spares-xlsx"))
    assert 'attachment; filename="test-boat-spares-' in answer["Content-Disposition"]
    book = openpyxl.load_workbook(io.BytesIO(answer.content))
    assert book.sheetnames == ["By system", "By place"]
    head, *rows = [[cell.value for cell in row] for row in book["By system"].iter_rows()]
    told = {row[1]: dict(zip(head, row, strict=True)) for row in rows}
    assert [row[1] for row in rows] == ["Impeller", "Flare", "Filter"]
    assert (told["Flare"]["Aboard"], told["Flare"]["Out of date"], told["Flare"]["Part number"]) == (
        4,
        4,
        "F-1",
    )
    assert told["Impeller"]["Short by"] == 2
    assert [row[0].value for row in book["By place"].iter_rows(min_row=2)] == ["S2", "S10", "S2", "S10"]


def test_empty_says_what_to_do(make, as_owner, as_viewer):
    assert "spare to carry" in as_owner.get(go(make, "spares")).content.decode()
    assert "No spares yet" in as_viewer.get(go(make, "spares")).content.decode()
    assert as_owner.get(go(make, "spares-pdf")).status_code == 200
    assert as_owner.get(go(make, "spares-xlsx")).status_code == 200


@pytest.mark.parametrize("name", ["spares", "spares-pdf", "spares-xlsx"])
def test_who_may_see_the_spares(make, as_outsider, as_trade, as_viewer, as_owner, name):
    assert as_outsider.get(go(make, name)).status_code == 404
    assert as_trade.get(go(make, name)).status_code == 403
    assert as_viewer.get(go(make, name)).status_code == 200
    assert as_owner.post(go(make, name)).status_code == 405


def test_another_boats_spares_stay_there(make, as_owner):
    other = Factory.start("Other Boat", prefix="o")
    spare(other, "Foreign")
    assert "Foreign" not in as_owner.get(go(make, "spares")).content.decode()


def test_names_that_bite_are_harmless(make, as_owner):
    part = spare(make, "<script>alert(1)</script>", numbers=[("maker", "=1+1", "")], system=make.system)
    make.stock(part, make.place("<b>", name="\u05d0\u05d1"), 1)
    for by in ("system", "place"):
        shown = as_owner.get(go(make, "spares"), {"by": by}).content.decode()
        assert "<script>alert" not in shown
        assert "<b></bdi>" not in shown
    book = openpyxl.load_workbook(io.BytesIO(as_owner.get(go(make, "spares-xlsx")).content))
    cell = book["By system"]["C2"]
    assert (cell.value, cell.data_type) == ("=1+1", "s")


class TestTheQueriesAreTheSameForFewAndMany(Lengths):
    pages = {
        "by system": ("spares/", {"by": "system"}),
        "by place": ("spares/", {"by": "place"}),
        "on paper": ("spares.pdf", {"by": "place"}),
    }

    @classmethod
    def filled(cls, make, count):
        for n in range(count):
            part = spare(
                make, f"Spare {count} {n}", system=make.system, numbers=[("maker", f"{count}{n}", "")]
            )
            make.stock(part, make.place(), 1)
            make.order(make.line(part))

    def test_by_system(self):
        assert self.taken["by system"] == [8, 8]

    def test_by_place(self):
        assert self.taken["by place"] == [8, 8]

    def test_on_paper(self):
        assert self.taken["on paper"] == [7, 7]
