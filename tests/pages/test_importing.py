"""The pages of an import: send, look, put right, bring in, once; and what goes wrong on the way."""

import os
import time
from datetime import date

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from refit.boat.models import SheetShape
from refit.buying.models import Order, Supplier
from refit.carry.importing import kept
from tests.carry.books import rows_of, xlsx
from tests.conftest import signed_in
from tests.factory import Factory

pytestmark = pytest.mark.usefixtures("clean_ledger")
HEAD = ["Order no", "Shop", "Date", "Item", "Qty", "Price", "Category"]
ROPE = ["N-1", "North", date(2025, 3, 9), "Rope", 10, 4.5, "Engine"]
WRONG = ["N-2", "South", date(2025, 3, 9), "Pin", "some", 1, "Engine"]


@pytest.fixture(autouse=True)
def folder(settings, tmp_path):
    """Keep what is sent in a folder of this test."""
    settings.DATA_DIR = tmp_path
    return tmp_path / "imports"


def file(*rows, head=HEAD, name="old.xlsx") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, xlsx({"Purchases": [head, *rows]}))


def start(make) -> str:
    return f"/{make.boat.slug}/import/"


def sent(client, make, upload) -> str:
    """Send a file; return the address of the page that shows how it is read."""
    answer = client.post(start(make), {"file": upload})
    assert answer.status_code == 302, answer.content.decode()
    return answer["Location"]


def write(client, make, where: str, **changes):
    """Press the button that brings in what a page shows."""
    page = client.get(where)
    data = {
        "file": page.context["sent"].file.key,
        "seen": page.context["sent"].digest,
        "form_key": page.context["form"]["form_key"].initial,
    }
    if page.context["done"].faulty:
        data["leave_out"] = "on"
    data.update(changes)
    return client.post(f"{start(make)}write/", {k: v for k, v in data.items() if v is not None})


def test_send_look_bring_in(make, as_owner, folder):
    """Three steps; nothing is written before the last, and the file is thrown away after it."""
    assert as_owner.get(start(make)).status_code == 200
    where = sent(as_owner, make, file(ROPE))
    page = as_owner.get(where)
    assert "1 row to bring in" in page.content.decode()
    assert "Shop" in page.content.decode()
    assert Order.objects.count() == 0
    assert len(list(folder.rglob("*"))) == 3
    answer = write(as_owner, make, where)
    assert (answer.status_code, answer["Location"]) == (302, f"/{make.boat.slug}/")
    assert (
        "Brought in from old.xlsx: 1 order, 1 line, 1 supplier."
        in as_owner.get(answer["Location"]).content.decode()
    )
    assert Order.objects.get().lines.get().words == "Rope"
    assert [path for path in folder.rglob("*") if path.is_file()] == []


def test_the_same_form_twice_acts_once(make, as_owner):
    where = sent(as_owner, make, file(ROPE, WRONG))
    page = as_owner.get(where)
    data = {
        "file": page.context["sent"].file.key,
        "seen": page.context["sent"].digest,
        "form_key": page.context["form"]["form_key"].initial,
        "leave_out": "on",
    }
    for _ in range(2):
        assert as_owner.post(f"{start(make)}write/", data).status_code == 302
    assert Order.objects.count() == 1


def test_the_same_file_again_is_here_already(make, as_owner):
    write(as_owner, make, sent(as_owner, make, file(ROPE)))
    page = as_owner.get(sent(as_owner, make, file(ROPE))).content.decode()
    assert "All 1 rows are here already" in page
    assert "import/write/" not in page


def test_faulty_rows_are_shown_kept_back_and_given_back(make, as_owner):
    where = sent(as_owner, make, file(ROPE, WRONG))
    page = as_owner.get(where).content.decode()
    assert "1 of 2 rows are not right" in page
    assert "Purchases</bdi> E3" in page
    assert "“<bdi>some</bdi>” is not a number." in page
    assert "Leave 1 row out, bring in 1" in page
    refused = write(as_owner, make, where, leave_out="")
    assert refused.status_code == 422
    assert "1 rows are not right" in refused.content.decode()
    assert Order.objects.count() == 0
    answer = write(as_owner, make, where)
    assert Order.objects.get().reference == "N-1"
    left = as_owner.get(answer["Location"])
    assert "Take the rows left out" in left.content.decode()
    back = as_owner.get(f"{start(make)}faults.xlsx?file={left.context['left']}")
    assert back["Content-Disposition"] == 'attachment; filename="test-boat-rows-left-out.xlsx"'
    assert rows_of(back.content)[1][3:8] == ["Pin", "some", "1", "Engine", "Qty “some” is not a number."]


def test_a_fault_names_its_value_once_and_as_it_stands(make, as_owner):
    """Not again as it was understood: "31/02/2025" is never shown as 31.02.2025."""
    page = as_owner.get(sent(as_owner, make, file(["N-3", "South", "31/02/2025", "Pin", 1, 1, "Engine"])))
    assert "“<bdi>31/02/2025</bdi>” is not in the calendar; that month has no such day." in (
        page.content.decode()
    )


def test_a_column_is_put_right_and_remembered(make, as_owner):
    head = ["Order no", "Shop", "Date", "Item", "Qty", "Cash", "Category"]
    where = sent(as_owner, make, file(ROPE, head=head))
    key = where.split("file=")[1]
    assert Order.objects.count() == 0
    answer = as_owner.post(
        f"{start(make)}check/", {"file": key, "kind-0": "orders", "col-0-5": "price", "opt-0-came": "all"}
    )
    assert answer["Location"] == where
    plan = as_owner.get(where).context["sent"].plans[0]
    assert (plan.columns[5], plan.options, plan.remembered) == ("price", {"came": "all"}, True)
    write(as_owner, make, where)
    assert Order.objects.get().state == "arrived"
    other = as_owner.get(sent(as_owner, make, file(["N-9", *ROPE[1:]], head=head, name="next.xlsx")))
    assert other.context["sent"].plans[0].columns[5] == "price"
    assert "as last time" in other.content.decode()


def test_another_kind_is_guessed_anew(make, as_owner):
    where = sent(as_owner, make, file(ROPE))
    as_owner.post(f"{start(make)}check/", {"file": where.split("file=")[1], "kind-0": "suppliers"})
    plan = as_owner.get(where).context["sent"].plans[0]
    assert (plan.kind, plan.columns[1]) == ("suppliers", "name")


def test_a_sheet_can_be_left_out(make, as_owner):
    where = sent(as_owner, make, file(ROPE))
    as_owner.post(f"{start(make)}check/", {"file": where.split("file=")[1], "kind-0": ""})
    assert "Nothing to bring in yet" in as_owner.get(where).content.decode()


@pytest.mark.parametrize(
    "choice",
    [
        {"kind-0": "magic"},
        {"kind-0": "orders", "col-0-0": "boat", "col-0-1": "supplier"},
        {"kind-0": "orders", "opt-0-system": "Nobody's", "opt-0-currency": "XXQ", "opt-0-came": "never"},
        {"kind-0": "orders", "col-0-99999": "price"},
        {"kind-0": "orders\x00", "col-0-0": "\x00", "opt-0-system": "\x00", "opt-0-currency": "\x00"},
        {"kind-0": "orders", "opt-0-system": "Rig\x00"},
    ],
)
def test_choices_that_the_page_does_not_offer_choose_nothing(make, as_owner, choice):
    where = sent(as_owner, make, file(ROPE))
    assert (
        as_owner.post(f"{start(make)}check/", {"file": where.split("file=")[1], **choice}).status_code == 302
    )
    plan = as_owner.get(where).context["sent"].plans[0]
    assert "boat" not in plan.columns
    assert plan.options == {}


def test_what_was_not_shown_is_not_written(make, as_owner, as_crew):
    """Somebody changed how it is read after this page was shown."""
    where = sent(as_owner, make, file(ROPE))
    old = as_owner.get(where).context["sent"].digest
    as_crew.post(
        f"{start(make)}check/", {"file": where.split("file=")[1], "kind-0": "orders", "opt-0-came": "all"}
    )
    answer = write(as_owner, make, where, seen=old)
    assert answer.status_code == 422
    assert "was changed meanwhile" in answer.content.decode()
    assert Order.objects.count() == 0


@pytest.mark.parametrize(
    ("name", "data", "word"),
    [
        ("refit.xlsx", b"%PDF-1.7 x", "This is a PDF"),
        ("refit.xls", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1xx", "old spreadsheet"),
        ("refit.xlsx", b"PK\x03\x04 broken", "damaged"),
        ("empty.csv", b" ", "empty"),
    ],
)
def test_what_is_no_spreadsheet_is_refused_kindly(make, as_owner, folder, name, data, word):
    answer = as_owner.post(start(make), {"file": SimpleUploadedFile(name, data)})
    assert answer.status_code == 422
    assert word in answer.content.decode()
    assert not [path for path in folder.rglob("*") if path.is_file()]


def test_a_form_without_a_file_is_refused(make, as_owner):
    answer = as_owner.post(start(make), {})
    assert answer.status_code == 422
    assert "Choose the file first." in answer.content.decode()


def test_a_file_too_large_is_refused(make, as_owner, monkeypatch):
    monkeypatch.setattr("refit.pages.forms.importing.MOST_BYTES", 10)
    answer = as_owner.post(start(make), {"file": file(ROPE)})
    assert answer.status_code == 422
    assert "over 25 MB" in answer.content.decode()


@pytest.mark.parametrize("key", ["", "x", "../../etc/passwd", "f" * 64, "0" * 63 + "\u0660"])
def test_a_file_that_is_not_there_is_not_found(make, as_owner, key):
    for method, path in (("get", "check/"), ("post", "check/"), ("post", "write/"), ("get", "faults.xlsx")):
        answer = getattr(as_owner, method)(f"{start(make)}{path}", {"file": key})
        assert answer.status_code == 404
    assert Order.objects.count() == 0


def test_another_boats_file_is_not_found(make, as_owner):
    other = Factory.start("Other", prefix="other")
    where = sent(signed_in(other.owner), other, file(ROPE))
    assert as_owner.get(f"{start(make)}check/?file={where.split('file=')[1]}").status_code == 404
    assert as_owner.get(where).status_code == 404


def test_a_file_is_kept_for_a_day(make, as_owner, folder):
    """After that it is not found, and gone with the next file that is sent."""
    where = sent(as_owner, make, file(ROPE))
    old = time.time() - kept.A_DAY - 5
    paths = [path for path in folder.rglob("*") if path.is_file()]
    for path in paths:
        os.utime(path, (old, old))
    gone = as_owner.get(where)
    assert gone.status_code == 404
    assert "Send it again" in gone.content.decode()
    sent(as_owner, make, file(WRONG))
    assert not any(path.exists() for path in paths)


def test_what_is_kept_is_readable_by_its_owner_only(make, as_owner, folder):
    sent(as_owner, make, file(ROPE))
    assert {oct(path.stat().st_mode & 0o777) for path in folder.rglob("*") if path.is_file()} == {"0o600"}


@pytest.mark.parametrize("kind", ["orders", "suppliers", "stock", "", "magic"])
def test_empty_ones_to_fill_in(make, as_owner, kind):
    answer = as_owner.get(f"{start(make)}template.xlsx?kind={kind}")
    assert answer.status_code == 200
    assert rows_of(answer.content)[0]


def test_who_may(make, as_owner, as_crew, as_trade, as_viewer, as_outsider):
    """Those who may set the boat up; the outsider finds nothing."""
    for client, status in (
        (as_owner, 200),
        (as_crew, 200),
        (as_trade, 403),
        (as_viewer, 403),
        (as_outsider, 404),
    ):
        assert client.get(start(make)).status_code == status
    for client, status in ((as_trade, 403), (as_viewer, 403), (as_outsider, 404)):
        assert client.post(start(make), {"file": file(ROPE)}).status_code == status
        for path in ("check/", "write/"):
            assert client.post(f"{start(make)}{path}").status_code == status
        assert client.get(f"{start(make)}faults.xlsx").status_code == status
    assert (Order.objects.count(), SheetShape.objects.count()) == (0, 0)


def test_looking_writes_nothing(make, as_owner):
    where = sent(as_owner, make, file(ROPE, WRONG))
    for path in (where, where.replace("check/", "faults.xlsx"), f"{start(make)}template.xlsx"):
        assert as_owner.get(path).status_code == 200
    assert (Order.objects.count(), SheetShape.objects.count(), Supplier.objects.count()) == (0, 0, 0)
    assert as_owner.get(f"{start(make)}write/").status_code == 405


def test_names_in_the_file_are_escaped(make, as_owner):
    evil = "<script>alert(1)</script>"
    head = [*HEAD[:6], f"Category {evil}"]
    upload = SimpleUploadedFile(
        f"{evil}.xlsx", xlsx({"<i>P": [head, ["N-1", evil, "x", "=1+1", 1, 2, "\u202eRig"]]})
    )
    page = as_owner.get(sent(as_owner, make, upload)).content.decode()
    assert "<script>alert" not in page
    assert "<i>P" not in page
    assert "&lt;script&gt;alert(1)" in page
    assert "\u202e" not in page


def test_the_page_asks_as_few_questions_for_many_rows(make, as_owner, django_assert_num_queries):
    """The number of queries does not grow with the file."""
    few = sent(as_owner, make, file(ROPE))
    many = sent(as_owner, make, file(*[[f"N-{n}", f"Shop {n}", *ROPE[2:]] for n in range(150)]))
    for where in (few, many):
        with django_assert_num_queries(15):
            as_owner.get(where)
