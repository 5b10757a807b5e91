"""Parts: the list, one part, making, changing, numbers, photos, retiring, deleting; who may do what."""

import io
from datetime import timedelta
from decimal import Decimal

import openpyxl
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from PIL import Image

from refit.boat.models import Kind, Location
from refit.calc.money import from_minor
from refit.stores.actions.parts import add_need, change_part, retire_part
from refit.stores.models import Kept, NumberKind, Part, PartNumber
from tests.factory import Factory
from tests.lengths import Lengths
from tests.words import text

pytestmark = pytest.mark.usefixtures("clean_ledger")
D = Decimal
GTIN = "6291041500213"


def go(make, name, *args):
    return reverse(f"pages:{name}", args=[make.boat.slug, *args])


def facts(**changed):
    return {"name": "Impeller", "unit": "each", "kept": "counted", "minimum": ""} | changed


def picture(kind="PNG"):
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "red").save(out, kind)
    return SimpleUploadedFile("part.png", out.getvalue(), content_type="image/png")


# The list


def shown(client, make, **query):
    page = client.get(go(make, "parts"), query)
    assert page.status_code == 200
    return [row.part.name for row in page.context["rows"]]


def test_the_list_shows_aboard_ashore_on_order_and_least(make, as_owner):
    part = make.part("Impeller", is_spare=True, minimum=D(3), numbers=[("maker", "09-1027", "Norrvik")])
    make.stock(part, make.place(), D("1.5"))
    make.stock(part, make.place(parent=make.ashore), 4)
    make.order(make.line(part, packs=D(6)))
    page = as_owner.get(go(make, "parts"))
    row = page.context["rows"][0]
    assert (row.number, row.where.aboard, row.where.ashore, row.on_order) == ("09-1027", D("1.5"), 4, 6)
    assert row.short
    assert "below 3" in text(page)


def test_the_list_is_sifted(make, as_owner):
    impeller = make.part(
        "Impeller", system=make.system, is_spare=True, minimum=D(2), numbers=[("maker", "A-1", "")]
    )
    rope = make.part("Rope", kept=Kept.LEVEL)
    filters = make.part("Filter", system=make.other_system, is_spare=True, minimum=D(1))
    gone = retire_part(make.part("Old filter"))
    make.stock(impeller, make.place(), 1)
    make.stock(rope, make.place(parent=make.ashore))
    make.stock(filters, make.place(), 1)
    make.order(make.line(rope))
    assert shown(as_owner, make) == ["Filter", "Impeller", "Rope"]
    assert shown(as_owner, make, text="a 1") == ["Impeller"]
    assert shown(as_owner, make, text="FÌLT") == ["Filter"]
    assert shown(as_owner, make, system=make.system.pk) == ["Impeller"]
    assert shown(as_owner, make, where="ashore") == ["Rope"]
    assert shown(as_owner, make, where="aboard") == ["Filter", "Impeller"]
    assert shown(as_owner, make, where="coming") == ["Rope"]
    assert shown(as_owner, make, where="nowhere", use="all") == [gone.name]
    assert shown(as_owner, make, kept="level") == ["Rope"]
    assert shown(as_owner, make, spare="yes") == ["Filter", "Impeller"]
    assert shown(as_owner, make, spare="short") == ["Impeller"]
    assert shown(as_owner, make, spare="no") == ["Rope"]
    assert shown(as_owner, make, use="retired") == [gone.name]
    assert shown(as_owner, make, text="filter", use="all") == ["Filter", "Old filter"]


def test_what_waits_to_be_stowed_is_sifted(make, as_owner):
    waiting = make.part("Waiting")
    make.stock(waiting, Location.objects.get(boat=make.boat, kind=Kind.UNSTOWED), 1)
    make.stock(make.part("Stowed"), make.place(), 1)
    assert shown(as_owner, make, where="unstowed") == ["Waiting"]


def test_a_sieve_of_another_boat_or_of_nonsense_says_so(make, as_owner):
    other = Factory.start("Other Boat", prefix="o")
    make.part("Impeller")
    page = as_owner.get(
        go(make, "parts"), {"system": other.system.pk, "kept": "<script>", "page": "x", "sort": "x"}
    )
    assert page.status_code == 200
    assert set(page.context["filter"].form.errors) == {"system", "kept"}
    assert "<script>" not in text(page).replace("<script src", "")


@pytest.mark.parametrize(
    ("sort", "names"),
    [
        ("name", ["A", "B", "C"]),
        ("-name", ["C", "B", "A"]),
        ("aboard", ["C", "B", "A"]),
        ("-aboard", ["A", "B", "C"]),
        ("-ashore", ["B", "A", "C"]),
        ("-coming", ["C", "A", "B"]),
        ("-least", ["B", "A", "C"]),
        ("nonsense", ["A", "B", "C"]),
        ("--name", ["A", "B", "C"]),
    ],
)
def test_the_list_is_sorted(make, as_owner, sort, names):
    a, b, c = make.part("A"), make.part("B", is_spare=True, minimum=D(1)), make.part("C")
    place, ashore = make.place(), make.place(parent=make.ashore)
    make.stock(a, place, 10)
    make.stock(b, place, 9)
    make.stock(b, ashore, 1)
    make.order(make.line(c, packs=D(2)))
    assert shown(as_owner, make, sort=sort) == names


def test_what_is_out_of_date_does_not_count_aboard_when_sorting(make, as_owner):
    old, good = make.part("Flare old"), make.part("Flare good")
    make.stock(old, make.place(), 9, expires_on=make.today - timedelta(days=1))
    make.stock(good, make.place(), 1, expires_on=make.today)
    assert shown(as_owner, make, sort="-aboard") == ["Flare good", "Flare old"]


def test_the_list_leaves_as_a_file_with_its_sieve(make, as_owner):
    part = make.part("=1+1", numbers=[("maker", "007", ""), ("supplier", "S-1", "")], system=make.system)
    make.stock(part, make.place("S3"), D("2.5"))
    make.part("Other", kept=Kept.LEVEL)
    answer = as_owner.get(go(make, "parts"), {"export": "xlsx", "text": "1+1"})
    assert f'parts-{make.today.isoformat()}.xlsx"' in answer["Content-Disposition"]
    sheet = openpyxl.load_workbook(io.BytesIO(answer.content)).active
    rows = [[cell.value for cell in row] for row in sheet.iter_rows()]
    assert len(rows) == 2
    row = dict(zip(rows[0], rows[1], strict=True))
    assert row["Part"] == "=1+1"
    assert sheet["A2"].data_type == "s"
    assert (row["Part number"], row["Other numbers"], row["Aboard"], row["Where"]) == (
        "007",
        "S-1",
        2.5,
        "S3 2.5",
    )
    csv = as_owner.get(go(make, "parts"), {"export": "csv"}).content.decode("utf-8-sig")
    assert csv.count("\r\n") == 3
    assert '"\'=1+1"' in csv


def test_an_empty_list_says_what_to_do_first(make, as_owner, as_viewer):
    assert go(make, "part-new") in text(as_owner.get(go(make, "parts")))
    assert go(make, "part-new") not in text(as_viewer.get(go(make, "parts")))
    make.part("Impeller")
    assert "No part like this" in text(as_owner.get(go(make, "parts"), {"text": "zz"}))


def fill(make, count):
    place, ashore = make.place(), make.place(parent=make.ashore)
    for n in range(count):
        part = make.part(f"Part {count} {n}", system=make.system, numbers=[("maker", f"N{count}-{n}", "")])
        make.stock(part, place)
        make.stock(part, ashore)
        make.order(make.line(part))


class TestTheListAsksTheSameNumberOfQuestionsForFewAndMany(Lengths):
    pages = {
        "plain": ("parts/", {}),
        "sorted": ("parts/", {"sort": "-aboard"}),
        "narrowed": ("parts/", {"where": "coming", "spare": "no"}),
        "as a file": ("parts/", {"export": "csv"}),
    }
    filled = staticmethod(fill)

    def test_as_it_is(self):
        assert self.taken["plain"] == [9, 9]

    def test_sorted(self):
        assert self.taken["sorted"] == [9, 9]

    def test_narrowed(self):
        assert self.taken["narrowed"] == [9, 9]

    def test_as_a_file(self):
        assert self.taken["as a file"] == [8, 8]


# One part


@pytest.fixture
def impeller(make):
    return make.part(
        "Impeller",
        specification="57 mm",
        is_spare=True,
        minimum=D(2),
        has_expiry=True,
        system=make.system,
        numbers=[("maker", "09-1027", "Norrvik"), ("gtin", GTIN, "")],
    )


def test_a_part_shows_where_it_is_who_wants_it_and_what_it_cost(make, as_owner, impeller):
    place = make.place("S3")
    make.stock(impeller, place, 1, expires_on=make.today - timedelta(days=3), serial="B44")
    make.stock(impeller, place, 2)
    job = make.job("Service the pump")
    add_need(job, part=impeller, words="", quantity=D(4))
    order = make.order(
        make.line(impeller, packs=D(2), pack_size=D(5), price=D("50.00"), job=job),
        currency="EUR",
        rate=D("1.25"),
    )
    page = as_owner.get(go(make, "part", impeller.pk))
    shown = text(page)
    assert page.context["where"].aboard == 2
    assert page.context["where"].out_of_date == 1
    assert page.context["on_order"] == 10
    for words in ("S3", "out of date", "B44", "Service the pump", "09-1027", GTIN, f"Order {order.number}"):
        assert words in shown, words
    bought = page.context["facts"].bought[0]
    assert bought.price == "10.00 EUR"
    line = order.lines.get()
    assert bought.landed == f"{from_minor(line.landed, 'GBP') / 10:.2f} GBP"


def test_the_next_step_is_to_put_away_then_to_order(make, as_owner, impeller):
    assert f'class="button next" href="{go(make, "order-new")}?part={impeller.pk}"' in text(
        as_owner.get(go(make, "part", impeller.pk))
    )
    make.stock(impeller, Location.objects.get(boat=make.boat, kind=Kind.UNSTOWED), 1)
    shown = text(as_owner.get(go(make, "part", impeller.pk)))
    assert f'class="button next" href="{go(make, "not-stowed")}"' in shown
    assert shown.count("button next") == 1


def test_a_dangerous_part_bears_its_caution(make, as_owner):
    part = make.part("Thinner", hazard="3")
    shown = text(as_owner.get(go(make, "part", part.pk)))
    assert "flammable liquid" in shown
    assert "safety sheet" in shown


def test_a_superseded_part_points_to_the_newer_and_back(make, as_owner):
    old, newer = make.part("Old pump"), make.part("New pump")
    change_part(old, superseded_by=newer)
    assert go(make, "part", newer.pk) in text(as_owner.get(go(make, "part", old.pk)))
    assert go(make, "part", old.pk) in text(as_owner.get(go(make, "part", newer.pk)))


def test_a_trade_sees_its_part_without_prices_orders_or_others_jobs(make, as_trade, impeller):
    mine, other = make.job("Mine", given_to=make.member(make.trade)), make.job("Not its job")
    for job in (mine, other):
        add_need(job, part=impeller, words="", quantity=D(1))
        make.order(
            make.line(impeller, price=D("77.77"), job=job), supplier=make.supplier(f"Shop {job.number}")
        )
    make.stock(impeller, make.place("S3"), 1)
    page = as_trade.get(go(make, "part", impeller.pk))
    shown = text(page)
    assert "S3" in shown
    assert "Mine" in shown
    assert "Not its job" not in shown
    assert "77.77" not in shown
    assert "Shop" not in shown
    assert page.context["facts"].bought == []
    assert page.context["facts"].movements == []
    hidden = make.part("Hidden")
    assert as_trade.get(go(make, "part", hidden.pk)).status_code == 404
    assert "Hidden" not in text(as_trade.get(go(make, "parts")))


def test_a_part_asks_the_same_number_of_questions_for_little_and_much(make, as_owner, impeller):
    def more(count):
        for _ in range(count):
            make.stock(impeller, make.place(), 1)
            job = make.job()
            add_need(job, part=impeller, words="", quantity=D(1))
            make.order(make.line(impeller, job=job))
            PartNumber.objects.create(boat=make.boat, part=impeller, number=f"N{make.made}")

    more(2)
    with CaptureQueriesContext(connection) as few:
        as_owner.get(go(make, "part", impeller.pk))
    more(30)
    with CaptureQueriesContext(connection) as many:
        as_owner.get(go(make, "part", impeller.pk))
    assert len(few) == len(many) == 26


# Making and changing


def test_a_part_is_made_with_its_numbers(make, as_owner):
    place = make.place("S3")
    sent = facts(
        name="  Impeller,  8-vane ",
        specification="57 mm",
        system=make.system.pk,
        usual_place="s3",
        is_spare="on",
        minimum="1,5",
        unit="m",
        weight_kg="0.0125",
        hazard="9",
        has_expiry="on",
        maker_number="09-1027",
        maker="Norrvik",
        supplier_number="X 1",
        supplier="Chandler",
        gtin="629 1041-500213",
    )
    answer = as_owner.post(go(make, "part-new"), sent)
    part = Part.objects.get()
    assert answer.url == go(make, "part", part.pk)
    assert part.name == "Impeller, 8-vane"
    assert (part.minimum, part.unit, part.weight_kg, part.usual_place) == (D("1.5"), "m", D("0.0125"), place)
    assert [(n.kind, n.number, n.whose) for n in part.numbers.all()] == [
        ("maker", "09-1027", "Norrvik"),
        ("supplier", "X 1", "Chandler"),
        ("gtin", GTIN, ""),
    ]
    assert "091027" in part.search


def test_a_new_part_is_filled_in_from_the_address(make, as_owner):
    shown = text(as_owner.get(go(make, "part-new"), {"gtin": GTIN, "name": 'A "pump"'}))
    assert f'value="{GTIN}"' in shown
    assert "A &quot;pump&quot;" in shown
    assert as_owner.get(go(make, "part-new") + "?name=%00").status_code == 200


@pytest.mark.parametrize(
    ("changed", "field", "code"),
    [
        ({"name": ""}, "name", "required"),
        ({"name": "   "}, "name", "required"),
        ({"name": "x" * 121}, "name", "max_length"),
        ({"name": "x" * 100_000}, "name", "max_length"),
        ({"name": "nul\0"}, "name", "nul"),
        ({"unit": "mile"}, "unit", "invalid_choice"),
        ({"kept": "never"}, "kept", "invalid_choice"),
        ({"minimum": "-1"}, "minimum", None),
        ({"minimum": "1e3"}, "minimum", None),
        ({"minimum": "1000000"}, "minimum", None),
        ({"minimum": "2", "is_spare": ""}, "is_spare", "no_spare"),
        ({"minimum": "2", "is_spare": "on", "kept": "level"}, "minimum", "not_counted"),
        ({"weight_kg": "heavy"}, "weight_kg", None),
        ({"weight_kg": "-1"}, "weight_kg", None),
        ({"hazard": "7"}, "hazard", "invalid_choice"),
        ({"system": "99999999999999999999"}, "system", "invalid_choice"),
        ({"usual_place": "nowhere"}, "usual_place", "no_place"),
        ({"superseded_by": "unheard of"}, "superseded_by", "no_part"),
        ({"gtin": "6291041500214"}, "gtin", "check"),
        ({"gtin": "12"}, "gtin", "length"),
    ],
)
def test_bad_input_makes_nothing_and_says_why(make, as_owner, changed, field, code):
    answer = as_owner.post(go(make, "part-new"), facts(**changed))
    assert answer.status_code == 422
    errors = answer.context["form"].errors.as_data()
    assert list(errors) == [field]
    if code:
        assert errors[field][0].code == code
    assert Part.objects.count() == 0


def test_a_barcode_of_another_part_is_refused(make, as_owner, impeller):
    answer = as_owner.post(go(make, "part-new"), facts(name="Copy", gtin=GTIN))
    assert answer.status_code == 422
    assert "is on Impeller already" in text(answer)
    assert Part.objects.count() == 1


def test_a_foreign_system_place_or_part_is_refused(make, as_owner):
    other = Factory.start("Other Boat", prefix="o")
    place, part = other.place("X9"), other.part("Foreign")
    for changed in (
        {"system": other.system.pk},
        {"usual_place": "X9"},
        {"usual_place": place.code},
        {"superseded_by": part.name},
    ):
        assert as_owner.post(go(make, "part-new"), facts(**changed)).status_code == 422
    assert Part.objects.filter(boat=make.boat).count() == 0


def test_the_same_form_twice_makes_one_part(make, as_owner):
    sent = facts(form_key="k" * 32)
    form = as_owner.get(go(make, "part-new")).context["form"]
    sent["form_key"] = form["form_key"].value()
    first, second = (as_owner.post(go(make, "part-new"), sent) for _ in range(2))
    assert Part.objects.count() == 1
    assert first.url == second.url


def test_a_part_is_changed(make, as_owner, impeller):
    newer = make.part("New pump", numbers=[("maker", "NP-1", "")])
    page = as_owner.get(go(make, "part-change", impeller.pk))
    assert page.context["form"]["minimum"].value() == "2"
    sent = facts(
        name="Impeller, big", specification="61 mm", superseded_by="np 1", is_spare="on", minimum="4"
    )
    assert as_owner.post(go(make, "part-change", impeller.pk), sent).status_code == 302
    impeller.refresh_from_db()
    assert (impeller.name, impeller.minimum, impeller.superseded_by) == ("Impeller, big", 4, newer)
    assert "61mm" in impeller.search
    assert "091027" in impeller.search
    assert impeller.system is None


def test_supersession_never_goes_in_a_ring(make, as_owner):
    a, b = make.part("Pump A"), make.part("Pump B")
    change_part(a, superseded_by=b)
    for part, name in ((b, "Pump A"), (a, "Pump A")):
        answer = as_owner.post(go(make, "part-change", part.pk), facts(name=part.name, superseded_by=name))
        assert answer.status_code == 422
        assert answer.context["form"].errors.as_data()["superseded_by"][0].code == "ring"


def test_how_it_is_kept_changes_only_while_none_lies_anywhere(make, as_owner, impeller):
    make.stock(impeller, make.place(), 1)
    answer = as_owner.post(go(make, "part-change", impeller.pk), facts(kept="level"))
    assert answer.status_code == 422
    assert answer.context["form"].errors.as_data()["kept"][0].code == "held"
    impeller.refresh_from_db()
    assert impeller.kept == "counted"


# Numbers, photo, retiring, deleting


def test_a_number_is_added_and_undone(make, as_owner, impeller):
    sent = {"number": "AB-9", "kind": "superseded", "whose": "Haldane"}
    answer = as_owner.post(go(make, "part-number-add", impeller.pk), sent, follow=True)
    added = PartNumber.objects.get(number="AB-9")
    undo = go(make, "part-number-remove", impeller.pk, added.pk)
    assert undo in text(answer)
    impeller.refresh_from_db()
    assert "ab9" in impeller.search
    answer = as_owner.post(undo, follow=True)
    assert not PartNumber.objects.filter(number="AB-9").exists()
    again = next(iter(answer.context["messages"])).extra_tags
    as_owner.post(again)
    back = PartNumber.objects.get(number="AB-9")
    assert (back.kind, back.whose, back.part) == (NumberKind.SUPERSEDED, "Haldane", impeller)


@pytest.mark.parametrize(
    ("sent", "code"),
    [
        ({"number": "", "kind": "maker"}, "required"),
        ({"number": "x" * 61, "kind": "maker"}, "max_length"),
        ({"number": "1", "kind": "other"}, "invalid_choice"),
        ({"number": "6291041500214", "kind": "gtin"}, "check"),
        ({"number": "09 1027", "kind": "maker"}, "taken"),
    ],
)
def test_a_bad_number_changes_nothing(make, as_owner, impeller, sent, code):
    answer = as_owner.post(go(make, "part-number-add", impeller.pk), sent)
    assert answer.status_code == 422
    errors = answer.context["number_form"].errors.as_data()
    assert [error.code for found in errors.values() for error in found] == [code]
    assert impeller.numbers.count() == 2


def test_a_number_of_another_part_is_not_found(make, as_owner, impeller):
    number = impeller.numbers.first()
    other = make.part("Other")
    assert as_owner.post(go(make, "part-number-remove", other.pk, number.pk)).status_code == 404
    assert as_owner.post(go(make, "part-number-remove", impeller.pk, 10**30)).status_code == 404
    assert impeller.numbers.count() == 2


def test_a_photo_is_kept(make, as_owner, impeller):
    answer = as_owner.post(go(make, "part-photo", impeller.pk), {"photo": picture()})
    assert answer.status_code == 302
    impeller.refresh_from_db()
    assert impeller.photo.content_type == "image/png"
    assert go(make, "paper-small", impeller.photo.number) in text(as_owner.get(go(make, "part", impeller.pk)))


@pytest.mark.parametrize(
    "data",
    [b"not a picture", b"%PDF-1.4\n%%EOF", b"<svg onload=alert(1)>", b""],
    ids=["text", "pdf", "svg", "empty"],
)
def test_what_is_no_photo_is_refused(make, as_owner, impeller, data):
    file = SimpleUploadedFile("photo.png", data, content_type="image/png")
    answer = as_owner.post(go(make, "part-photo", impeller.pk), {"photo": file})
    assert answer.status_code == 422
    assert answer.context["photo_form"].errors
    impeller.refresh_from_db()
    assert impeller.photo is None


def test_a_part_is_retired_and_used_again(make, as_owner, impeller):
    answer = as_owner.post(go(make, "part-retire", impeller.pk), follow=True)
    assert go(make, "part-use-again", impeller.pk) in text(answer)
    impeller.refresh_from_db()
    assert impeller.retired_at
    as_owner.post(go(make, "part-use-again", impeller.pk))
    impeller.refresh_from_db()
    assert impeller.retired_at is None


def test_a_part_that_lies_somewhere_is_not_retired(make, as_owner, impeller):
    make.stock(impeller, make.place(), 1)
    answer = as_owner.post(go(make, "part-retire", impeller.pk), follow=True)
    assert "lies in places still" in text(answer)
    impeller.refresh_from_db()
    assert impeller.retired_at is None


def test_a_part_with_a_past_is_not_deleted(make, as_owner, impeller):
    make.stock(impeller, make.place(), 1)
    answer = as_owner.post(go(make, "part-delete", impeller.pk), follow=True)
    assert "Retire it instead" in text(answer)
    assert Part.objects.filter(pk=impeller.pk).exists()


def test_a_part_made_by_mistake_is_deleted(make, as_owner, impeller):
    answer = as_owner.post(go(make, "part-delete", impeller.pk))
    assert answer.url == go(make, "parts")
    assert not Part.objects.exists()
    assert not PartNumber.objects.exists()


# Who may, what is not there, wrong methods, names that bite

READ = ("part",)
WRITE = ("part-change", "part-number-add", "part-photo", "part-retire", "part-use-again", "part-delete")


@pytest.mark.parametrize("name", READ + WRITE)
def test_an_outsider_finds_nothing(make, as_outsider, impeller, name):
    assert as_outsider.post(go(make, name, impeller.pk)).status_code == 404
    assert as_outsider.get(go(make, name, impeller.pk)).status_code == 404


@pytest.mark.parametrize("name", WRITE)
def test_a_viewer_may_look_but_not_change(make, as_viewer, impeller, name):
    assert as_viewer.get(go(make, "part", impeller.pk)).status_code == 200
    assert as_viewer.post(go(make, name, impeller.pk), facts()).status_code == 403
    assert as_viewer.get(go(make, "part-new")).status_code == 403


@pytest.mark.parametrize("name", READ + WRITE)
@pytest.mark.parametrize("pk", [10**7, 10**30])
def test_a_part_that_is_not_there_is_not_found(make, as_owner, name, pk):
    method = as_owner.get if name == "part" else as_owner.post
    assert method(go(make, name, pk), facts()).status_code == 404


@pytest.mark.parametrize("name", READ + WRITE)
def test_another_boats_part_is_not_found(make, as_owner, name):
    other = Factory.start("Other Boat", prefix="o").part("Foreign")
    method = as_owner.get if name == "part" else as_owner.post
    assert method(go(make, name, other.pk), facts()).status_code == 404
    assert Part.objects.filter(pk=other.pk, retired_at=None).exists()


def test_wrong_methods_are_refused(make, as_owner, impeller):
    assert as_owner.post(go(make, "parts")).status_code == 405
    assert as_owner.post(go(make, "part", impeller.pk)).status_code == 405
    for name in ("part-number-add", "part-photo", "part-retire", "part-use-again", "part-delete"):
        assert as_owner.get(go(make, name, impeller.pk)).status_code == 405


def test_crew_may_make_parts(make, as_crew):
    assert as_crew.post(go(make, "part-new"), facts()).status_code == 302
    assert Part.objects.count() == 1


def test_names_that_bite_are_escaped_everywhere(make, as_owner):
    words = "<script>alert(1)</script> =1+1 \u05d0\u05d1\u05d2"
    place = make.place("S3", name="<b>bold</b>")
    part = make.part(
        words, specification=words, numbers=[("maker", "<i>9</i>", "<u>who</u>")], system=make.system
    )
    make.stock(part, place, 1)
    make.order(make.line(part), supplier=make.supplier("<em>shop</em>"))
    for address in (go(make, "parts"), go(make, "part", part.pk), go(make, "part-change", part.pk)):
        shown = text(as_owner.get(address))
        for tag in ("<script>alert", "<b>bold", "<i>9", "<u>who", "<em>shop"):
            assert tag not in shown, (address, tag)
        assert "<bdi>&lt;script&gt;" in shown


def test_the_whole_list_of_its_ins_and_outs_is_one_tap_away(make, as_owner, impeller):
    make.stock(impeller, make.place("S3"), 2)
    make.stock(make.part("Hose"), make.place("S4"), 1)
    shown = text(as_owner.get(go(make, "part", impeller.pk)))
    assert go(make, "moves") + "?q=Impeller" in shown
    page = as_owner.get(go(make, "moves"), {"q": "Impeller"})
    assert [move.part for move in page.context["listing"].rows] == [impeller]
