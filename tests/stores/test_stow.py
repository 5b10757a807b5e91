"""What is done standing at a locker: it works, it is refused by its code, and a refusal leaves no trace."""

from datetime import date, timedelta

import pytest

from refit.boat.actions import places
from refit.boat.models import Location
from refit.stores import reading
from refit.stores.actions import ledger, parts, stow
from refit.stores.actions.stow import Counted
from refit.stores.models import Entry, Holding, Missing, Need, Part
from refit.work.actions import add_job, change_job, set_state
from refit.work.models import TRANSITIONS, State
from tests.factory import D, Factory
from tests.refusing import refuse


@pytest.fixture
def who(make) -> dict:
    return {"by": make.owner, "on": make.today, "today": make.today}


@pytest.fixture
def three(make) -> Holding:
    return make.stock(make.part("Impeller"), make.place("S1"), 3)


def test_take_and_take_back(make, who, three, clean_ledger):
    """Taken for a job; undone, it lies there again."""
    job = make.job("Renew it")
    entry = stow.take(three, D(2), job=job, **who)
    assert entry.said == "Took 2 Impeller from S1 for job 1."
    assert Holding.objects.get().quantity == 1
    ledger.undo(entry, by=make.owner, today=make.today)
    assert Holding.objects.get().quantity == 3
    refuse("undone_already", lambda: ledger.undo(entry, by=make.owner, today=make.today))
    refuse("undo_of_undo", lambda: ledger.undo(entry.undone_by, by=make.owner, today=make.today))


@pytest.mark.parametrize(
    ("quantity", "code"),
    [
        ("3.001", "more_than_there"),
        ("4", "more_than_there"),
        ("0", "nothing"),
        ("-1", "nothing"),
        ("1000000", "too_large"),
    ],
)
def test_an_amount_that_cannot_be_taken(make, who, three, quantity, code, clean_ledger):
    """More than there is, nothing, less than nothing, an absurd amount."""
    refuse(code, lambda: stow.take(three, D(quantity), **who))


def test_a_day_that_cannot_be(make, who, three, clean_ledger):
    """Tomorrow, the year 1, and before the last count of the place; on the day of the count itself it can."""
    tomorrow = {**who, "on": make.today + timedelta(days=1)}
    refuse("future", lambda: stow.take(three, D(1), **tomorrow))
    refuse("too_early", lambda: stow.take(three, D(1), **{**who, "on": date(1, 1, 1)}))
    refuse("future", lambda: stow.count(three.place, [], **tomorrow))
    entry, _ = stow.count(three.place, [Counted(three.part, D(3))], **who)
    before = {**who, "on": make.today - timedelta(days=1)}
    refuse("before_count", lambda: stow.take(three, D(1), **before))
    refuse("before_count", lambda: stow.count(three.place, [], **before))
    stow.take(three, D(1), **who)
    ledger.undo(entry, by=make.owner, today=make.today)
    stow.take(three, D(1), **before)


def test_taking_below_the_least_says_so(make, who, clean_ledger):
    """It never blocks."""
    part = make.part("Filter", is_spare=True, minimum=D(2))
    holding = make.stock(part, make.place("S1"), 3)
    assert "below" not in stow.take(holding, D(1), **who).said
    assert stow.take(holding, D(1), **who).said.endswith("That leaves 1 aboard, below 2.")


def test_put_in(make, who, clean_ledger):
    """The same part of another batch is another holding; a retired part, an area and a retired place refuse."""
    part, place = make.part(), make.place()
    stow.put_in(part, place, D(1), **who)
    stow.put_in(part, place, D(1), serial="B7", expires_on=make.today, **who)
    assert Holding.objects.count() == 2
    refuse("place", lambda: stow.put_in(part, make.area, D(1), **who))
    idle, gone = make.part(), make.place()
    parts.retire_part(idle)
    refuse("retired", lambda: stow.put_in(idle, place, D(1), **who))
    stow.retire_place(gone, None, **who)
    refuse("place", lambda: stow.put_in(part, gone, D(1), **who))


def test_another_boats_things_are_refused(make, who, three, clean_ledger):
    """By sentence where a person could cause it."""
    other = Factory.start("Other Boat", prefix="other")
    refuse("no_place", lambda: stow.put_in(three.part, other.place(), D(1), **who))
    move = ledger.Move(other.part(), "opening", D(1), to_place=three.place)
    refuse("no_part", lambda: ledger.record(make.boat, "put_in", "Put in.", [move], **who))


def test_move(make, who, three, clean_ledger):
    """Some of it, all of it, several things; by level, the level goes along."""
    other = make.place("S2")
    oil = make.stock(make.part("Oil", kept="level"), three.place, 1)
    stow.move_things([(three, D(1))], other, **who)
    entry = stow.move_things([(three, None), (oil, None)], other, **who)
    assert reading.contents(three.place) == []
    assert [(h.part.name, h.quantity, h.level) for h in reading.contents(other)] == [
        ("Impeller", D(3), ""),
        ("Oil", D(0), "fine"),
    ]
    refuse(
        "same_place",
        lambda: stow.move_things([(Holding.objects.get(part=three.part, place=other), None)], other, **who),
    )
    refuse("nothing", lambda: stow.move_things([], other, **who))
    ledger.undo(entry, by=make.owner, today=make.today)
    assert len(reading.contents(three.place)) == 2


def test_count(make, who, three, clean_ledger):
    """Differences become movements; what was not touched is named and stays."""
    nut = make.stock(make.part("Nut"), three.place, 5)
    make.stock(make.part("Bolt"), three.place, 1)
    found = [Counted(three.part, D(4)), Counted(nut.part, D(2)), Counted(make.part("Washer"), D(9))]
    entry, left = stow.count(three.place, found, **who)
    assert entry.said == "Counted S1: 3 looked at, 3 corrected. Not touched: Bolt."
    assert [h.part.name for h in left] == ["Bolt"]
    assert {h.part.name: h.quantity for h in reading.contents(three.place)} == {
        "Impeller": 4,
        "Nut": 2,
        "Washer": 9,
        "Bolt": 1,
    }
    assert reading.last_counted(three.place) == make.today
    refuse("twice", lambda: stow.count(three.place, [found[0], found[0]], **who))
    refuse("negative", lambda: stow.count(three.place, [Counted(three.part, D(-1))], **who))
    refuse("place", lambda: stow.count(make.area, [], **who))
    ledger.undo(entry, by=make.owner, today=make.today)
    assert reading.last_counted(three.place) is None


def test_correct_and_take_is_one_deed(make, who, three, clean_ledger):
    """There were five: correct, take four; one undo."""
    entry = stow.correct_and_take(three, D(5), D(4), **who)
    assert Holding.objects.get().quantity == 1
    ledger.undo(entry, by=make.owner, today=make.today)
    assert Holding.objects.get().quantity == 3
    refuse("more_than_there", lambda: stow.correct_and_take(three, D(5), D(6), **who))


def test_not_there(make, who, three, clean_ledger):
    """Counts to nil and stands on the list until found; undone, it was never missing."""
    entry = stow.not_there(three, **who)
    assert Missing.objects.get().quantity == 3
    refuse("nothing", lambda: stow.not_there(three, **who))
    stow.found_again(Missing.objects.get())
    assert Missing.objects.get().closed_at
    ledger.undo(entry, by=make.owner, today=make.today)
    assert not Missing.objects.exists()


def test_levels(make, who, three, clean_ledger):
    """Fine, low, gone for what is kept by level; here and gone for what is just here; a count for the rest."""
    oil, sail = make.part("Oil", kept="level"), make.part("Sail", kept="here")
    place = three.place
    entry = stow.put_in(oil, place, D(1), **who)
    stow.put_in(sail, place, D(1), **who)
    stow.say_level(oil, place, "low", **who)
    refuse("said_since", lambda: ledger.undo(entry, by=make.owner, today=make.today))
    refuse("same_level", lambda: stow.say_level(oil, place, "low", **who))
    refuse("counted", lambda: stow.say_level(three.part, place, "low", **who))
    refuse("counted", lambda: stow.say_level(sail, place, "low", **who))
    assert stow.take(Holding.objects.get(part=sail), D(1), **who).said == "Sail in S1: gone."


def test_undo_asks_for_what_was_taken_since(make, who, clean_ledger):
    """Nothing goes below nil by undoing."""
    entry = stow.put_in(make.part(), make.place(), D(3), **who)
    stow.take(Holding.objects.get(), D(2), **who)
    refuse("taken_since", lambda: ledger.undo(entry, by=make.owner, today=make.today))


def test_retiring_a_place_moves_what_lies_there(make, who, three, clean_ledger):
    """Its code tells where they went; taken back, they lie there again; a box in it must go first."""
    place, other = three.place, make.place("S2")
    refuse("not_empty", lambda: stow.retire_place(place, None, **who))
    box = make.place("Box", parent=place, kind="box")
    refuse("not_empty", lambda: stow.retire_place(place, other, **who))
    places.move_place(box, other)
    taken = stow.take(three, D(1), **who)
    entry = stow.retire_place(place, other, **who)
    place.refresh_from_db()
    assert (place.went_to, place.holds_things) == (other, False)
    refuse("retired", lambda: stow.retire_place(place, None, **who))
    refuse("place", lambda: ledger.undo(taken, by=make.owner, today=make.today))
    stow.unretire_place(place, entry, by=make.owner, today=make.today)
    assert Holding.objects.there().get().place == place
    ledger.undo(taken, by=make.owner, today=make.today)
    unstowed = Location.objects.get(boat=make.boat, kind="unstowed")
    refuse("kind", lambda: stow.retire_place(unstowed, None, **who))


def test_parts(make, who, three, clean_ledger):
    """How a part is kept, its unit and its being in use follow what lies where; one with a past is not deleted."""
    part = three.part
    refuse("held", lambda: parts.change_part(part, kept="level"))
    refuse("moved", lambda: parts.change_part(part, unit="m"))
    refuse("held", lambda: parts.retire_part(part))
    refuse("has_past", lambda: parts.delete_part(part))
    parts.add_number(part, kind="gtin", number="4006381333931")
    other = make.part("Other", superseded_by=part)
    refuse("taken", lambda: parts.add_number(other, kind="gtin", number="4006381333931"))
    assert reading.parts_named(make.boat, "40063 8133") == [part]
    parts.remove_number(part.numbers.get())
    assert reading.parts_named(make.boat, "40063 8133") == []
    fresh = make.part("Kit")
    named = make.part("Old kit", superseded_by=fresh)
    refuse("has_past", lambda: parts.delete_part(fresh))
    parts.delete_part(named)
    parts.delete_part(fresh)
    assert not Part.objects.filter(name__contains="kit").exists()
    stow.take(three, D(3), **who)
    parts.retire_part(part)
    assert parts.use_part_again(part).retired_at is None


def test_needs(make, clean_ledger):
    """Wanted, met, wanted again, not wanted."""
    job, part = make.job(), make.part()
    refuse("nothing", lambda: parts.add_need(job, part=part, words="", quantity=D(0)))
    need = parts.add_need(job, part=part, words="ignored", quantity=D(2))
    assert need.words == ""
    parts.close_need(need)
    assert not Need.objects.open().exists()
    parts.reopen_need(need)
    assert Need.objects.open().get() == need
    parts.remove_need(need)
    assert not Need.objects.exists()


@pytest.mark.parametrize("state", State.values)
@pytest.mark.parametrize("to", State.values)
def test_a_job_goes_along_the_table(make, state, to):
    """Each pair of states: along the table it goes, elsewhere it is refused; done has a day, nothing else has."""
    job = add_job(make.boat, title="Job", system=make.system, by=make.owner, state=state)
    if to == state or to in TRANSITIONS[state]:
        moved = set_state(job, to, today=make.today)
        assert moved.state == to
        if to != state:
            assert moved.done_on == (make.today if to == State.DONE else None)
    else:
        refuse("transition", lambda: set_state(job, to, today=make.today))


def test_a_job_is_changed(make):
    """And found by what it says now."""
    job = make.job("Paint")
    changed = change_job(
        job, title="Vârnish", system=make.other_system, before="afloat", note="", given_to=None
    )
    assert (changed.system, changed.before, changed.folded) == (make.other_system, "afloat", "1varnish")


def test_every_entry_names_who_and_when(make, who, three):
    """The ledger can be read by a stranger."""
    entry = Entry.objects.get()
    assert (entry.by, entry.happened_on, entry.boat) == (make.owner, make.today, make.boat)
