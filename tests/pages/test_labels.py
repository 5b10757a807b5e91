"""Label sheets chosen, looked at and printed; blank labels and what they are for."""

import re

import pytest
import zxingcpp
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from refit.boat.actions import labels, places
from refit.boat.models import Kind, Label, Location
from tests.factory import Factory
from tests.pages.test_places import undo_of
from tests.synthetic import pages_of, text_of

pytestmark = pytest.mark.usefixtures("clean_ledger")

GET_ONLY = ["labels/sheet.pdf", "labels/preview.svg"]


def at(make: Factory, rest: str) -> str:
    return f"/{make.boat.slug}/{rest}"


def codes_on(pdf: bytes) -> list[str]:
    """Read every label of a PDF with zxing-cpp, as a phone would."""
    found = []
    for page in pages_of(pdf, 300):
        found += [code.text for code in zxingcpp.read_barcodes(page, formats=zxingcpp.BarcodeFormat.QRCode)]
    return [text.rsplit("/L/", 1)[1] for text in found]


def sheet(client: Client, make: Factory, **query):
    return client.get(at(make, "labels/sheet.pdf"), query)


class TestDoors:
    @pytest.mark.parametrize("address", ["labels/", *GET_ONLY, "labels/{code}/"])
    def test_who_gets_in(self, make, as_outsider, as_viewer, as_trade, address):
        where = at(make, address.format(code=labels.mint(make.boat, 1)[0].code))
        assert Client().get(where).status_code == 302
        assert as_outsider.get(where).status_code == 404
        assert as_viewer.get(where).status_code == 403
        assert as_trade.get(where).status_code == 403

    @pytest.mark.parametrize("address", GET_ONLY)
    def test_a_sheet_is_not_posted(self, make, as_crew, address):
        assert as_crew.post(at(make, address)).status_code == 405

    def test_unbind_is_a_button(self, make, as_crew):
        assert as_crew.get(at(make, f"labels/{make.place().code}/unbind/")).status_code == 405


class TestSheet:
    def test_all_labels_read_and_lead_here(self, make, as_crew):
        wanted = {make.place(f"S{n}", name=f"Locker {n}").code for n in range(1, 24)}
        response = sheet(as_crew, make, which="all")
        assert response["Content-Type"] == "application/pdf"
        assert set(codes_on(response.content)) == wanted
        assert len(pages_of(response.content, 50)) == 2
        assert "S12" in text_of(response.content)
        assert "Saloon" in text_of(response.content)

    def test_areas_retired_places_and_other_boats_have_no_label(self, make, as_crew):
        place, gone = make.place("S3"), make.place("P1")
        places.retire_empty(gone, None)
        Factory.start("Other Boat", prefix="their-").place("Q9")
        assert codes_on(sheet(as_crew, make, which="all").content) == [place.code]

    def test_those_ticked_an_area_and_those_never_printed(self, make, as_crew):
        one, other = make.place("S3"), make.place("P1", parent=make.ashore)
        assert codes_on(sheet(as_crew, make, which="ticked", place=one.code).content) == [one.code]
        area = {"which": "area", "area": make.ashore.pk}
        assert codes_on(sheet(as_crew, make, **area).content) == [other.code]
        Label.objects.filter(code=one.code).update(printed_at=timezone.now())
        assert codes_on(sheet(as_crew, make, which="new").content) == [other.code]
        assert codes_on(sheet(as_crew, make).content) == [other.code]

    def test_one_label_to_test(self, make, as_crew):
        one = make.place("A1")
        make.place("B1")
        assert codes_on(sheet(as_crew, make, which="all", test=1).content) == [one.code]

    def test_first_place_and_nudge_move_the_ink(self, make, as_crew):
        make.place("S3")
        plain = pages_of(sheet(as_crew, make, which="all").content, 100)[0]
        moved = pages_of(
            sheet(as_crew, make, which="all", first=4, nudge_x="2,5", nudge_y="-1").content, 100
        )[0]
        down, right = (
            (moved < 128).nonzero()[axis].min() - (plain < 128).nonzero()[axis].min() for axis in (0, 1)
        )
        # One row of 38.1 mm down less 1 mm, and 2.5 mm to the right, at 100 dots to the inch.
        assert abs(down - (38.1 - 1) / 25.4 * 100) <= 1
        assert abs(right - 2.5 / 25.4 * 100) <= 1

    @pytest.mark.parametrize(
        ("query", "words"),
        [
            ({"first": "22"}, "labels 1 to 21"),
            ({"first": "0"}, "1"),
            ({"first": "x"}, "number"),
            ({"nudge_x": "9"}, "5"),
            ({"stock": "papyrus"}, "not one of the available choices"),
            ({"which": "ticked"}, "Tick the places."),
            ({"which": "area"}, "Choose the area."),
            ({"which": "everything"}, "not one of the available choices"),
            ({"which": "blank"}, "Nothing to print"),
            ({"which": "blank", "run": "1-99999999999999999999"}, "Enter a valid value"),
            ({"which": "ticked", "place": "<script>x"}, "not one of the available choices"),
        ],
    )
    def test_a_choice_that_cannot_be_printed_says_why(self, make, as_crew, query, words):
        make.place("S3")
        response = sheet(as_crew, make, **query)
        assert response.status_code == 422
        assert words in response.content.decode()
        assert "<script>x" not in response.content.decode()

    def test_another_boats_place_and_area_cannot_be_chosen(self, make, as_crew):
        make.place("S3")
        theirs = Factory.start("Other Boat", prefix="their-")
        place = theirs.place("Q9")
        assert sheet(as_crew, make, which="ticked", place=place.code).status_code == 422
        assert sheet(as_crew, make, which="area", area=theirs.area.pk).status_code == 422
        blank = labels.mint(theirs.boat, 1)[0]
        run = f"{blank.pk}-{blank.pk}"
        assert sheet(as_crew, make, which="blank", run=run).status_code == 422

    def test_squares_too_small_for_phones_are_refused_with_the_reason(self, make, as_crew, settings):
        settings.REFIT_ADDRESS = "http://the-long-name-of-a-boat.yard.example.org:8000"
        make.place("S3")
        response = sheet(as_crew, make, which="all", stock="a4-65")
        assert response.status_code == 422
        assert "phones need 0.5 mm" in response.content.decode()
        assert "phones need 0.5 mm" in as_crew.get(at(make, "labels/"), {"stock": "a4-65"}).content.decode()

    def test_looking_writes_nothing(self, make, as_crew):
        make.place("S3")
        with CaptureQueriesContext(connection) as queries:
            sheet(as_crew, make, which="all")
            as_crew.get(at(make, "labels/"))
        assert not [
            query["sql"] for query in queries if query["sql"].startswith(("INSERT", "UPDATE", "DELETE"))
        ]
        assert not Label.objects.exclude(printed_at=None).exists()


class TestPage:
    def test_draws_the_first_label_and_the_used_ones(self, make, as_crew):
        place = make.place("S3")
        page = as_crew.get(at(make, "labels/"), {"which": "all", "first": "5"}).content.decode()
        assert f"preview.svg?code={place.code}&amp;stock=a4-21" in page
        assert "1 label on 1 sheet" in page
        assert page.count(">used</text>") == 4
        assert page.count(">S3</text>") == 1
        drawn = as_crew.get(at(make, "labels/preview.svg"), {"code": place.code})
        assert drawn["Content-Type"] == "image/svg+xml"
        assert ">S3</text>" in drawn.content.decode()

    def test_with_no_lockers_leads_to_the_quick_list(self, make, as_crew):
        assert at(make, "lockers/quick/") in as_crew.get(at(make, "labels/")).content.decode()

    def test_noting_a_print_marks_just_those(self, make, as_crew):
        one, other = make.place("S3"), make.place("P1")
        as_crew.post(at(make, f"labels/?which=ticked&place={one.code}"), {"printed": "1"})
        assert Label.objects.get(code=one.code).printed_at is not None
        assert Label.objects.get(code=other.code).printed_at is None
        assert as_crew.post(at(make, "labels/?which=ticked"), {"printed": "1"}).status_code == 422

    @pytest.mark.parametrize("query", [{"code": "ZZZZ"}, {"code": "<b>"}, {}, {"code": "x" * 999}])
    def test_a_drawing_of_no_label_is_not_found(self, make, as_crew, query):
        assert as_crew.get(at(make, "labels/preview.svg"), query).status_code == 404

    def test_another_boats_label_is_not_drawn(self, make, as_crew):
        theirs = Factory.start("Other Boat", prefix="their-").place("Q9")
        assert as_crew.get(at(make, "labels/preview.svg"), {"code": theirs.code}).status_code == 404

    def test_an_unknown_stock_is_refused_in_the_drawing(self, make, as_crew):
        query = {"code": make.place("S3").code, "stock": "papyrus"}
        assert as_crew.get(at(make, "labels/preview.svg"), query).status_code == 422

    @pytest.mark.parametrize("name", ["<script>alert(1)</script>", "=1+1", "\u05e9\u05dc\u05d5\u05dd"])
    def test_odd_names_are_escaped(self, make, as_crew, name):
        place = make.place("S3", name=name)
        blank = labels.mint(make.boat, 1)[0]
        for address in ("labels/", f"labels/{blank.code}/", f"labels/preview.svg?code={place.code}"):
            assert "<script>alert" not in as_crew.get(at(make, address)).content.decode()
        assert codes_on(sheet(as_crew, make, which="all").content) == [place.code]

    @pytest.mark.parametrize("address", ["labels/?which=all", "labels/{code}/", "labels/sheet.pdf?which=all"])
    def test_as_many_queries_with_100_places_as_with_10(self, make, as_crew, address):
        blank = labels.mint(make.boat, 1)[0]
        counts = []
        for more in (10, 90):
            for _ in range(more):
                make.place()
            with CaptureQueriesContext(connection) as queries:
                as_crew.get(at(make, address.format(code=blank.code)))
            counts.append(len(queries))
        assert counts[0] == counts[1] <= 7


class TestBlank:
    def test_a_run_is_made_and_leads_to_its_sheet(self, make, as_crew):
        labels.mint(make.boat, 3)
        response = as_crew.post(at(make, "labels/"), {"how_many": "5"})
        made = list(Label.objects.filter(location=None).order_by("id"))[3:]
        assert len(made) == 5
        page = as_crew.get(response.url)
        assert "5 labels on 1 sheet" in page.content.decode()
        query = response.url.split("?")[1]
        pdf = as_crew.get(at(make, f"labels/sheet.pdf?{query}")).content
        assert sorted(codes_on(pdf)) == sorted(label.code for label in made)

    def test_all_not_printed_yet(self, make, as_crew):
        first, second = labels.mint(make.boat, 2)
        labels.mark_printed([first])
        assert codes_on(sheet(as_crew, make, which="blank").content) == [second.code]

    @pytest.mark.parametrize("how_many", ["0", "-1", "2001", "1.5", "x", "", "1e3", "9" * 40])
    def test_a_bad_number_makes_none(self, make, as_crew, how_many):
        before = Label.objects.count()
        response = as_crew.post(at(make, "labels/"), {"how_many": how_many})
        assert response.status_code == 422
        assert Label.objects.count() == before

    def test_sent_twice_makes_one_run(self, make, as_crew):
        key = as_crew.get(at(make, "labels/")).context["mint"]["form_key"].value()
        before = Label.objects.count()
        answers = [
            as_crew.post(at(make, "labels/"), {"how_many": "2", "form_key": key}).url for _ in range(2)
        ]
        assert answers[0] == answers[1]
        assert Label.objects.count() == before + 2

    def test_is_for_a_place_that_is_there_and_undone(self, make, as_crew):
        place = make.place("S3")
        earlier = place.code
        blank = labels.mint(make.boat, 1)[0]
        where = at(make, f"labels/{blank.code.lower()}/")
        assert "This label is for" in as_crew.get(where).content.decode()
        response = as_crew.post(where, {"to": ["", place.code]})
        place.refresh_from_db()
        assert place.code == blank.code
        assert response.url == at(make, f"lockers/{blank.code}/")
        assert as_crew.get(where).url == response.url
        as_crew.post(undo_of(as_crew))
        place.refresh_from_db()
        blank.refresh_from_db()
        assert (place.code, blank.location) == (earlier, None)

    def test_is_for_a_new_box(self, make, as_crew):
        locker = make.place("S3")
        blank = labels.mint(make.boat, 1)[0]
        as_crew.post(
            at(make, f"labels/{blank.code}/"),
            {"kind": "box", "inside": locker.code, "mark": "B1", "name": "Electrical"},
        )
        box = Location.objects.get(mark="B1")
        assert (box.code, box.parent, box.kind) == (blank.code, locker, Kind.BOX)
        as_crew.post(undo_of(as_crew))
        box.refresh_from_db()
        assert box.retired_at is not None

    def test_what_is_wrong_changes_nothing(self, make, as_crew):
        theirs = Factory.start("Other Boat", prefix="their-").place("Q9")
        gone = make.place("P9")
        places.retire_empty(gone, None)
        blank = labels.mint(make.boat, 1)[0]
        where = at(make, f"labels/{blank.code}/")
        for sent in ({"to": theirs.code}, {"to": gone.code}, {"to": ""}, {}, {"kind": "box", "mark": "B1"}):
            assert as_crew.post(where, sent).status_code == 422
        blank.refresh_from_db()
        assert blank.location is None
        assert not Location.objects.filter(mark="B1").exists()

    def test_another_boats_label_is_not_found(self, make, as_crew):
        theirs = Factory.start("Other Boat", prefix="their-")
        blank = labels.mint(theirs.boat, 1)[0]
        assert as_crew.get(at(make, f"labels/{blank.code}/")).status_code == 404
        assert as_crew.post(at(make, f"labels/{blank.code}/unbind/")).status_code == 404
        assert as_crew.get(at(make, "labels/ZZZZ/")).status_code == 404
        assert as_crew.get(at(make, "labels/12345678901234567890/")).status_code == 404

    def test_the_only_label_of_a_place_stays(self, make, as_crew):
        place = make.place("S3")
        as_crew.post(at(make, f"labels/{place.code}/unbind/"))
        assert Label.objects.get(code=place.code).location == place

    def test_two_taps_to_a_place(self, make, as_crew):
        """From the scanned label: the page, then the place in its list; every place is a button on that page."""
        place = make.place("S3")
        blank = labels.mint(make.boat, 1)[0]
        page = as_crew.get(f"/L/{blank.code}", follow=True).content.decode()
        assert re.search(rf'<button class="pick" name="to" value="{place.code}">', page)
