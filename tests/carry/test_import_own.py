"""All my data of one boat brought into another: orders with their lines, numbers of each kind, and nothing twice."""

import io
import zipfile
from datetime import date

import pytest

from refit.buying.actions import deliveries
from refit.buying.actions.deliveries import Arrival
from refit.buying.actions.orders import ChargeFacts, cancel_order
from refit.buying.models import Charge, Line, Order, OrderState, Supplier
from refit.carry import everything
from refit.carry.ledger import differences
from refit.stores.actions import pieces, stow
from refit.stores.actions.off import take_off
from refit.stores.models import Holding, Movement, Part, PartNumber
from refit.work.models import Job
from tests.carry.test_importing import all_my_data, brought, exported, looked, sums
from tests.factory import D, Factory

pytestmark = pytest.mark.usefixtures("clean_ledger")
WHEN = date(2025, 3, 9)
NUMBERS = [
    ("maker", "IM-1", "North"),
    ("supplier", "N 77", "Sud"),
    ("superseded", "IM-0", ""),
    ("gtin", "4006381333931", ""),
]
# What a person would look at, table by table.
TABLES = (
    (Supplier, ("name", "currency", "web", "note")),
    (Job, ("number", "title", "system__name", "state", "before")),
    (Part, ("name", "specification", "unit", "kept", "system__name", "minimum")),
    (PartNumber, ("part__name", "kind", "number", "whose")),
    (Holding, ("part__name", "place__mark", "quantity", "level")),
    (
        Order,
        (
            *("number", "supplier__name", "state", "ordered_on", "expected_on", "reference", "currency"),
            *("rate", "rate_source", "note", "goods", "landed", "delivered"),
        ),
    ),
    (
        Line,
        (
            *("order__number", "position", "kind", "part__name", "words", "packs", "pack_size", "quantity"),
            *("unit", "priced_by", "unit_price", "amount", "job__title", "system__name", "place__mark"),
            *("arrived", "wont_come", "counted", "goods", "charges", "landed", "delivered", "second_hand"),
            "gift_value",
        ),
    ),
)


def rows(boat, table, fields):
    return sorted(map(str, table.objects.filter(boat=boat).values_list(*fields)))


def same(one, other):
    """Assert that two boats hold alike rows in each table."""
    for table, fields in TABLES:
        assert rows(one.boat, table, fields) == rows(other.boat, table, fields) != [], table


def whole(make):
    """Fill a boat with what the outside sends in: two currencies, freight and duty, what came, and a draft."""
    job = make.job("Renew the rig")
    make.job("Paint the keel", system=make.other_system)
    place, ashore = make.place("S3", name="Settee"), make.place("B1", parent=make.ashore)
    pump = make.part(
        "Impeller", numbers=NUMBERS, system=make.system, specification="6 blades", weight_kg=D("0.07")
    )
    rope = make.part("Rope", unit="m", weight_kg=D("0.125"))
    make.part("Impeller", numbers=[("maker", "ZZ-9", "")], specification="Another of that name")
    make.stock(pump, place, 3)
    make.stock(rope, ashore, D("12.5"))
    order = make.order(
        make.line(pump, packs=D(3), price=D("12.35"), place=place, job=job),
        make.line(rope, packs=D(2), pack_size=D(100), price=D("95.05"), place=ashore),
        make.line(words="Paint", packs=D(1), price=D("19.99"), system=make.other_system),
        make.line(words="Never came", packs=D(4), price=D("3.30")),
        charges=(
            ChargeFacts("freight", D("7.77")), ChargeFacts("discount", D(1)), ChargeFacts("handling", D("2.05"), lines=(0, 2)),
            ChargeFacts("duty", D("3.33"), basis="weight", lines=(0, 1)), ChargeFacts("card", D("0.77"), basis="count"),
        ),
        on=WHEN, ordered_on=WHEN, expected_on=date(2025, 4, 1), reference="NC-1042", note="By the gate",
        supplier=make.supplier("North", web="example.org"),
    )  # fmt: skip
    make.order(
        make.line(words="Winch", packs=D(1), price=D("999.99"), total=True),
        make.line(words="Two hands", packs=D("2.5"), price=D("33.33"), service=True, system=make.other_system),
        charges=(ChargeFacts("freight", D("41.99")), ChargeFacts("duty", D("41.20"), currency="GBP", expected=True)),
        on=WHEN, ordered_on=WHEN, currency="EUR", rate=D("1.1873"), supplier=make.supplier("Sud"),
    )  # fmt: skip
    make.draft(
        make.line(pump, packs=D(1), price=D("11.111")), currency="EUR", rate=D("1.2"), supplier=order.supplier
    )
    lines = list(order.lines.all())
    arrivals = [
        Arrival(lines[0], D(2), place=place),
        Arrival(lines[1], D(120), place=ashore),
        Arrival(lines[2], D(1)),
    ]
    deliveries.book_in(make.boat, arrivals, by=make.owner, on=date(2025, 3, 20), today=make.today)
    rest = [Arrival(lines[1], wont_come=True), Arrival(lines[3], wont_come=True)]
    deliveries.book_in(make.boat, rest, by=make.owner, on=date(2025, 3, 25), today=make.today)
    return make


def test_all_my_data_fills_another_boat_to_the_minor_unit_and_once(make):
    whole(make)
    other = Factory.start("Other", prefix="other")
    file = all_my_data(make)
    made = brought(other, file, "all.xlsx")
    assert (made.orders, made.lines) == (3, 7)
    same(make, other)
    assert sums(other) == sums(make)
    charges = [
        sorted(
            Charge.objects.filter(boat=boat).values_list(
                "order__number", "kind", "effect", "basis", "expected"
            )
        )
        for boat in (make.boat, other.boat)
    ]
    assert charges[0] == charges[1] != []
    assert (
        Movement.objects.filter(boat=other.boat).count() == 2
    )  # put in where it lies; what arrived then, no more
    assert Order.objects.filter(boat=other.boat, state=OrderState.DRAFT, ordered_on=None).count() == 1
    for boat in (make, other):
        again, _, _ = looked(boat, file, "all.xlsx")
        assert ([str(fault) for fault in again.faults], again.new, again.orders) == ([], 0, [])
    assert brought(other, file, "all.xlsx").said == "nothing new"
    for boat in (
        make,
        other,
    ):  # and nothing of it from the workbook of spend, whose lines leave out what never came
        assert looked(boat, exported(make), "spend.xlsx")[0].orders == []
    same(make, other)
    assert list(differences()) == []


def test_each_csv_of_the_folder_comes_in_by_itself(make):
    whole(make)
    archive = zipfile.ZipFile(io.BytesIO(b"".join(everything.folder(make.boat))))
    files = {name.rsplit("/", 1)[-1]: archive.read(name) for name in archive.namelist()}
    other = Factory.start("Other", prefix="other")
    order = (
        "systems",
        "places",
        "jobs",
        "parts",
        "part-numbers",
        "what-is-where",
        "suppliers",
        "order-lines",
    )
    for name in order:
        brought(other, files[f"{name}.csv"], f"{name} (1).csv")
    assert sums(other) == sums(make)
    lines = next(fields for table, fields in TABLES if table is Line)
    assert rows(other.boat, Line, lines) == rows(make.boat, Line, lines) != []
    numbers = ("kind", "number", "whose")
    assert rows(other.boat, PartNumber, numbers) == rows(make.boat, PartNumber, numbers) != []
    for name in order:
        assert looked(other, files[f"{name}.csv"], f"{name}.csv")[0].new == 0, name


def test_what_was_cancelled_or_taken_out_of_use_stays_out(make):
    part = make.part("Old pump", numbers=[("maker", "OP-1", "")])
    place = make.place("X9")
    make.order(make.line(part, place=place), on=WHEN, ordered_on=WHEN)
    gone = make.order(on=WHEN, ordered_on=WHEN)
    Part.objects.filter(pk=part.pk).update(retired_at="2025-05-01T00:00Z")
    type(place).objects.filter(pk=place.pk).update(retired_at="2025-05-01T00:00Z")
    cancel_order(gone)
    other = Factory.start("Other", prefix="other")
    file = all_my_data(make)
    assert "1 cancelled rows were left out." in looked(other, file, "all.xlsx")[0].said
    made = brought(other, file, "all.xlsx")
    assert (made.orders, made.parts, made.places, made.numbers) == (1, 0, 0, 0)
    assert [line.what for line in Line.objects.filter(boat=other.boat)] == ["Old pump"]


def test_what_lay_in_a_place_once_is_not_put_there(make):
    """A part that is only known to be here, or gone from there, has no quantity."""
    sail = make.part("Mainsail", kept="here")
    lay = make.stock(sail, make.place("F6"), 0)
    stow.move_things([(lay, None)], make.place("F7"), by=make.owner, on=make.today, today=make.today)
    other = Factory.start("Other", prefix="other")
    brought(other, all_my_data(make), "all.xlsx")
    there = Holding.objects.filter(boat=other.boat).values_list("place__mark", "level")
    assert list(there) == [("F7", "here")]


def test_pieces_come_in_with_their_length_and_scrap_stays_out(make):
    """Scrap would come in as good; pieces of one place are one length again, which is not theirs."""
    rope, place = make.part("Rope", unit="m"), make.place("A6")
    make.stock(rope, place, D("77.5"))
    pieces.keep_in_pieces(rope, by=make.owner, on=make.today, today=make.today)
    whole_piece = Holding.objects.there().get(part=rope)
    pieces.cut_and_keep(whole_piece, D(22), place, by=make.owner, on=make.today, today=make.today)
    for name, condition in (("Old winch", "good"), ("Old pump", "scrap")):
        who = {"by": make.owner, "on": make.today, "today": make.today}
        take_off(make.job(), part=None, name=name, condition=condition, place=place, **who)
    other = Factory.start("Other", prefix="other")
    brought(other, all_my_data(make), "all.xlsx")
    there = Holding.objects.there().filter(boat=other.boat).values_list("part__name", "quantity")
    assert sorted(there) == [("Old winch", D(1)), ("Rope", D("77.5"))]


def test_amounts_of_a_boat_with_other_money_are_named(make):
    make.order(on=WHEN, ordered_on=WHEN)
    other = Factory.start("Other", currency="EUR", prefix="other")
    done, _, _ = looked(other, all_my_data(make), "all.xlsx")
    assert [fault.why for fault in done.faults] == ["is in GBP, but the boat's money is EUR."]
