"""The old spreadsheet: guessed, checked, written; twice makes no doubles; what we export comes in again."""

import io
import random
import time
from datetime import date

import pytest

from refit.boat.models import Budget, Location, System
from refit.buying import spend
from refit.buying.actions import deliveries
from refit.buying.actions.deliveries import Arrival
from refit.buying.actions.orders import ChargeFacts
from refit.buying.actions.refunds import Refund, add_refund
from refit.buying.models import Charge, Credit, Line, Order, OrderState, Payment, Supplier
from refit.buying.spend import Filters
from refit.carry import everything
from refit.carry.importing import own, shapes, world
from refit.carry.importing.check import check
from refit.carry.importing.fields import BY_KEY, KINDS
from refit.carry.importing.files import faults_file, template_file
from refit.carry.importing.guess import guess, regrouped, with_choices
from refit.carry.importing.write import NotWritten, write
from refit.carry.sheets.read import read
from refit.carry.spend import report
from refit.reports.spend import spend_workbook
from refit.stores.models import Entry, Holding, Movement, Part, PartNumber
from refit.work.models import Job
from tests.boat.whole import fill
from tests.carry.books import rows_of, xlsx
from tests.factory import D, Factory

pytestmark = pytest.mark.usefixtures("clean_ledger")
WHEN = date(2025, 3, 9)
HEAD = ["Order no", "Shop", "Date", "Item", "Qty", "Price", "Category"]


def looked(make, data, name="old.xlsx", *, options=None, known=None):
    """Read, guess and check a file."""
    book = read(data, name)
    plans = guess(book, known)
    if options:
        plans = [with_choices(plan, plan.kind, plan.columns, {**plan.options, **options}) for plan in plans]
    return check(make.boat, book, plans, make.today), book, plans


def brought(make, data, name="old.xlsx", **how):
    """Check a file and write it; every row must be right."""
    done, _, _ = looked(make, data, name, **how)
    assert [str(fault) for fault in done.faults] == []
    return write(make.boat, done, by=make.owner, today=make.today, name=name)


def faults(make, data, **how):
    """Return each fault's cell with why."""
    done, _, _ = looked(make, data, **how)
    return {(fault.where, fault.value): fault.why for fault in done.faults}


def test_a_cell_of_a_hundred_thousand_brackets_is_looked_at_no_longer_than_a_heading(make):
    began = time.monotonic()
    done, _, _ = looked(make, ("Supplier\n" + "(" * 150_000 + "\n").encode(), "a.csv")
    assert time.monotonic() - began < 5
    assert [fault.where for fault in done.faults] == ["A2"]


def test_near_names_are_looked_for_only_so_often(make, monkeypatch):
    """Each new name is compared with all before it: a list of a hundred thousand would take hours."""
    rows = [["Supplier", "Note"], ["Northgate Chandlery", ""], ["Northgate Chandlary", ""]]
    data = xlsx({"Suppliers": [*rows, ["Northgate Chandlary", "again"]]})
    assert set(faults(make, data)) == {("A3", "Northgate Chandlary"), ("A4", "Northgate Chandlary")}
    monkeypatch.setattr(world, "MOST_COMPARED", -1)
    assert faults(make, data) == {}


def orders_sheet(*rows, head=HEAD):
    return xlsx({"Purchases": [head, *rows]})


ROPE = ["N-1", "North", WHEN, "Rope", 10, 4.5, "Engine"]


# Guessing


@pytest.mark.parametrize(
    ("headings", "row", "kind", "fields"),
    [
        (["Leverantör", "Webb", "Valuta"], ["Norr AB", "x.example", "SEK"], "suppliers", ["name", "", "currency"]),
        (["PART NO.", "Description", "Min"], ["A1", "Impeller", 2], "parts", ["number", "name", "minimum"]),
        (["Locker", "Item", "Qty", "Expiry"], ["S3", "Flare", 4, "03/28"], "stock",
         ["mark", "name", "quantity", "expires"]),
        (["Task", "System", "Status"], ["Renew rig", "Rig", "done"], "jobs", ["title", "system", "state"]),
        (["Mark", "Name", "Area"], ["S3", "Settee", "Saloon"], "places", ["mark", "name", "area"]),
        (["Datum", "Lieferant", "Bezeichnung", "Menge", "Einzelpreis", "Gesamtpreis"],
         ["09.03.2025", "Nord", "Tau", 2, 4.5, 9], "orders",
         ["date", "supplier", "description", "quantity", "price", "total"]),
        (["Shop", "What", "Price (SEK)", "Bought"], ["Norr", "Rep", 45, WHEN], "orders",
         ["supplier", "description", "price", "date"]),
        (["System", "Group", "Budget"], ["Rig", "Hull", 4500], "systems", ["name", "group", "budget"]),
        (["Holiday", "Colour"], ["May", "blue"], "", ["", ""]),
    ],
)  # fmt: skip
def test_the_kind_and_the_columns_are_guessed_from_the_headings(headings, row, kind, fields):
    """In several wordings and languages, accents and case aside."""
    plan = guess(read(xlsx({"Sheet1": [headings, row]}), "a.xlsx"))[0]
    assert (plan.kind, list(plan.columns)) == (kind, fields)


def test_headings_below_a_title_are_found():
    book = read(xlsx({"S": [["Refit of 2025"], [], HEAD, ROPE]}), "a.xlsx")
    plan = guess(book)[0]
    assert plan.headings == tuple(HEAD)
    assert book.sheets[0].rows[plan.first].number == 4


def test_a_heading_that_names_a_currency_sets_it():
    plan = guess(
        read(xlsx({"S": [["Shop", "What", "Price (SEK)", "Date"], ["N", "Rope", 4, WHEN]]}), "a.xlsx")
    )[0]
    assert plan.options == {"currency": "SEK"}


def test_what_no_heading_names_is_told_by_its_content():
    """A column of days is the date, of codes the currency, the long words are the thing."""
    head = ["Supplier", "xx", "yy", "zz", "Price", "Qty"]
    rows = [
        ["North", WHEN, "EUR", "Rope, twelve millimetres", 4.5, 2],
        ["South", WHEN, "GBP", "Shackle of steel", 3, 1],
    ]
    plan = guess(read(xlsx({"S": [head, *rows]}), "a.xlsx"))[0]
    assert plan.columns == ("supplier", "date", "currency", "description", "price", "quantity")


def test_a_heading_does_not_make_words_a_number():
    """ "Amount" above words is no amount."""
    head = ["Supplier", "Item", "Price", "Total"]
    plan = guess(read(xlsx({"S": [head, ["N", "Rope", 4, "paid by card"]]}), "a.xlsx"))[0]
    assert plan.columns == ("supplier", "description", "price", "")


def test_a_field_is_chosen_once_and_only_of_its_kind():
    book = read(xlsx({"S": [["a", "b", "c"], ["x", "y", "z"]]}), "a.xlsx")
    plan = with_choices(guess(book)[0], "jobs", ["title", "title", "supplier"], {})
    assert plan.columns == ("title", "", "")
    assert regrouped(plan, book.sheets[0], "nonsense").kind == ""


def test_every_template_is_guessed_as_its_own_kind_whole(make):
    """What we hand out to fill in comes back as what it is."""
    book = read(template_file(make.boat, "", make.today), "a.xlsx")
    plans = guess(book)
    assert [plan.kind for plan in plans] == [kind.key for kind in KINDS]
    for plan in plans:
        named = [BY_KEY[plan.kind].field(key).label for key in plan.columns]
        assert named == list(plan.headings)


def test_every_template_filled_in_as_its_example_is_right(make):
    """The example row itself is a row that can be brought in."""
    assert brought(make, template_file(make.boat, "", make.today), options={"system": "Engine"}).orders == 1


def test_what_was_corrected_is_remembered_for_the_next_file(make):
    data = xlsx({"S": [["Shop", "Thing bought", "Cash", "On"], ["North", "Rope", 4, WHEN]]})
    book = read(data, "a.xlsx")
    plan = guess(book)[0]
    right = with_choices(plan, "orders", ["supplier", "description", "price", "date"], {"system": "Engine"})
    shapes.remember(make.boat, [right])
    other = xlsx({"T": [["SHOP", "thing  bought", "Cash", "on"], ["South", "Pin", 3, WHEN]]})
    again = guess(read(other, "b.xlsx"), shapes.known(make.boat))[0]
    assert (again.kind, again.columns, again.options) == (right.kind, right.columns, right.options)
    assert again.remembered
    strange = guess(read(other, "b.xlsx"), shapes.known(Factory.start("Other", prefix="o").boat))[0]
    assert not strange.remembered


# Bringing in


def test_orders_come_in_with_all_they_name(make):
    head = [*HEAD, "Part no", "Locker", "Job", "Shipping", "Received", "Note"]
    rows = [
        [*ROPE, "R-12", "S3", "Renew the rig", 6.9, date(2025, 3, 12), "by post"],
        ["N-1", "North", WHEN, "Tape", 2, 1.25, "Engine", None, None, None, None, None, None],
        ["S-1", "South", WHEN, "Shackle", 1, 3, "Rigging", None, "Forepeak", None, None, None, None],
    ]
    made = brought(make, orders_sheet(*rows, head=head))
    assert (made.orders, made.lines, made.suppliers, made.parts, made.jobs) == (2, 3, 2, 1, 1)
    one = Order.objects.get(reference="N-1")
    assert (one.supplier.name, one.ordered_on, one.state, one.note) == (
        "North",
        WHEN,
        OrderState.PART_ARRIVED,
        "by post",
    )
    rope, tape = one.lines.all()
    assert (rope.part.name, rope.quantity, rope.amount, rope.charges) == ("Rope", D(10), 4500, 654)
    assert (rope.place.mark, rope.job.title, rope.system.name) == ("S3", "Renew the rig", "Engine")
    assert (tape.words, tape.amount, tape.charges, tape.arrived) == ("Tape", 250, 36, D(0))
    assert rope.deliveries.get().delivery.arrived_on == date(2025, 3, 12)
    assert not Movement.objects.exists()
    assert Payment.objects.count() == 0
    assert (one.goods, one.landed) == (4750, 5440)
    assert Location.objects.get(name="Forepeak").area == make.area
    assert System.objects.filter(boat=make.boat, name="Rigging").exists()


def test_a_row_that_names_no_order_belongs_to_the_one_above(make):
    rows = [ROPE, [None, None, None, "Tape", 2, 1.25, "Engine"], ["", "", "", "Pin", 1, 1, "Engine"]]
    brought(make, orders_sheet(*rows))
    assert [line.what for line in Order.objects.get().lines.all()] == ["Rope", "Tape", "Pin"]


def test_the_same_file_twice_makes_no_doubles(make):
    """Of every kind: suppliers, parts, places, stock, jobs, orders, systems and budgets."""
    sheets = {
        "Systems": [["System", "Group", "Budget"], ["Rig", "Hull", 4500]],
        "Suppliers": [["Supplier", "Web address"], ["North", "north.example"]],
        "Places": [["Mark", "Name", "Area"], ["S3", "Settee", "Saloon"]],
        "Parts": [["Part", "Part number", "Least to carry"], ["Impeller", "IM-1", 2]],
        "Stock": [
            ["Place", "Part", "Quantity", "Good until"],
            ["S3", "Impeller", 3, None],
            ["S4", "Flare", 4, "03/28"],
        ],
        "Jobs": [["Title", "System", "State"], ["Renew the rig", "Rig", "Planned"]],
        "Orders": [HEAD, ROPE, ["", "North", WHEN, "Tape", 1, 2, "Rig"]],
    }
    data = xlsx(sheets)
    first = brought(make, data)
    tables = (System, Supplier, Location, Part, PartNumber, Holding, Job, Order, Line, Budget, Entry, Charge)
    before = [table.objects.count() for table in tables]
    done, _, _ = looked(make, data)
    assert (done.new, done.known, done.faulty) == (0, done.rows, 0)
    again = write(make.boat, done, by=make.owner, today=make.today, name="old.xlsx")
    assert [table.objects.count() for table in tables] == before
    assert (first.orders, first.put_in, again.said) == (2, 2, "nothing new")


def test_two_orders_alike_in_one_file_are_two(make):
    """The same thing bought twice on one day, under two numbers; brought in again they are still two."""
    rows = [ROPE, ["N-2", *ROPE[1:]]]
    assert brought(make, orders_sheet(*rows)).orders == 2
    assert brought(make, orders_sheet(*rows)).orders == 0
    assert brought(make, orders_sheet(*rows, ["N-3", *ROPE[1:]])).orders == 1


def test_stock_comes_in_as_one_deed_that_can_be_undone(make):
    head = ["Where", "Thing", "Count", "Unit", "Serial no", "Expiry", "Kept"]
    rows = [
        ["S3 Settee", "Impeller", 3, None, None, None, None],
        ["S3", "Flare", 4, "each", "B7", "03/28", None],
        ["Forepeak", "Rope", 12.5, "m", None, None, None],
        ["Forepeak", "Rope", 2.5, "m", None, None, None],
        ["S3", "Grease", None, None, None, None, "by level"],
    ]
    made = brought(make, xlsx({"Inventory": [head, *rows]}))
    assert (made.parts, made.places, made.put_in) == (4, 2, 4)
    held = {
        str(h.part): (h.place.plate, h.quantity, h.level, str(h.lot or "")) for h in Holding.objects.all()
    }
    assert held == {
        "Impeller": ("S3", D(3), "", ""),
        "Flare": ("S3", D(4), "", "B7"),
        "Rope": ("Forepeak", D(15), "", ""),
        "Grease": ("S3", D(0), "fine", ""),
    }
    assert Entry.objects.get().said == "Put in 4 things from old.xlsx."
    assert Holding.objects.get(part__name="Flare").lot.expires_on == date(2028, 3, 31)


def test_what_lies_there_with_another_quantity_stays_and_is_said(make):
    part, place = make.part("Impeller"), make.place("S3")
    make.stock(part, place, 2)
    done, _, _ = looked(make, xlsx({"S": [["Place", "Part", "Quantity"], ["S3", "Impeller", 5]]}))
    assert (done.new, done.known) == (0, 1)
    assert any("another quantity" in sentence for sentence in done.said)


def test_jobs_keep_their_numbers_and_states(make):
    head = ["Job", "Title", "System", "State", "To be done", "Given to", "Done on"]
    rows = [
        [7, "Renew the rig", "Rig", "In hand", "Before departure", "Owner", None],
        [3, "Paint the keel", "Engine", "done", None, "Somebody else", date(2025, 5, 1)],
    ]
    brought(make, xlsx({"Jobs": [head, *rows]}))
    rig, keel = Job.objects.get(number=7), Job.objects.get(number=3)
    assert (rig.state, rig.before, rig.given_to) == ("in_hand", "departure", make.member(make.owner))
    assert (keel.state, keel.done_on, keel.note) == ("done", date(2025, 5, 1), "Given to: Somebody else")


def test_a_foreign_order_takes_the_published_rate_or_its_own(make):
    """European Central Bank, 28 June 2024: 0.84638 pounds for a euro; typed rates count either way round."""
    head = [*HEAD, "Currency", "Rate"]
    rows = [
        ["A", "North", date(2024, 6, 28), "Rope", 1, 100, "Engine", "EUR", None],
        ["B", "North", date(2024, 6, 28), "Rope", 1, 100, "Engine", "EUR", 1.25],
        ["C", "North", date(2024, 6, 28), "Rope", 1, 100, "Engine", "EUR", 0.8],
    ]
    brought(make, orders_sheet(*rows, head=head))
    assert {order.reference: order.rate_source for order in Order.objects.all()} == {
        "A": "ecb",
        "B": "typed",
        "C": "typed",
    }
    assert Order.objects.get(reference="A").landed == 8464
    assert [Order.objects.get(reference=ref).landed for ref in "BC"] == [8000, 8000]


def test_a_sign_beside_the_price_names_the_money(make):
    brought(make, orders_sheet(["A", "North", date(2025, 3, 10), "Rope", 1, "1.234,50 €", "Engine"]))
    order = Order.objects.get()
    assert (order.currency, order.lines.get().amount) == ("EUR", 123450)


def test_money_off_comes_off_its_order(make):
    """A row below nil, as "(5.00)", is a discount over the order's lines."""
    brought(make, orders_sheet(ROPE, ["N-1", "North", WHEN, "Voucher", 1, "(5.00)", "Engine"]))
    order = Order.objects.get()
    assert (order.goods, order.landed, order.lines.count()) == (4500, 4000, 1)


def test_freight_that_stands_alike_in_each_row_is_the_orders_once(make):
    head = [*HEAD, "Freight"]
    rows = [[*ROPE, 12], ["N-1", "North", WHEN, "Tape", 2, 1.25, "Engine", 12]]
    done, _, _ = looked(make, orders_sheet(*rows, head=head))
    assert any("taken once" in sentence for sentence in done.said)
    write(make.boat, done, by=make.owner, today=make.today, name="x")
    assert Charge.objects.get().amount == 1200


@pytest.mark.parametrize(
    ("state", "came", "said", "arrived"),
    [
        (None, None, "", 0),
        (None, None, "all", 10),
        ("received", None, "", 10),
        ("on order", None, "all", 0),
        (None, "x", "", 10),
        (None, "no", "all", 10),
        (None, WHEN, "", 10),
    ],
)
def test_whether_it_came_is_as_the_sheet_says(make, state, came, said, arrived):
    head = [*HEAD, "State", "Received"]
    brought(make, orders_sheet([*ROPE, state, came], head=head), options={"came": said} if said else None)
    assert Line.objects.get().arrived == arrived


def test_what_is_not_ordered_yet_stays_so(make):
    head = [*HEAD, "State"]
    brought(
        make, orders_sheet(["", "North", None, "Rope", 1, 4, None, "to buy"], [*ROPE, "cancelled"], head=head)
    )
    order = Order.objects.get()
    assert (order.state, order.ordered_on, order.lines.get().system) == ("draft", None, None)


def test_numbers_as_text_and_totals_below(make):
    text = (
        "Lieferant;Datum;Artikel;Menge;Einzelpreis;Gesamt;Kategorie\n"
        'Nord;09.03.2025;Tau;"2";1.234,50 €;2.469,00 €;Engine\n'
        "Nord;09.03.2025;Klampe;n/a;12,-;12,00;Engine\n"
        "Summa;;;;;2.481,00;\nTotal;;;;;2.481,00;\n"
    )
    brought(make, text.encode("cp1252"), "alt.csv")
    assert sorted(Line.objects.values_list("amount", flat=True)) == [1200, 246900]


# What is not right


@pytest.mark.parametrize(
    ("change", "cell", "why"),
    [
        ({1: None}, "B2", "who sold it"),
        ({2: None}, "C2", "when was it ordered"),
        ({2: "soon"}, "C2", "is not a day"),
        ({2: date(2099, 1, 1)}, "C2", "has not come yet"),
        ({3: None}, "D2", "what was bought"),
        ({3: "x" * 201}, "D2", "too long"),
        ({4: 0}, "E2", "how many"),
        ({4: -1}, "E2", "below nil"),
        ({4: "a few"}, "E2", "is not a number"),
        ({4: 1.2345}, "E2", "too many decimals"),
        ({5: None}, "F2", "has no price"),
        ({5: "#REF!"}, "F2", "formula's error"),
        ({5: 10**11}, "F2", "too large"),
        ({5: "1,234"}, "F2", "two ways"),
        ({5: "4 XXX"}, "F2", "no currency"),
        ({6: None}, "G2", "every line is for one system"),
        ({6: "Engin e"}, None, ""),
        ({6: "Enginne"}, "G2", "is nearly Engine"),
    ],
)
def test_each_fault_of_an_order_is_named_by_its_cell(make, change, cell, why):
    row = [change.get(at, value) for at, value in enumerate(ROPE)]
    found = faults(make, orders_sheet(row, ["N-2", "South", WHEN, "Pin", 1, 2, "Engine"]))
    assert [where for where, _ in found] == ([cell] if cell else [])
    assert all(why in sentence for sentence in found.values())


def test_prices_that_do_not_add_up_are_named(make):
    found = faults(make, orders_sheet([*ROPE, 50], head=[*HEAD, "Total"]))
    assert found == {("H2", "50"): "is not 10 × 4.5, which is 45."}


def test_other_money_within_one_order_is_named(make):
    head = [*HEAD, "Currency"]
    rows = [[*ROPE, "GBP"], ["N-1", "North", WHEN, "Tape", 1, 1, "Engine", "EUR"]]
    assert "H3" in [where for where, _ in faults(make, orders_sheet(*rows, head=head))]


def test_an_amount_in_other_money_than_its_row_is_named(make):
    """The mark beside an amount counts, also where a column says another currency; on a second row as well."""
    head = [*HEAD, "Currency", "Freight"]
    rows = [
        ["A", "North", WHEN, "Rope", 1, "4.50 EUR", "Engine", "GBP", None],
        ["B", "North", WHEN, "Rope", 1, "4.50 GBP", "Engine", None, None],
        ["B", "North", WHEN, "Pin", 1, "4.50 XXX", "Engine", None, None],
        ["C", "North", WHEN, "Rope", 1, "£4.50", "Engine", "GBP", "£2 "],
        ["D", "North", WHEN, "Rope", 1, "£4.50", "Engine", None, "2.00 €"],
    ]
    assert faults(make, orders_sheet(*rows, head=head)) == {
        ("F2", "4.50 EUR"): "is in EUR, but its row in GBP.",
        ("F4", "4.50 XXX"): "names no currency that is known (XXX).",
        ("I6", "2.00 €"): "is in EUR, but its row in GBP.",
    }


@pytest.mark.parametrize("wrong", [{1: None}, {2: "soon"}, {2: None}, {2: date(2099, 1, 1)}, {1: "N" * 81}])
@pytest.mark.parametrize("spoilt", [0, 1])
def test_an_order_is_not_written_without_its_row_of_a_wrong_seller_or_day(make, wrong, spoilt):
    """What is blank in a later row is filled from the first; else the order waits whole."""
    rows = [ROPE, ["N-1", "North", WHEN, "Tape", 2, 1, "Engine"]]
    rows[spoilt] = [wrong.get(at, value) for at, value in enumerate(rows[spoilt])]
    done, _, _ = looked(make, orders_sheet(*rows))
    filled = spoilt == 1 and None in wrong.values()
    assert (done.faulty, len(done.orders)) == ((0, 1) if filled else (2, 0))


def test_a_weight_below_nil_is_named(make):
    found = faults(make, xlsx({"Parts": [["Part", "Part number", "Weight of one, kg"], ["Rope", "R", -2]]}))
    assert found == {("C2", "-2"): "is below nil."}


def test_no_rate_is_named(make):
    """No rate of the Kuwaiti dinar is published by the bank."""
    found = faults(make, orders_sheet([*ROPE, "KWD"], head=[*HEAD, "Currency"]))
    assert [where for where, _ in found] == ["H2"]


@pytest.mark.parametrize(
    ("sheet", "rows", "cell", "why"),
    [
        ("Suppliers", [["Supplier", "Currency"], ["North", "XXQ"]], "B2", "is not a currency"),
        ("Suppliers", [["Supplier", "Note"], [None, "x"]], "A2", "is empty"),
        ("Suppliers", [["Supplier", "Note"], ["N" * 81, "x"]], "A2", "too long"),
        ("Jobs", [["Title", "System"], ["Rig", None]], "B2", "one system"),
        ("Jobs", [["Title", "System", "State"], ["Rig", "Rig", "magic"]], "C2", "is not known as state"),
        ("Jobs", [["Title", "System", "Done on"], ["Rig", "Rig", date(2099, 1, 1)]], "C2", "not come yet"),
        ("Parts", [["Part", "Part number", "Unit"], ["Rope", "R", "furlong"]], "C2", "is not known as unit"),
        ("Parts", [["Part", "Part number", "Barcode"], ["Rope", "R", "4006381333932"]], "C2", ""),
        ("Parts", [["Part", "Part number", "Least to carry"], ["Rope", "R", -2]], "C2", "below nil"),
        ("Stock", [["Place", "Part", "Quantity"], ["S3", "Pin", 1.5]], "C2", "whole number"),
        (
            "Stock",
            [["Place", "Part", "Quantity", "Good until"], ["S3", "Pin", 1, "13/45"]],
            "D2",
            "not a day",
        ),
        ("Systems", [["System", "Group", "Budget"], ["Rig", "Hull", -4]], "C2", "below nil"),
        ("Systems", [["System", "Group", "Budget"], ["Rig", "Fish", 4]], "B2", "not known as group"),
        ("Places", [["Mark", "Name", "In"], ["S3", "Settee", "Nowhere"]], "C2", "no place"),
    ],
)
def test_faults_of_the_other_kinds(make, sheet, rows, cell, why):
    found = faults(make, xlsx({sheet: rows}))
    assert [where for where, _ in found] == [cell]
    assert why in next(iter(found.values()))


def test_two_hundred_seeded_faults_are_each_named_by_cell(make):
    """600 rows, 200 of them spoilt in one cell each: each is named once, by sheet, row, column and value."""
    chance = random.Random(7)
    kinds = [
        (2, "some day"),
        (4, "many"),
        (4, 0),
        (5, "dear"),
        (5, None),
        (1, None),
        (3, None),
        (2, date(2099, 1, 1)),
    ]
    rows, seeded = [], {}
    spoilt = set(chance.sample(range(600), 200))
    for at in range(600):
        row = [f"N-{at}", f"Shop {at % 20}", WHEN, f"Thing {at}", 1 + at % 4, 2.5, "Engine"]
        if at in spoilt:
            column, value = chance.choice(kinds)
            row[column] = value
            seeded[f"{'ABCDEFG'[column]}{at + 2}"] = "" if value is None else str(value)
        rows.append(row)
    done, _, _ = looked(make, orders_sheet(*rows))
    assert len(seeded) == 200
    assert {fault.where: fault.value for fault in done.faults} == seeded
    assert {fault.title for fault in done.faults} == {"Purchases"}
    assert all(fault.heading == HEAD["ABCDEFG".index(fault.column)] for fault in done.faults)
    assert (done.new, done.faulty) == (400, 200)
    assert not Order.objects.exists()


def test_rows_that_are_not_right_come_back_with_why_and_then_come_in(make):
    """The whole order waits with its faulty row; put right, it comes in once."""
    rows = [
        ROPE,
        ["N-2", "South", WHEN, "Pin", 1, 2, "Engine"],
        ["N-2", "South", WHEN, "Nut", "some", 2, "Engine"],
    ]
    done, book, plans = looked(make, orders_sheet(*rows))
    write(make.boat, done, by=make.owner, today=make.today, name="x")
    assert [order.reference for order in Order.objects.all()] == ["N-1"]
    back = rows_of(faults_file(make.boat, book, plans, done, make.today))
    assert back[0] == [*HEAD, "Why it was left out", "Stood in"]
    assert [row[3] for row in back[1:]] == ["Pin", "Nut"]
    assert back[1][-2:] == ["Another row of this order is not right: E4.", "row 3"]
    assert back[2][-2:] == ["Qty “some” is not a number.", "row 4"]
    back[2][4] = 3
    brought(make, xlsx({"Purchases": back}))
    assert [line.what for line in Order.objects.get(reference="N-2").lines.all()] == ["Pin", "Nut"]


def test_a_refusal_on_the_way_writes_nothing(make, monkeypatch):
    """What checking did not foresee is refused whole."""
    done, _, _ = looked(make, orders_sheet(ROPE))
    done.orders[0].bill.prices[0] = (D(-1), False)
    with pytest.raises(NotWritten, match="nil or more"):
        write(make.boat, done, by=make.owner, today=make.today, name="x")
    assert (Order.objects.count(), Supplier.objects.count()) == (0, 0)


def test_an_order_that_is_there_with_other_lines_is_not_made_again(make):
    brought(make, orders_sheet(ROPE))
    found = faults(make, orders_sheet([*ROPE[:4], 11, *ROPE[5:]]))
    assert found == {("A2", "N-1"): "is on order 1 already, with other lines. Correct it there."}


def test_dangerous_words_are_kept_as_words(make):
    evil = ["=cmd|' /C calc'!A0", "<script>alert(1)</script>", "@SUM(A1)"]
    text = "Supplier,Note\n" + "\n".join(f'"{word}",x' for word in evil)
    brought(make, text.encode(), "a.csv")
    assert sorted(Supplier.objects.values_list("name", flat=True)) == sorted(evil)


# What we export comes in again


def worked(make):
    """Fill a boat with orders in two currencies, charges, arrivals, a refund, and a job."""
    job = make.job("Renew the rig")
    place = make.place("S3")
    part = make.part("Impeller", numbers=[("maker", "IM-1", "")], system=make.system)
    order = make.order(
        make.line(part, packs=D(3), price=D("12.35"), place=place, job=job),
        make.line(words="Paint", packs=D(2), price=D("19.99"), system=make.other_system),
        charges=(ChargeFacts("freight", D("7.77")), ChargeFacts("discount", D(1))),
        on=WHEN, ordered_on=WHEN, supplier=make.supplier("North"),
    )  # fmt: skip
    foreign = make.order(
        make.line(words="Winch", packs=D(1), price=D("999.99")),
        make.line(words="Handle", packs=D(2), price=D("33.33")),
        charges=(ChargeFacts("duty", D("41.20"), currency="GBP"),),
        on=WHEN, ordered_on=WHEN, currency="EUR", rate=D("1.1873"), supplier=make.supplier("Sud"),
    )  # fmt: skip
    lines = list(order.lines.all())
    deliveries.book_in(
        make.boat, [Arrival(lines[1], D(2))], by=make.owner, on=date(2025, 3, 20), today=make.today
    )
    add_refund(
        foreign,
        [foreign.lines.last()],
        Refund("price", D("5.55"), "GBP", came_on=date(2025, 4, 1)),
        by=make.owner,
        today=make.today,
    )
    return make


def exported(make) -> bytes:
    return spend_workbook(report(make.boat, Filters(), on=make.today))


def sums(make):
    """Return what a boat has spent, by names."""
    facts = spend.facts(make.boat, Filters())
    systems = {row.pk: row.name for row in System.objects.filter(boat=make.boat)}
    suppliers = {row.pk: row.name for row in Supplier.objects.filter(boat=make.boat)}
    jobs = {row.pk: row.title for row in Job.objects.filter(boat=make.boat)} | {None: None}
    return [
        {names[key]: (money.ordered, money.delivered) for key, money in spend.totals(facts, by).items()}
        for by, names in (("system", systems), ("supplier", suppliers), ("job", jobs))
    ]


def test_the_spend_workbook_comes_into_another_boat_to_the_last_penny(make):
    """Every line, cost all in, refund, job, locker and order number; systems with their groups."""
    worked(make)
    other = Factory.start("Other", prefix="other")
    made = brought(other, exported(make), "spend.xlsx")
    assert (made.orders, made.lines, made.refunds) == (2, 4, 1)
    assert sums(other) == sums(make)
    assert rows_of(exported(other), "Lines") == rows_of(exported(make), "Lines")
    assert Credit.objects.filter(boat=other.boat).count() == 1


def test_the_spend_workbook_comes_into_its_own_boat_as_known(make):
    worked(make)
    done, _, _ = looked(make, exported(make), "spend.xlsx")
    assert [str(fault) for fault in done.faults] == []
    assert (done.new, done.faulty) == (0, 0)
    assert done.known == done.rows > 6


@pytest.mark.parametrize(
    ("page", "table"), [("parts", Part), ("jobs", Job), ("lockers", Location), ("suppliers", Supplier)]
)
@pytest.mark.parametrize("kind", ["xlsx", "csv"])
def test_lists_that_are_exported_come_in_again(make, as_owner, page, table, kind):
    """Into another boat with the same rows; into the same boat as known."""
    worked(make)
    make.part(
        "Pump", numbers=[("maker", "P-1", ""), ("supplier", "X-9", "")], unit="each", specification="12 V"
    )
    make.place("Box", kind="box", parent=make.place("S4", name="Settee"))
    make.job("Paint the keel", system=make.other_system)
    file = as_owner.get(f"/{make.boat.slug}/{page}/?export={kind}").content
    done, _, _ = looked(make, file, f"list.{kind}")
    assert [str(fault) for fault in done.faults] == []
    assert (done.new, done.known) == (0, done.rows)
    other = Factory.start("Other", prefix="other")
    brought(other, file, f"list.{kind}")
    field = {Job: "title", Location: "mark"}.get(table, "name")

    def names(boat):
        found = table.objects.filter(boat=boat)
        if table is Location:
            found = found.exclude(kind__in=["area", "unstowed"])
        return sorted(found.values_list(field, flat=True))

    assert names(other.boat) == names(make.boat) != []


def all_my_data(make) -> bytes:
    out = io.BytesIO()
    everything.write_workbook(out, make.boat)
    return out.getvalue()


def test_all_my_data_is_never_taken_for_what_it_is_not(make):
    """A payment is no part and a label no part number: what has no place here is left out, and that is said."""
    fill(make)
    done, _, plans = looked(make, all_my_data(make), "all.xlsx")
    assert {plan.title: plan.kind for plan in plans if plan.kind} == {
        table: kind for table, (kind, _) in own.BROUGHT.items()
    }
    assert [str(fault) for fault in done.faults] == []
    assert (done.new, done.faulty) == (0, 0)
    assert done.known == done.rows > 10
    assert any("money that came back comes in from the spend workbook" in sentence for sentence in done.said)


def test_all_my_data_and_the_spend_workbook_fill_another_boat(make):
    """Systems, suppliers, places, jobs, parts, stock and orders; then what came back of the money."""
    worked(make)
    pump = make.part("Pump", numbers=[("maker", "P-1", "")], system=make.system, weight_kg=D("1.25"))
    make.stock(pump, make.place("S4"), 3)
    other = Factory.start("Other", prefix="other")
    brought(other, all_my_data(make), "all.xlsx")
    made = brought(other, exported(make), "spend.xlsx")
    assert (made.orders, made.refunds) == (0, 1)
    assert sums(other) == sums(make)
    assert rows_of(exported(other), "Lines") == rows_of(exported(make), "Lines")
    assert looked(other, exported(make), "spend.xlsx")[0].new == 0
    for table, fields in (
        (Supplier, ("name", "currency", "web", "note")),
        (Location, ("kind", "mark", "name", "area__name", "where")),
        (Job, ("number", "title", "system__name", "state", "before")),
        (Part, ("name", "unit", "kept", "weight_kg", "system__name", "minimum", "is_spare")),
        (PartNumber, ("part__name", "kind", "number", "whose")),
        (Holding, ("part__name", "place__mark", "quantity", "level")),
    ):
        rows = [
            sorted(map(str, table.objects.filter(boat=boat).values_list(*fields)))
            for boat in (make.boat, other.boat)
        ]
        assert rows[0] == rows[1] != [], table


def test_file_of_faults_without_faults_says_so(make):
    done, book, plans = looked(make, orders_sheet(ROPE))
    assert rows_of(faults_file(make.boat, book, plans, done, make.today)) == [["Why it was left out"]]
