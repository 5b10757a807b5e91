"""The same old spreadsheet brought in by two people at the same moment: each row is written once."""

import re
from datetime import date
from functools import partial
from io import StringIO

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command

from refit.buying.models import Line, Order, Supplier
from refit.carry.ledger import differences
from refit.stores.models import Holding, Part
from tests.at_once import at_once
from tests.carry.books import xlsx
from tests.conftest import signed_in
from tests.factory import Factory

pytestmark = [pytest.mark.threads, pytest.mark.django_db(transaction=True)]

SHEETS = {
    "Purchases": [
        ["Order no", "Shop", "Date", "Item", "Qty", "Price", "Category"],
        ["N-1", "North", date(2025, 3, 9), "Rope", 10, 4.5, "Engine"],
        ["", "South", date(2025, 3, 10), "Pin", 2, 1, "Engine"],
    ],
    "Stock": [["Place", "Part", "Quantity"], ["S3", "Impeller", 3]],
}


@pytest.fixture
def make() -> Factory:
    return Factory.start()


def written() -> tuple[int, ...]:
    """Return how many of each there are, and how much lies in the one place."""
    rows = (Order, Line, Supplier, Part)
    return (*(row.objects.count() for row in rows), int(Holding.objects.get().quantity))


def test_the_command_run_twice_at_once(make, tmp_path):
    path = tmp_path / "old.xlsx"
    path.write_bytes(xlsx(SHEETS))
    said = [StringIO(), StringIO()]
    outcomes = at_once(
        [partial(call_command, "import_sheet", make.boat.slug, str(path), stdout=out) for out in said]
    )
    assert outcomes == [None, None]
    ends = sorted(out.getvalue().splitlines()[-1] for out in said)
    assert ends[0].startswith("Test Boat: 2 orders, 2 lines, 1 part,")
    assert ends[1] == "Test Boat: nothing new brought in from old.xlsx."
    assert written() == (2, 2, 2, 1, 3)
    assert list(differences()) == []


def test_two_people_press_bring_in_at_once(make, settings, tmp_path):
    """Each sent the file for themselves, so that no form is the same."""
    settings.DATA_DIR = tmp_path
    where = f"/{make.boat.slug}/import/"
    forms = []
    for person in (make.owner, make.crew):
        client = signed_in(person)
        sent = client.post(where, {"file": SimpleUploadedFile("old.xlsx", xlsx(SHEETS))})
        page = client.get(sent["Location"]).context
        key, seen = page["sent"].file.key, page["sent"].digest
        data = {"file": key, "seen": seen, "form_key": page["form"]["form_key"].initial}
        forms.append(partial(client.post, f"{where}write/", data, follow=True))
    answers = at_once(forms)
    assert [answer.status_code for answer in answers] == [200, 200]
    said = sorted(re.search("Brought in from old.xlsx: ([^.]*)", a.content.decode())[1] for a in answers)
    assert said[0].startswith("2 orders, 2 lines, 1 part,")
    assert said[1] == "nothing new"
    assert written() == (2, 2, 2, 1, 3)
    assert list(differences()) == []
