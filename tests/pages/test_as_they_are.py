"""Pieces, kits and things taken off the boat on their pages: works, undone, refused, who may."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from refit.boat.models import PaperKind
from refit.stores.actions import kits, off, stow
from refit.stores.models import Holding, KitContent, Lot, Part, PartPaper
from tests.factory import D
from tests.pages.test_jobs import text_of, undo
from tests.pictures import picture

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]
BOAT = "/test-boat/"


@pytest.fixture
def rope(make) -> Part:
    return make.part("Rope", unit="m", in_pieces=True, bits_under=D("0.5"))


@pytest.fixture
def piece(make, rope) -> Holding:
    return make.stock(rope, make.place("F2"), 18)


def at(held: Holding, deed: str) -> str:
    return f"{BOAT}lockers/{held.place.code}/{deed}/{held.pk}/"


def lengths() -> list[str]:
    return [str(h.quantity) for h in Holding.objects.there().order_by("lot__number")]


def test_three_pieces_are_put_in_at_once(make, as_crew, rope):
    place = make.place("F2")
    put = f"{BOAT}lockers/{place.code}/put-in/"
    assert "How many pieces" in text_of(as_crew.get(f"{put}?part={rope.pk}"))
    page = as_crew.post(put, {"part": rope.pk, "quantity": "18", "pieces": "3"}, follow=True)
    assert "Put pieces 1 to 3 of Rope, 18 m each, into F2." in text_of(page)
    assert lengths() == ["18", "18", "18"]
    undo(as_crew, page)
    assert lengths() == []
    for wrong in ("0", "101", "x", "1.5"):
        assert as_crew.post(put, {"part": rope.pk, "quantity": "18", "pieces": wrong}).status_code == 422
    assert lengths() == []


def test_a_piece_is_cut_for_a_job_or_kept(make, as_crew, piece):
    make.job("Lazy jacks")
    page = as_crew.post(at(piece, "cut"), {"quantity": "8", "then": "1"}, follow=True)
    assert "Cut 8 m off piece 1 of Rope in F2 for job 1. That leaves 10 m of piece 1." in text_of(page)
    undo(as_crew, page)
    page = as_crew.post(at(piece, "cut"), {"quantity": "8", "then": "keep", "to": "F2"}, follow=True)
    assert lengths() == ["10", "8"]
    undo(as_crew, page)
    page = as_crew.post(at(piece, "take"), {"quantity": "17.8", "job": "used"}, follow=True)
    assert "too short to keep and went to bits" in text_of(page)
    undo(as_crew, page)
    assert lengths() == ["18"]


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({"quantity": "18.5"}, "is 18 m long; 18.5 m cannot be cut from it."),
        ({"quantity": "0"}, "must be"),
        ({"quantity": ""}, "required"),
        ({"quantity": "8", "then": "77"}, "There is no job 77."),
        ({"quantity": "8", "then": "keep", "to": ""}, "Say where the piece goes."),
        ({"quantity": "8", "then": "keep", "to": "nowhere"}, "No place"),
        ({"quantity": "8", "on": "2100-01-01"}, "has not come yet"),
    ],
)
def test_a_bad_cut_changes_nothing(as_crew, piece, sent, said):
    page = as_crew.post(at(piece, "cut"), {"then": "used", **sent})
    assert page.status_code == 422
    if said not in ("must be", "required"):
        assert said in text_of(page)
    assert lengths() == ["18"]


def test_only_a_piece_is_cut_and_only_by_those_who_may(make, as_crew, as_viewer, as_outsider, piece):
    held = make.stock(make.part(), make.place(), 3)
    assert as_crew.get(at(held, "cut")).status_code == 404
    assert as_crew.get(at(piece, "cut")).status_code == 200
    assert as_viewer.get(at(piece, "cut")).status_code == 403
    assert as_outsider.get(at(piece, "cut")).status_code == 404
    assert as_crew.put(at(piece, "cut")).status_code == 405


def change(client: Client, part: Part, **sent):
    given = {"name": part.name, "unit": part.unit, "kept": "counted", **sent}
    return client.post(f"{BOAT}parts/{part.pk}/change/", given, follow=True)


def test_a_part_is_kept_in_pieces_from_now_on(make, as_crew):
    hose = make.part("Hose", unit="m")
    make.stock(hose, make.place("S1"), 3)
    page = change(as_crew, hose, in_pieces="on", bits_under="0.3", sets_of="2", side="port", no_air="on")
    assert "Hose is kept in pieces: what lay in 1 place is 1 piece." in text_of(page)
    hose.refresh_from_db()
    facts = (hose.in_pieces, hose.bits_under, hose.sets_of, hose.side, hose.no_air)
    assert facts == (True, D("0.3"), 2, "port", True)
    assert str(Holding.objects.there().get().lot) == "piece 1"
    assert change(as_crew, hose, in_pieces="on", kept="level").status_code == 422
    for wrong in ({"sets_of": "0"}, {"sets_of": "1001"}, {"bits_under": "-1"}, {"side": "up"}):
        assert change(as_crew, hose, in_pieces="on", **wrong).status_code == 422


@pytest.fixture
def kit(make) -> Holding:
    kit = make.part("Service kit")
    kits.put_in_kit(kit, make.part("Filter"), D(2))
    return make.stock(kit, make.place("S1"), 2)


def test_what_is_in_a_kit_is_said_on_its_page(make, as_crew):
    kit = make.part("Service kit")
    make.part("Filter")
    page = f"{BOAT}parts/{kit.pk}/"
    answer = as_crew.post(f"{page}kit/", {"words": "Filter", "quantity": "2"}, follow=True)
    assert "Filter is in Service kit." in text_of(answer)
    undo(as_crew, answer)
    assert not KitContent.objects.exists()
    as_crew.post(f"{page}kit/", {"words": "Filter", "quantity": "2"}, follow=True)
    row = KitContent.objects.get()
    undo(as_crew, as_crew.post(f"{page}kit/{row.pk}/remove/", follow=True))
    assert KitContent.objects.get().quantity == 2
    for wrong in ("Service kit", "a thing in words", ""):
        assert as_crew.post(f"{page}kit/", {"words": wrong, "quantity": "1"}).status_code == 422
    assert KitContent.objects.count() == 1


def test_a_kit_is_opened_and_closed_again(make, as_crew, kit):
    assert "Filter" in text_of(as_crew.get(at(kit, "open-kit")))
    page = as_crew.post(at(kit, "open-kit"), {"to": "S1"}, follow=True)
    assert "Opened 1 Service kit from S1: 2 Filter into S1." in text_of(page)
    assert "Open the kit" in text_of(page)
    undo(as_crew, page)
    assert Holding.objects.there().get().quantity == 2
    for wrong in ("", "nowhere"):
        assert as_crew.post(at(kit, "open-kit"), {"to": wrong}).status_code == 422
    assert Holding.objects.there().get().quantity == 2


def test_an_incomplete_kit_is_completed(make, as_crew, kit):
    assert as_crew.post(at(kit, "incomplete"), {"missing": ""}).status_code == 422
    page = as_crew.post(at(kit, "incomplete"), {"missing": "one filter"}, follow=True)
    assert "1 Service kit in S1 is incomplete, no. 1: one filter." in text_of(page)
    lot = Lot.objects.get()
    page = as_crew.post(f"{BOAT}things/{lot.pk}/condition/", {"condition": "good"}, follow=True)
    assert "Service kit no. 1 is good." in text_of(page)
    undo(as_crew, page)
    lot.refresh_from_db()
    assert (lot.condition, lot.note) == ("short", "one filter")


@pytest.mark.parametrize("deed", ["open-kit", "incomplete"])
def test_who_opens_a_kit(make, as_crew, as_viewer, as_outsider, kit, deed):
    assert as_viewer.post(at(kit, deed)).status_code == 403
    assert as_outsider.post(at(kit, deed)).status_code == 404
    assert as_crew.put(at(kit, deed)).status_code == 405
    assert as_crew.post(f"{BOAT}lockers/{kit.place.code}/{deed}/99999/").status_code == 404


def test_what_was_taken_off_lies_there_with_its_photo_and_counts_when_good(make, as_crew):
    make.job("Pump")
    make.place("S1")
    sent = {"words": "Old pump", "quantity": "1", "condition": "overhaul", "to": "S1", "note": "seized"}
    photos = [picture("one"), picture("two")]
    files = [_file(data, f"{n}.jpg") for n, data in enumerate(photos)]
    page = as_crew.post(f"{BOAT}jobs/1/off/", sent | {"photos": files}, follow=True)
    assert "Took Old pump off the boat for job 1, no. 1, to overhaul, into S1." in text_of(page)
    pump = Part.objects.get(name="Old pump")
    assert PartPaper.objects.filter(part=pump, paper__kind=PaperKind.PHOTO).count() == 2
    said = text_of(as_crew.get(f"{BOAT}parts/{pump.pk}/"))
    assert "1 not usable as they are" in said
    lot = Lot.objects.get()
    as_crew.post(f"{BOAT}things/{lot.pk}/condition/", {"condition": "good"})
    assert "1 aboard" in text_of(as_crew.get(f"{BOAT}parts/{pump.pk}/"))
    undo(as_crew, page)
    assert not Holding.objects.there().exists()


def _file(data: bytes, name: str):
    return SimpleUploadedFile(name, data, content_type="image/jpeg")


@pytest.mark.parametrize(
    "wrong",
    [
        {"words": ""},
        {"condition": ""},
        {"condition": "short"},
        {"to": ""},
        {"quantity": "0"},
        {"on": "2100-01-01"},
        {"photos": _file(b"no picture", "x.jpg")},
    ],
)
def test_a_bad_taking_off_changes_nothing(make, as_crew, wrong):
    make.job()
    make.place("S1")
    sent = {"words": "Old pump", "quantity": "1", "condition": "good", "to": "S1", **wrong}
    assert as_crew.post(f"{BOAT}jobs/1/off/", sent).status_code == 422
    assert not Part.objects.exists()
    assert not Lot.objects.exists()


@pytest.mark.parametrize("wrong", ["", "new", "perfect"])
def test_a_condition_nobody_knows_changes_nothing(make, as_crew, as_viewer, as_outsider, wrong):
    who = {"by": make.owner, "on": make.today, "today": make.today}
    off.take_off(make.job(), part=None, name="Pump", condition="scrap", place=make.place(), **who)
    lot = Lot.objects.get()
    where = f"{BOAT}things/{lot.pk}/condition/"
    as_crew.post(where, {"condition": wrong})
    assert as_viewer.post(where, {"condition": "good"}).status_code == 403
    assert as_outsider.post(where, {"condition": "good"}).status_code == 404
    assert as_crew.get(where).status_code == 405
    lot.refresh_from_db()
    assert lot.condition == "scrap"


def test_a_locker_says_how_each_thing_is(make, as_crew, piece):
    who = {"by": make.owner, "on": make.today, "today": make.today}
    off.take_off(
        make.job(), part=None, name="Pump", condition="scrap", place=piece.place, note="cracked", **who
    )
    stow.put_in(piece.part, piece.place, D(3), **who)
    said = text_of(as_crew.get(f"{BOAT}lockers/{piece.place.code}/"))
    for words in ("Rope piece 1", "Rope piece 2", "Pump no. 1 scrap cracked"):
        assert words in said
