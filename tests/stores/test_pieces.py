"""Rope in pieces: put in, cut, to bits, kept in pieces from now on; each refused by its code and undone as one."""

import pytest

from refit.buying.actions.deliveries import Arrival, book_in, undo_delivery
from refit.stores.actions import aside, ledger, pieces, stow
from refit.stores.actions.parts import change_part
from refit.stores.actions.stow import Counted
from refit.stores.models import EntryKind, Holding, Lot, Movement, Reason
from tests.factory import D
from tests.refusing import refuse

pytestmark = pytest.mark.usefixtures("clean_ledger")


@pytest.fixture
def who(make) -> dict:
    return {"by": make.owner, "on": make.today, "today": make.today}


@pytest.fixture
def rope(make):
    return make.part("Rope 12 mm", unit="m", in_pieces=True, bits_under=D("0.5"))


@pytest.fixture
def piece(make, rope) -> Holding:
    return make.stock(rope, make.place("F2"), 18)


def lengths(part) -> dict[int, str]:
    """Return what lies of a part, by the number of the piece."""
    return {h.lot.number: str(h.quantity) for h in Holding.objects.there().filter(part=part)}


def test_each_thing_put_in_is_a_piece_with_its_number(make, rope, who):
    place = make.place("F2")
    first = stow.put_in(rope, place, D(18), **who)
    assert first.said == "Put piece 1 of Rope 12 mm, 18 m, into F2."
    more = stow.put_in(rope, place, D("7.5"), pieces=3, **who)
    assert more.said == "Put pieces 2 to 4 of Rope 12 mm, 7.5 m each, into F2."
    assert lengths(rope) == {1: "18", 2: "7.5", 3: "7.5", 4: "7.5"}
    ledger.undo(more, by=make.owner, today=make.today)
    assert lengths(rope) == {1: "18"}
    refuse("pieces", lambda: stow.put_in(rope, place, D(1), pieces=101, **who))


def test_a_cut_for_a_job_leaves_a_shorter_piece(make, piece, who):
    entry = stow.take(piece, D(8), job=make.job("Lazy jacks"), **who)
    assert entry.kind == EntryKind.CUT
    assert entry.said == "Cut 8 m off piece 1 of Rope 12 mm in F2 for job 1. That leaves 10 m of piece 1."
    assert lengths(piece.part) == {1: "10"}
    ledger.undo(entry, by=make.owner, today=make.today)
    assert lengths(piece.part) == {1: "18"}


def test_a_rest_too_short_goes_to_bits_and_comes_back_with_the_same_undo(make, piece, who):
    entry = stow.take(piece, D("17.6"), **who)
    assert "The rest, 0.4 m, is too short to keep and went to bits." in entry.said
    assert lengths(piece.part) == {}
    assert [(m.reason, m.quantity) for m in entry.movements.order_by("id")] == [
        (Reason.USED, D("17.6")),
        (Reason.BITS, D("0.4")),
    ]
    ledger.undo(entry, by=make.owner, today=make.today)
    assert lengths(piece.part) == {1: "18"}


@pytest.mark.parametrize(
    ("length", "left"), [("17.5", {1: "0.5"}), ("17.501", {}), ("18", {}), ("0.001", {1: "17.999"})]
)
def test_the_limit_itself_is_still_a_piece(piece, who, length, left):
    stow.take(piece, D(length), **who)
    assert lengths(piece.part) == left


@pytest.mark.parametrize(
    ("length", "code"), [("18.001", "longer_than_it_is"), ("0", "nothing"), ("-1", "nothing")]
)
def test_a_piece_is_not_cut_longer_than_it_is(make, piece, who, length, code):
    refuse(code, lambda: stow.take(piece, D(length), **who))
    refuse(code, lambda: pieces.cut_and_keep(piece, D(length), make.place(), **who))


def test_what_is_cut_off_may_stay_a_piece(make, piece, who):
    entry = pieces.cut_and_keep(piece, D(8), make.place("S1"), **who)
    assert "Cut 8 m off piece 1 of Rope 12 mm in F2: it is piece 2, in S1." in entry.said
    assert lengths(piece.part) == {1: "10", 2: "8"}
    ledger.undo(entry, by=make.owner, today=make.today)
    assert lengths(piece.part) == {1: "18"}
    refuse("whole", lambda: pieces.cut_and_keep(piece, D(18), make.place(), **who))


def test_a_piece_is_moved_whole_or_cut_first(make, piece, who):
    to = make.place("S1")
    refuse("a_piece", lambda: stow.move_things([(piece, D(3))], to, **who))
    stow.move_things([(piece, None)], to, **who)
    assert Holding.objects.there().get().place == to


def test_what_a_count_finds_is_a_piece_of_its_own(make, piece, who):
    lot = piece.lot
    stow.count(
        piece.place,
        [Counted(piece.part, D(17), lot=lot), Counted(piece.part, D(4)), Counted(piece.part, D(2))],
        **who,
    )
    assert lengths(piece.part) == {1: "17", 2: "4", 3: "2"}


def test_what_lies_in_places_becomes_pieces_when_a_part_is_kept_so(make, who):
    hose = make.part("Hose 19 mm", unit="m")
    make.stock(hose, make.place("S1"), 3)
    make.stock(hose, make.place("S2"), 4, serial="B7")
    entry = pieces.keep_in_pieces(hose, **who)
    assert entry.said == "Hose 19 mm is kept in pieces: what lay in 2 places is 2 pieces."
    assert lengths(hose) == {1: "3", 2: "4"}
    assert Lot.objects.get(number=2).serial == "B7"
    assert pieces.keep_in_pieces(make.part("Chain", unit="m"), **who) is None


def test_what_is_set_aside_must_be_settled_first(make, who):
    hose = make.part("Hose 19 mm", unit="m")
    aside.set_aside(make.stock(hose, make.place("S1"), 3), D(1), "goes back")
    refuse("set_aside", lambda: pieces.keep_in_pieces(hose, **who))


def test_pieces_are_counted(make, rope):
    refuse("not_counted", lambda: change_part(rope, kept="level"))


def test_two_drums_that_arrive_are_two_pieces(make, rope, who):
    """The paper points at one movement; what came as one is split at once, and undone as one."""
    order = make.order(make.line(rope, packs=D(2), pack_size=D(100)))
    line = order.lines.get()
    delivery = book_in(make.boat, [Arrival(line, D(200), place=make.place("F2"))], **who)
    assert lengths(rope) == {1: "100", 2: "100"}
    assert delivery.lines.get().movement.quantity == 200
    undo_delivery(delivery, by=make.owner, today=make.today)
    assert lengths(rope) == {}
    half = book_in(make.boat, [Arrival(line, D(150), place=make.place("F3"))], **who)
    assert list(lengths(rope).values()) == ["150"]
    assert half.lines.get().lot.number == 3


def test_a_drum_that_comes_for_a_job_is_used_whole(make, rope, who):
    order = make.order(make.line(rope, packs=D(2), pack_size=D(100), job=make.job()))
    book_in(make.boat, [Arrival(order.lines.get(), D(200), to_job=True)], **who)
    assert lengths(rope) == {}
    assert Movement.objects.filter(reason=Reason.USED).get().quantity == 200
