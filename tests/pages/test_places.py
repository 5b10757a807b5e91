"""Places: new, quick list, change, photo, into, retire, and their undos."""

import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from PIL import Image

from refit.boat.actions import places
from refit.boat.models import Kind, Label, Location, Paper, PlaceCaution
from refit.stores.actions import stow
from refit.stores.models import Entry, Holding, Kept, Movement
from tests.factory import D, Factory

pytestmark = pytest.mark.usefixtures("clean_ledger")

ODD_NAMES = ["<script>alert(1)</script>", "=1+1", "\u05e9\u05dc\u05d5\u05dd"]


def at(make: Factory, rest: str) -> str:
    return f"/{make.boat.slug}/lockers/{rest}"


def undo_of(client: Client) -> str:
    """The address that the last message would undo by; reading it shows the message."""
    page = client.get("/accounts/password/")
    return [message.extra_tags.split(" ")[0] for message in page.context["messages"]][-1]


def said(response) -> str:
    return " ".join(str(message) for message in response.context["messages"])


def picture(colour: int = 120) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (64, 48), (colour, 90, 90)).save(out, "JPEG")
    return out.getvalue()


def upload(data: bytes, name: str = "locker.jpg") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, data, content_type="image/jpeg")


FORMS = ["new/", "quick/", "swap/", "{code}/change/", "{code}/into/", "{code}/retire/"]
BUTTONS = ["quick/undo/", "{code}/photo/", "{code}/back-into/{code}/", "{code}/use-again/"]


class TestDoors:
    @pytest.mark.parametrize("address", [*FORMS, *BUTTONS])
    def test_who_gets_in(self, make, as_owner, as_outsider, as_viewer, as_trade, address):
        where = at(make, address.format(code=make.place("S3").code))
        assert Client().post(where).status_code == 302
        assert as_outsider.post(where).status_code == 404
        assert as_viewer.post(where).status_code == 403
        assert as_trade.post(where).status_code == 403

    @pytest.mark.parametrize("address", FORMS)
    def test_a_form_opens(self, make, as_crew, address):
        where = at(make, address.format(code=make.place("S3").code))
        assert as_crew.get(where).status_code == 200

    @pytest.mark.parametrize("address", BUTTONS)
    def test_a_button_is_no_page(self, make, as_crew, address):
        assert as_crew.get(at(make, address.format(code=make.place("S3").code))).status_code == 405

    @pytest.mark.parametrize("address", [a for a in (*FORMS, *BUTTONS) if a.startswith("{code}")])
    def test_another_boats_place_is_not_found(self, make, as_crew, address):
        theirs = Factory.start("Other Boat", prefix="their-").place("Q9")
        assert as_crew.post(at(make, address.format(code=theirs.code))).status_code == 404
        assert as_crew.post(at(make, address.format(code="ZZZZ"))).status_code == 404


class TestNew:
    def form(self, make: Factory, **facts) -> dict:
        return {"kind": "locker", "inside": make.area.code, "mark": "S3", "name": "Pilot berth"} | facts

    def test_adds_a_locker_with_its_cautions(self, make, as_crew):
        response = as_crew.post(
            at(make, "new/"),
            self.form(make, care_seacock="on", words_seacock="behind the aft board", words_gas="below"),
        )
        place = Location.objects.get(mark="S3")
        assert response.url == at(make, f"{place.code}/")
        assert (place.parent, place.area, place.kind) == (make.area, make.area, Kind.LOCKER)
        assert dict(PlaceCaution.objects.values_list("kind", "words")) == {
            "seacock": "behind the aft board",
            "gas": "below",
        }
        assert Label.objects.get(code=place.code).location == place

    def test_undo_takes_it_out_of_use(self, make, as_crew):
        as_crew.post(at(make, "new/"), self.form(make))
        place = Location.objects.get(mark="S3")
        as_crew.post(undo_of(as_crew))
        place.refresh_from_db()
        assert place.retired_at is not None

    def test_a_box_in_a_locker_takes_its_area(self, make, as_crew):
        locker = make.place("S3")
        as_crew.post(at(make, "new/"), self.form(make, kind="box", inside=locker.code, mark="B1"))
        box = Location.objects.get(mark="B1")
        assert (box.parent, box.area) == (locker, make.area)

    def test_an_area_away_keeps_its_days(self, make, as_crew):
        as_crew.post(
            at(make, "new/"),
            self.form(make, kind="area", inside="", mark="", name="Sailmaker", where="away", days_away="12"),
        )
        area = Location.objects.get(name="Sailmaker")
        assert (area.where, area.days_away, area.parent) == ("away", 12, None)

    @pytest.mark.parametrize(
        ("facts", "words"),
        [
            ({"mark": "", "name": ""}, "Give it a mark or a name."),
            ({"inside": ""}, "Say which area or locker it is in."),
            ({"mark": "x" * 13}, "At most 12 characters"),
            ({"name": "x" * 100_000}, "At most 80 characters"),
            ({"kind": "unstowed"}, "not one of the available choices"),
            ({"kind": "spaceship"}, "not one of the available choices"),
            ({"inside": "ZZZZ"}, "not one of the available choices"),
            ({"name": "a\x00b"}, "NUL"),
            ({"kind": "area", "where": "away", "days_away": "-3"}, "0"),
        ],
    )
    def test_a_bad_form_changes_nothing(self, make, as_crew, facts, words):
        before = Location.objects.count()
        response = as_crew.post(at(make, "new/"), self.form(make, **facts))
        assert response.status_code == 422
        assert words in response.content.decode()
        assert (Location.objects.count(), Label.objects.count()) == (before, before)

    def test_a_mark_in_use_is_refused_and_named(self, make, as_crew):
        make.place("S3", name="Galley")
        response = as_crew.post(at(make, "new/"), self.form(make, mark="s 3"))
        assert response.status_code == 422
        assert "in use already, for Galley" in response.content.decode()

    def test_another_boats_place_cannot_hold_it(self, make, as_crew):
        theirs = Factory.start("Other Boat", prefix="their-")
        response = as_crew.post(at(make, "new/"), self.form(make, inside=theirs.area.code))
        assert response.status_code == 422
        assert not Location.objects.filter(mark="S3").exists()

    def test_sent_twice_adds_one(self, make, as_crew):
        key = as_crew.get(at(make, "new/")).context["form"]["form_key"].value()
        for _ in range(2):
            as_crew.post(at(make, "new/"), self.form(make, mark="", form_key=key))
        assert Location.objects.filter(name="Pilot berth").count() == 1

    @pytest.mark.parametrize("name", ODD_NAMES)
    def test_odd_names_are_kept_and_escaped(self, make, as_crew, name):
        as_crew.post(at(make, "new/"), self.form(make, name=name))
        place = Location.objects.get(mark="S3")
        assert place.name == name
        for address in ("new/", f"{place.code}/change/", f"{make.place('B1').code}/into/", "swap/"):
            assert "<script>alert" not in as_crew.get(at(make, address)).content.decode()


class TestQuick:
    def test_adds_lockers_and_leads_to_their_labels(self, make, as_crew):
        response = as_crew.post(
            at(make, "quick/"), {"quick_list": "P1-P6, S1-S6, Forepeak", "area": make.area.code}
        )
        assert response.url == f"/{make.boat.slug}/labels/?which=new"
        assert Location.objects.filter(area=make.area, kind=Kind.LOCKER).count() == 13

    def test_names_a_new_area(self, make, as_crew):
        as_crew.post(at(make, "quick/"), {"quick_list": "F1-F3", "new_area": "Forward cabin"})
        assert Location.objects.filter(area__name="Forward cabin", kind=Kind.LOCKER).count() == 3

    def test_undo_takes_all_of_it_out_of_use(self, make, as_crew):
        as_crew.post(at(make, "quick/"), {"quick_list": "F1-F3", "new_area": "Forward cabin"})
        before = Location.objects.in_use().count()
        as_crew.post(undo_of(as_crew))
        assert Location.objects.in_use().count() == before - 4

    def test_undo_is_refused_once_something_lies_there(self, make, as_crew):
        as_crew.post(at(make, "quick/"), {"quick_list": "F1-F3", "area": make.area.code})
        undo = undo_of(as_crew)
        make.stock(make.part(), Location.objects.get(mark="F2"), 1)
        before = Location.objects.in_use().count()
        response = as_crew.post(undo, follow=False)
        assert response.status_code == 302
        assert Location.objects.in_use().count() == before

    def test_undo_knows_only_this_boats_codes(self, make, as_crew):
        theirs = Factory.start("Other Boat", prefix="their-").place("Q9")
        assert as_crew.post(at(make, f"quick/undo/?codes={theirs.code}")).status_code == 404
        assert as_crew.post(at(make, "quick/undo/")).status_code == 404
        assert as_crew.post(at(make, "quick/undo/?codes=%00")).status_code == 404
        theirs.refresh_from_db()
        assert theirs.retired_at is None

    @pytest.mark.parametrize(
        ("facts", "words"),
        [
            ({"quick_list": ""}, "This field is required"),
            ({"quick_list": ", ,"}, "Write at least one locker"),
            ({"quick_list": "S6-S1"}, "runs backwards"),
            ({"quick_list": "P1-P9999"}, "more than 200"),
            ({"area": ""}, "Choose an area, or name a new one."),
            ({"new_area": "Forward cabin"}, "not both"),
            ({"quick_list": "x" * 100_000}, "At most 3,000 characters"),
        ],
    )
    def test_a_bad_list_changes_nothing(self, make, as_crew, facts, words):
        before = Location.objects.count()
        response = as_crew.post(at(make, "quick/"), {"quick_list": "P1", "area": make.area.code} | facts)
        assert response.status_code == 422
        assert words in response.content.decode()
        assert Location.objects.count() == before


class TestChange:
    def test_changes_and_undoes(self, make, as_crew):
        place = make.place("S3", name="Pilot berth")
        places.set_cautions(place, [("gas", "below")])
        where = at(make, f"{place.code}/change/")
        as_crew.post(where, {"mark": "S4", "name": "Galley", "note": "Wet", "care_seacock": "on"})
        place.refresh_from_db()
        assert (place.mark, place.name, place.note) == ("S4", "Galley", "Wet")
        assert list(place.cautions.values_list("kind", flat=True)) == ["seacock"]
        as_crew.post(undo_of(as_crew))
        place.refresh_from_db()
        assert (place.mark, place.name, place.note) == ("S3", "Pilot berth", "")
        assert list(place.cautions.values_list("kind", "words")) == [("gas", "below")]

    def test_an_area_takes_its_lockers_along(self, make, as_crew):
        place = make.place("S3")
        as_crew.post(
            at(make, f"{make.area.code}/change/"), {"name": "Saloon", "where": "away", "days_away": "5"}
        )
        place.refresh_from_db()
        assert (place.where, place.days_away) == ("away", 5)

    def test_a_locker_cannot_be_sent_away_by_itself(self, make, as_crew):
        place = make.place("S3")
        as_crew.post(at(make, f"{place.code}/change/"), {"mark": "S3", "where": "away", "days_away": "5"})
        place.refresh_from_db()
        assert place.where == "aboard"

    @pytest.mark.parametrize("facts", [{"mark": "", "name": ""}, {"mark": "P1"}, {"name": "x" * 81}])
    def test_a_bad_form_changes_nothing(self, make, as_crew, facts):
        make.place("P1")
        place = make.place("S3", name="Pilot berth")
        response = as_crew.post(
            at(make, f"{place.code}/change/"), {"mark": "S3", "name": "Pilot berth", "care_gas": "on"} | facts
        )
        place.refresh_from_db()
        assert response.status_code == 422
        assert (place.mark, place.name, place.cautions.count()) == ("S3", "Pilot berth", 0)

    def test_an_undo_that_was_tampered_with_is_not_found(self, make, as_crew):
        place = make.place("S3", name="Pilot berth")
        as_crew.post(at(make, f"{place.code}/change/"), {"mark": "S4", "name": ""})
        undo = undo_of(as_crew)
        assert as_crew.post(undo[:-2] + "xx").status_code == 404
        other = make.place("P1")
        assert as_crew.post(undo.replace(place.code, other.code, 1)).status_code == 404


class TestPhoto:
    def test_keeps_a_photo_and_undoes(self, make, as_crew):
        place = make.place("S3")
        where = at(make, f"{place.code}/photo/")
        as_crew.post(where, {"photo": upload(picture(1))})
        as_crew.post(where, {"photo": upload(picture(200))})
        place.refresh_from_db()
        assert place.photo.number == 2
        as_crew.post(undo_of(as_crew))
        place.refresh_from_db()
        assert place.photo.number == 1
        as_crew.post(f"{where}?back=0")
        place.refresh_from_db()
        assert place.photo is None

    @pytest.mark.parametrize("data", [b"", b"%PDF-1.4\n%%EOF", b"<svg/>", picture()[:200]])
    def test_what_is_no_photo_is_refused(self, make, as_crew, data):
        place = make.place("S3")
        files = {"photo": upload(data)} if data else {}
        response = as_crew.post(at(make, f"{place.code}/photo/"), files)
        place.refresh_from_db()
        assert response.status_code == 302
        assert place.photo is None
        assert not Paper.objects.exists()

    @pytest.mark.parametrize("back", ["7", "-1", "x", "9" * 30, ""])
    def test_a_photo_that_is_not_there_is_not_found(self, make, as_crew, back):
        assert as_crew.post(at(make, f"{make.place('S3').code}/photo/?back={back}")).status_code == 404


class TestInto:
    def test_moves_a_box_with_all_in_it_and_back(self, make, as_crew):
        one, shelf = make.place("S3"), make.place("A1", parent=make.ashore)
        box = make.place("B1", parent=one, kind=Kind.BOX)
        bag = make.place("G1", parent=box, kind=Kind.BAG)
        holding = make.stock(make.part(), bag, 2)
        response = as_crew.post(at(make, f"{box.code}/into/"), {"to": shelf.code})
        assert response.url == at(make, f"{box.code}/")
        for place in (box, bag):
            place.refresh_from_db()
            assert (place.area, place.where) == (make.ashore, "ashore")
        holding.refresh_from_db()
        assert holding.place == bag
        as_crew.post(undo_of(as_crew))
        box.refresh_from_db()
        assert (box.parent, box.where) == (one, "aboard")

    @pytest.mark.parametrize("typed", ["a1", "A 1", "http://x/L/{}", "{}", "A1 Shelf"])
    def test_the_place_may_be_typed_or_scanned(self, make, as_crew, typed):
        box, shelf = make.place("B1", kind=Kind.BOX), make.place("A1", parent=make.ashore, name="Shelf")
        as_crew.post(at(make, f"{box.code}/into/"), {"to": ["", typed.format(shelf.code)]})
        box.refresh_from_db()
        assert box.parent == shelf

    def test_refuses_itself_what_is_in_it_and_what_is_not_there(self, make, as_crew):
        locker = make.place("S3")
        box = make.place("B1", parent=locker, kind=Kind.BOX)
        theirs = Factory.start("Other Boat", prefix="their-").place("Q9")
        for to in (locker.code, box.code, theirs.code, "nowhere", "", "x" * 100_000, make.area.code):
            response = as_crew.post(at(make, f"{locker.code}/into/"), {"to": to})
            assert response.status_code == 422
        locker.refresh_from_db()
        assert locker.parent == make.area

    def test_an_area_stays(self, make, as_crew):
        response = as_crew.post(at(make, f"{make.area.code}/into/"), {"to": make.ashore.code})
        assert response.status_code == 422

    def test_back_into_another_boats_place_is_not_found(self, make, as_crew):
        theirs = Factory.start("Other Boat", prefix="their-").place("Q9")
        box = make.place("B1", kind=Kind.BOX)
        assert as_crew.post(at(make, f"{box.code}/back-into/{theirs.code}/")).status_code == 404


class TestRetire:
    def test_moves_the_contents_and_undo_brings_them_back(self, make, as_crew):
        one, other = make.place("S3"), make.place("P1")
        counted, level = make.part("Impeller"), make.part("Grease", kept=Kept.LEVEL)
        make.stock(counted, one, 3)
        make.stock(level, one)
        as_crew.post(at(make, f"{one.code}/retire/"), {"contents_to": "P1"})
        one.refresh_from_db()
        assert (one.retired_at is not None, one.went_to) == (True, other)
        assert Holding.objects.there().filter(place=other).count() == 2
        undo = undo_of(as_crew)
        as_crew.post(undo)
        one.refresh_from_db()
        assert one.retired_at is None
        assert Holding.objects.there().filter(place=one).count() == 2
        assert Holding.objects.get(place=one, part=counted).quantity == D(3)
        before = Movement.objects.count()
        as_crew.post(undo)
        assert Movement.objects.count() == before

    def test_only_things_of_one_level_come_back_too(self, make, as_crew):
        one = make.place("S3")
        make.place("P1")
        make.stock(make.part("Grease", kept=Kept.LEVEL), one)
        as_crew.post(at(make, f"{one.code}/retire/"), {"contents_to": "P1"})
        as_crew.post(undo_of(as_crew))
        assert Holding.objects.there().filter(place=one).count() == 1

    def test_with_things_in_it_asks_where_they_go(self, make, as_crew):
        place = make.place("S3")
        make.stock(make.part(), place, 1)
        for to in ("", "S3", "nowhere"):
            response = as_crew.post(at(make, f"{place.code}/retire/"), {"contents_to": to})
            assert response.status_code == 422
        place.refresh_from_db()
        assert place.retired_at is None
        assert Entry.objects.count() == 1

    def test_with_a_box_in_it_names_the_box(self, make, as_crew):
        place = make.place("S3")
        make.place("B1", parent=place, kind=Kind.BOX)
        assert "B1" in as_crew.get(at(make, f"{place.code}/retire/")).content.decode()
        assert as_crew.post(at(make, f"{place.code}/retire/")).status_code == 422

    def test_not_stowed_yet_always_stays(self, make, as_crew):
        place = Location.objects.get(boat=make.boat, kind=Kind.UNSTOWED)
        assert as_crew.post(at(make, f"{place.code}/retire/")).status_code == 422

    def test_use_again_undoes_no_other_deed(self, make, as_crew):
        one, other = make.place("S3"), make.place("P1")
        theirs = Factory.start("Other Boat", prefix="their-")
        foreign = theirs.stock(theirs.part(), theirs.place("Q9"), 1)
        held = make.stock(make.part(), other, 1)
        third = make.place("P2")
        moved = stow.move_things([(held, None)], third, by=make.owner, on=make.today, today=make.today)
        as_crew.post(at(make, f"{one.code}/retire/"))
        for entry in (moved.pk, Entry.objects.get(boat=theirs.boat).pk, 10**30, "x", -1):
            assert as_crew.post(at(make, f"{one.code}/use-again/?entry={entry}")).status_code == 404
        one.refresh_from_db()
        assert one.retired_at is not None
        assert foreign.quantity == D(1)

    def test_use_again_when_the_mark_was_given_away(self, make, as_crew):
        one = make.place("S3")
        as_crew.post(at(make, f"{one.code}/retire/"))
        make.place("S3")
        as_crew.post(at(make, f"{one.code}/use-again/"))
        one.refresh_from_db()
        assert one.retired_at is not None
