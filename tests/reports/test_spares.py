from datetime import date
from decimal import Decimal
from io import BytesIO

import openpyxl
import pandas as pd
import pytest

from refit.reports.spares import By, SparePlace, SpareRow, spares_pdf, spares_workbook
from tests.reports.test_paper import text_of

AS_AT = date(2026, 3, 3)
IDENTITY = ("Kittiwake of Mylor", "official number 401 227")


def spare(part: str, **changes) -> SpareRow:
    values = {
        "system": "Engine",
        "number": "00123",
        "aboard": Decimal(4),
        "minimum": Decimal(2),
        "unit": "each",
        "out_of_date": Decimal(0),
        "places": (SparePlace("S10", "Saloon", Decimal(4)),),
    }
    return SpareRow(part=part, **{**values, **changes})


ENOUGH = spare("Fuel filter")
SHORT = spare("Impeller", aboard=Decimal(1), places=(SparePlace("S2", "Saloon", Decimal(1)),))
NONE = spare("Сальник руля", system="Steering", aboard=Decimal(0), places=())
OLD = spare(
    "Hand flare, red",
    system="Safety",
    out_of_date=Decimal(2),
    places=(
        SparePlace("C1", "Chart table", Decimal(4), date(2027, 6, 30)),
        SparePlace("P2", "Pilot berth", Decimal(2), date(2025, 11, 30)),
    ),
)
ALL = [ENOUGH, SHORT, NONE, OLD]


def printed(rows, by=By.SYSTEM) -> str:
    return "\n".join(text_of(spares_pdf(rows, by, identity=IDENTITY, as_at=AS_AT)))


def read(rows) -> dict[str, pd.DataFrame]:
    data = spares_workbook(rows, "GBP", identity=IDENTITY, as_at=AS_AT)
    return pd.read_excel(BytesIO(data), sheet_name=None, keep_default_na=False, dtype={"Part number": str})


@pytest.mark.parametrize(
    ("aboard", "minimum", "short", "state"),
    [(4, 4, 0, ""), (3, 4, 1, "below minimum"), (0, 0, 0, ""), ("3.5", 4, "0.5", "below minimum")],
)
def test_below_minimum_is_less_than_the_minimum(aboard, minimum, short, state):
    row = spare("x", aboard=Decimal(aboard), minimum=Decimal(minimum))
    assert (row.short, row.state) == (Decimal(short), state)


@pytest.mark.parametrize(
    ("expiry", "gone"),
    # 33 CFR 175.125: a marked date must not have passed, so the marked day itself is still good.
    [(date(2026, 3, 2), True), (date(2026, 3, 3), False), (date(2026, 3, 4), False), (None, False)],
)
def test_the_marked_date_is_the_last_good_day(expiry, gone):
    assert SparePlace("S1", "Saloon", Decimal(1), expiry).out_of_date(AS_AT) is gone


def test_workbook_puts_what_is_wrong_first():
    sheets = read(ALL)
    assert list(sheets) == ["By system", "By place"]
    assert list(sheets["By system"]["Part"]) == ["Impeller", "Сальник руля", "Hand flare, red", "Fuel filter"]
    assert list(sheets["By system"]["State"]) == ["below minimum", "below minimum", "out of date", ""]
    assert list(sheets["By system"]["Short by"]) == [1, 2, 0, 0]
    assert list(sheets["By place"]["Place"]) == ["C1", "P2", "S2", "S10"]
    assert list(sheets["By place"]["Out of date"]) == ["", "out of date", "", ""]


def test_what_lies_in_the_places_adds_up_to_what_is_aboard_and_out_of_date():
    sheets = read(ALL)
    there = sheets["By place"].groupby("Part")["Quantity here"].sum().to_dict()
    have = sheets["By system"].set_index("Part")
    whole = (have["Aboard"] + have["Out of date"]).to_dict()
    assert {part: there.get(part, 0) for part in whole} == whole


def test_part_numbers_stay_text_in_the_workbook():
    page = openpyxl.load_workbook(
        BytesIO(spares_workbook([spare("=1+1")], "GBP", identity=IDENTITY, as_at=AS_AT))
    )["By system"]
    assert [(page[cell].value, page[cell].data_type) for cell in ("B2", "C2")] == [
        ("=1+1", "s"),
        ("00123", "s"),
    ]


def test_paper_by_system_puts_what_is_wrong_first_and_every_spare_under_its_system():
    text = printed(ALL)
    at = [
        text.index(words) for words in ("See to these first", "Impeller (Engine)", "Hand flare, red (Safety)")
    ]
    assert at == sorted(at)
    body = text[at[-1] :]
    for words in ("Engine", "Fuel filter", "Safety", "Steering", "Сальник руля", "none aboard"):
        assert words in body
    assert "Kittiwake of Mylor" in text
    assert "Page 1 of 1" in text


def test_paper_by_place_lists_places_in_natural_order_and_what_lies_nowhere():
    text = printed(ALL, By.PLACE)
    at = [
        text.index(words)
        for words in ("C1 · Chart", "P2 · Pilot", "S2 · Saloon", "S10 · Saloon", "None aboard")
    ]
    assert at == sorted(at)
    assert "out of date since 30 Nov" in text


def test_the_caution_about_dates_stands_on_the_paper_only_when_something_is_out_of_date():
    assert "the date marked on it rules" in printed(ALL)
    assert "follow the maker" in " ".join(printed(ALL).split())
    assert "the date marked on it rules" not in printed([ENOUGH, SHORT])
    assert "See to these first" not in printed([ENOUGH])


def test_no_spares_says_so():
    assert "No part is marked as a spare yet." in printed([])
    assert [len(rows) for rows in read([]).values()] == [0, 0]


def test_the_paper_shows_quantities_apart():
    (line,) = [
        line for line in printed([OLD], By.SYSTEM).splitlines() if line.startswith("Hand flare, red  ")
    ]
    assert line.split()[3:8] == ["00123", "4", "2", "each", "2"]
