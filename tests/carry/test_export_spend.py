"""`manage.py export_spend`: the same report as the page sends; one clear sentence for what a person can get wrong."""

from io import BytesIO, StringIO

import openpyxl
import pytest
from django.core.management import CommandError, call_command

from tests.buying.test_spend import season

pytestmark = pytest.mark.django_db


def values(content: bytes) -> dict[str, list]:
    book = openpyxl.load_workbook(BytesIO(content))
    return {sheet.title: list(sheet.iter_rows(values_only=True)) for sheet in book}


def test_it_writes_what_the_page_sends(make, as_owner, tmp_path):
    season(make, 3)
    said = StringIO()
    call_command("export_spend", "test-boat", str(tmp_path / "spend.xlsx"), stdout=said)
    assert "lines written to" in said.getvalue()
    from_page = as_owner.get("/test-boat/spend.xlsx").content
    assert values((tmp_path / "spend.xlsx").read_bytes()) == values(from_page)


def test_a_boat_without_orders_has_its_sheets_all_the_same(make, tmp_path):
    call_command("export_spend", "test-boat", str(tmp_path / "spend.xlsx"), stdout=StringIO())
    sheets = values((tmp_path / "spend.xlsx").read_bytes())
    assert list(sheets) == ["By system", "By job", "By supplier", "By month", "Lines", "Sold and given"]
    assert sheets["Lines"][-1][0] == "Total"


@pytest.mark.parametrize(
    ("boat", "file", "sentence"),
    [
        ("no-such", "spend.xlsx", "No boat is called no-such. The boats here: test-boat."),
        ("test-boat", "nowhere/spend.xlsx", "can't be written"),
        ("test-boat", "spend.pdf", "does not end in .xlsx"),
        ("test-boat", "folder.xlsx", "can't be written"),
    ],
)
def test_what_goes_wrong_is_said_in_one_sentence_and_nothing_is_left(make, tmp_path, boat, file, sentence):
    (tmp_path / "folder.xlsx").mkdir()
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(CommandError) as problem:
        call_command("export_spend", boat, str(tmp_path / file), stdout=StringIO())
    assert sentence in str(problem.value)
    assert "\n" not in str(problem.value)
    assert sorted(tmp_path.rglob("*")) == before


def test_yesterdays_file_stays_whole_when_todays_cannot_be_written(make, tmp_path, monkeypatch):
    path = tmp_path / "spend.xlsx"
    path.write_bytes(b"yesterday")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("pathlib.Path.write_bytes", full)
    with pytest.raises(CommandError, match="No space left on device"):
        call_command("export_spend", "test-boat", str(path), stdout=StringIO())
    assert path.read_bytes() == b"yesterday"
