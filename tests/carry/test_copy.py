"""The copy is filled from the boat: what lies where, what each job fetches, in the same few questions at any size."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from refit.boat.actions import places
from refit.boat.models import Hindrance, Kind, Location, Where
from refit.boat.refusals import Refused
from refit.carry.copy import book
from refit.reports.copy import CopyTown, CopyTownRow
from refit.stores.actions.keeping import keep
from refit.stores.actions.parts import add_need, retire_part
from refit.stores.actions.stow import take
from tests.factory import Factory

pytestmark = pytest.mark.usefixtures("clean_ledger")
D = Decimal
AT = datetime(2026, 11, 26, 0, 40, tzinfo=UTC)


def copied(make, **more):
    return book(make.member(make.owner), AT, **more)


def fetched(make) -> dict[int, list[tuple[str, str, str, str]]]:
    """Return for each job its rows as mark, part, quantity and note."""
    found = copied(make)
    marks = {place.code: place.mark for place in found.places}
    names = {part.key: part.name for part in found.parts}
    return {
        job.number: [(marks[row.place], names[row.part], row.quantity, row.note) for row in job.rows]
        for job in found.fetch
    }


def wants(job, part, quantity=1):
    return add_need(job, part=part, words="", quantity=D(quantity))


def test_places_run_from_bow_to_stern_then_ashore_then_away(make):
    boat = make.boat
    areas = {
        name: places.add_place(boat, kind=Kind.AREA, parent=None, name=name)
        for name in ("Lazarette", "Forepeak")
    }
    away = places.add_place(boat, kind=Kind.AREA, parent=None, name="Rigger", where=Where.AWAY, days_away=3)
    s2 = make.place("S2")
    for mark, area in (
        ("R1", away),
        ("L1", areas["Lazarette"]),
        ("F1", areas["Forepeak"]),
        ("A1", make.ashore),
    ):
        make.place(mark, parent=area)
    make.place("S10")
    make.place("B1", parent=s2, kind=Kind.BOX)
    found = copied(make).places
    assert [place.mark for place in found] == ["", "F1", "S2", "B1", "S10", "L1", "A1", "R1"]
    by_mark = {place.mark: place for place in found}
    assert by_mark["B1"].inside == by_mark["S2"].code
    assert (by_mark["R1"].area, by_mark["R1"].where) == ("Rigger", "away, 3 days")
    assert (by_mark["A1"].where, by_mark["F1"].where) == ("ashore here", "")


def test_areas_that_the_owner_numbered_come_as_numbered(make):
    stern = places.add_place(make.boat, kind=Kind.AREA, parent=None, name="Lazarette")
    make.place("S1")
    make.place("L1", parent=stern)
    assert [place.mark for place in copied(make).places] == ["", "S1", "L1"]
    Location.objects.filter(pk=stern.pk).update(from_bow=1)
    Location.objects.filter(pk=make.area.pk).update(from_bow=2)
    assert [place.mark for place in copied(make).places] == ["", "L1", "S1"]


def test_a_place_brings_its_cautions_and_note(make):
    place = make.place("S1", name="Settee", note="Lift the board")
    places.set_cautions(place, [(Hindrance.SEACOCK, "aft"), (Hindrance.HOT, "")])
    told = next(place for place in copied(make).places if place.mark == "S1")
    assert (told.name, told.note) == ("Settee", "Lift the board")
    assert told.cautions == (
        "Mind: hot surface: nothing that melts or burns",
        "Do not block: seacock: keep it within reach at all times (aft)",
    )


def test_what_lies_somewhere_is_said_in_words(make):
    place = make.place("S1")
    flare = make.part("Flare", has_expiry=True, numbers=[("maker", "F-1", "Norrvik")], specification="red")
    hose, clips = make.part("Hose", unit="m"), make.part("Clips", kept="level")
    make.stock(flare, place, 4, serial="44", expires_on=make.today)
    make.stock(hose, place, D("4.30"))
    make.stock(clips, place)
    found = copied(make)
    parts = {part.key: part for part in found.parts}
    held = {parts[row.part].name: row for row in found.holdings}
    assert (parts[flare.pk].numbers, parts[flare.pk].specification) == (("Norrvik F-1",), "red")
    assert (held["Flare"].quantity, held["Flare"].lot, held["Flare"].expires) == ("4", "batch 44", make.today)
    assert (held["Hose"].quantity, parts[hose.pk].unit) == ("4.3", "m")
    assert (held["Clips"].quantity, held["Clips"].level) == ("", "fine")


def test_what_is_retired_is_left_out_unless_it_still_lies_somewhere(make):
    gone, left = make.part("Gone"), make.part("Left over")
    retire_part(gone)
    make.stock(left, make.place("S1"), 1)
    type(left).objects.filter(pk=left.pk).update(retired_at=AT)
    assert [part.name for part in copied(make).parts] == ["Left over"]


def test_a_job_fetches_what_lies_here_bow_to_stern_and_not_what_is_away(make):
    boat = make.boat
    away = places.add_place(boat, kind=Kind.AREA, parent=None, name="Agent", where=Where.AWAY, days_away=9)
    bow = places.add_place(boat, kind=Kind.AREA, parent=None, name="Forepeak")
    seal, hose, tape = make.part("Seal"), make.part("Hose", unit="m"), make.part("Tape", kept="level")
    make.stock(seal, make.place("A0", parent=away), 9)
    make.stock(seal, make.place("S1"), 1)
    make.stock(seal, make.place("F9", parent=bow), 1)
    make.stock(hose, make.place("F2", parent=bow), 8)
    make.stock(tape, make.place("S3"))
    job = make.job("Pump")
    for part, quantity in ((seal, 5), (hose, D("1.5")), (tape, 1)):
        wants(job, part, quantity)
    assert fetched(make) == {
        job.number: [
            ("F2", "Hose", "1.5 m", ""),
            ("F9", "Seal", "1", ""),
            ("S1", "Seal", "1", ""),
            ("S3", "Tape", "some", ""),
        ]
    }


def test_what_was_taken_is_not_fetched_again(make):
    part, job = make.part("Seal"), make.job("Pump")
    held = make.stock(part, make.place("S1"), 5)
    wants(job, part, 2)
    take(held, D(1), by=make.owner, on=make.today, today=make.today, job=job)
    assert fetched(make)[job.number] == [("S1", "Seal", "1", "")]
    held.refresh_from_db()
    take(held, D(1), by=make.owner, on=make.today, today=make.today, job=job)
    assert fetched(make) == {}


def test_what_is_kept_for_one_job_is_not_fetched_for_another(make):
    part = make.part("Seal")
    make.stock(part, make.place("S1"), 3)
    first, second = make.job("One"), make.job("Two")
    need = wants(first, part, 2)
    wants(second, part, 3)
    keep(need, D(2), today=make.today)
    found = fetched(make)
    assert [row[:3] for row in found[first.number]] == [("S1", "Seal", "2")]
    assert [row[:3] for row in found[second.number]] == [("S1", "Seal", "1")]


def test_two_jobs_after_the_same_last_one_are_told_of_each_other(make):
    part = make.part("Seal")
    make.stock(part, make.place("S1"), 3)
    first, second = make.job("One"), make.job("Two")
    wants(first, part, 2)
    wants(second, part, 1)
    assert {rows[0][3] for rows in fetched(make).values()} == {""}
    wants(second, part, 1)
    found = fetched(make)
    assert found[first.number][0][3] == f"job {second.number} would take it too"
    assert {row[3] for row in found[second.number]} == {f"job {first.number} would take it too"}


def test_jobs_in_hand_stand_first_and_done_ones_not_at_all(make):
    part = make.part("Seal")
    make.stock(part, make.place("S1"), 9)
    jobs = [make.job(f"Job {state}") for state in ("planned", "in_hand", "ready", "done", "later")]
    for job, state in zip(jobs, ("planned", "in_hand", "ready", "done", "later"), strict=True):
        wants(job, part)
        type(job).objects.filter(pk=job.pk).update(state=state)
    assert [job.title for job in copied(make).fetch] == ["Job in_hand", "Job ready", "Job planned"]


def test_it_is_dated_in_the_boats_own_hours(make):
    make.boat.time_zone = "America/Punta_Arenas"
    make.boat.save()
    assert copied(make).stamp == "25 Nov 2026, 21:40"


def test_town_lists_are_taken_as_they_come(make):
    shops = [CopyTown("Chandlery", (CopyTownRow("Clip", "16 mm", "6"),))]
    assert copied(make, town=shops).town == tuple(shops)


def test_another_boats_things_are_not_in_it(make):
    other = Factory.start("Other", prefix="o")
    other.stock(other.part("Theirs"), other.place("X1"), 1)
    found = copied(make)
    assert [part.name for part in found.parts] == []
    assert "X1" not in {place.mark for place in found.places}


def test_who_does_not_see_all_takes_no_copy(make):
    with pytest.raises(Refused) as refused:
        book(make.member(make.trade), AT)
    assert refused.value.code == "not_all_seen"
    for who in (make.owner, make.crew, make.viewer):
        assert book(make.member(who), AT).boat == make.boat.name


def fill(make, many: int) -> None:
    """Add so many jobs, each with a part that lies in a place of its own with a caution."""
    for _ in range(many):
        place, part, job = make.place(), make.part(numbers=[("maker", f"N{make.made}", "")]), make.job()
        places.set_cautions(place, [("seacock", "")])
        make.stock(part, place, 3, serial="B", expires_on=make.today + timedelta(days=9))
        wants(job, part, 2)


def test_the_number_of_questions_does_not_grow_with_the_boat(make):
    asked = []
    for _ in range(2):
        fill(make, 6)
        member = make.member(make.owner)
        with CaptureQueriesContext(connection) as queries:
            found = book(member, AT)
        asked.append((len(found.fetch), len(queries)))
    assert asked == [(6, 12), (12, 12)]
