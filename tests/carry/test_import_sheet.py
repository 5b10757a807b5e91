"""The command: it says how a file is read, names each fault, writes all or nothing, and fails in one sentence."""

from datetime import date
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from refit.boat.models import SheetShape
from refit.buying.models import Order, Supplier
from tests.carry.books import rows_of, xlsx

HEAD = ["Order no", "Shop", "Date", "Item", "Qty", "Price", "Category"]
ROPE = ["N-1", "North", date(2025, 3, 9), "Rope", 10, 4.5, "Engine"]
WRONG = ["N-2", "South", date(2025, 3, 9), "Pin", "some", 1, "Engine"]


@pytest.fixture
def file(tmp_path):
    """Return a function that writes a spreadsheet and gives its path."""

    def written(*rows, name="old.xlsx"):
        path = tmp_path / name
        path.write_bytes(xlsx({"Purchases": [HEAD, *rows]}))
        return str(path)

    return written


def ran(*args) -> tuple[str, str]:
    """Run the command; return what it said and what it complained of."""
    out, err = StringIO(), StringIO()
    call_command("import_sheet", *args, stdout=out, stderr=err)
    return out.getvalue(), err.getvalue()


def failed(*args) -> tuple[str, str]:
    """Run the command, which must fail; return its sentence and its complaints."""
    err = StringIO()
    with pytest.raises(CommandError) as refusal:
        call_command("import_sheet", *args, stdout=StringIO(), stderr=err)
    assert "\n" not in str(refusal.value)
    return str(refusal.value), err.getvalue()


def test_it_says_how_it_reads_and_what_it_brought_in(make, file, clean_ledger):
    said, complaints = ran(make.boat.slug, file(ROPE))
    assert "Purchases: orders with lines; Order no → Reference, Shop → Supplier" in said
    assert "1 rows: 1 new, 0 here already, 0 not right." in said
    assert "  orders: 1 of 1" in said
    assert said.endswith("Test Boat: 1 order, 1 line, 1 supplier brought in from old.xlsx.\n")
    assert complaints == ""
    assert Order.objects.get().made_by == make.owner
    assert SheetShape.objects.get().kind == "orders"


def test_twice_brings_in_nothing_new(make, file, clean_ledger):
    ran(make.boat.slug, file(ROPE))
    said, _ = ran(make.boat.slug, file(ROPE))
    assert "0 new, 1 here already" in said
    assert "nothing new brought in" in said
    assert Order.objects.count() == 1


def test_check_writes_nothing(make, file):
    said, _ = ran(make.boat.slug, file(ROPE), "--check")
    assert said.endswith("Every row is right. Nothing was written, as --check asks.\n")
    assert (Order.objects.count(), Supplier.objects.count(), SheetShape.objects.count()) == (0, 0, 0)


@pytest.mark.parametrize("more", [(), ("--check",)])
def test_faults_are_named_and_nothing_is_written(make, file, more):
    sentence, complaints = failed(make.boat.slug, file(ROPE, WRONG), *more)
    assert sentence.startswith("1 rows are not right; nothing was written.")
    assert complaints == "Purchases, E3 (Qty): “some” is not a number.\n"
    assert Order.objects.count() == 0


def test_faulty_rows_are_left_out_into_a_file(make, file, tmp_path, clean_ledger):
    rest = tmp_path / "rest.xlsx"
    said, _ = ran(make.boat.slug, file(ROPE, WRONG), "--leave-out", str(rest))
    assert "1 rows left out" in said
    assert [order.reference for order in Order.objects.all()] == ["N-1"]
    assert rows_of(rest.read_bytes())[1][3:5] == ["Pin", "some"]


def test_many_faults_are_counted(make, file):
    _, complaints = failed(make.boat.slug, file(*[[f"N-{n}", *WRONG[1:]] for n in range(70)]))
    assert len(complaints.splitlines()) == 51
    assert complaints.endswith("... and 20 more.\n")


def test_what_a_person_can_cause_is_one_sentence(make, file, tmp_path):
    assert "No boat is called nobody. The boats here: test-boat." in failed("nobody", file(ROPE))[0]
    assert "can't be read" in failed(make.boat.slug, str(tmp_path / "gone.xlsx"))[0]
    assert "can't be read" in failed(make.boat.slug, str(tmp_path))[0]
    pdf = tmp_path / "refit.xlsx"
    pdf.write_bytes(b"%PDF-1.7")
    assert failed(make.boat.slug, str(pdf))[0].startswith("refit.xlsx: This is a PDF.")
    other = tmp_path / "holiday.csv"
    other.write_bytes(b"Holiday,Colour\nMay,blue\n")
    assert failed(make.boat.slug, str(other))[0].startswith("No sheet could be read")
    where = str(tmp_path / "no" / "rest.xlsx")
    assert "can't be written" in failed(make.boat.slug, file(ROPE, WRONG), "--leave-out", where)[0]
    assert Order.objects.count() == 0
