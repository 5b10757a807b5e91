"""Kept for a job: no more than is free and wanted, nobody else takes it unasked, and what is taken uses it up."""

from datetime import timedelta

import pytest

from refit.boat.actions.places import add_place
from refit.stores.actions import keeping, ledger, needs, off, pieces, stow
from refit.stores.actions.parts import add_need
from refit.stores.kept import kept_for
from refit.stores.models import Need
from refit.work.actions import set_state
from tests.factory import D
from tests.refusing import refuse

pytestmark = pytest.mark.usefixtures("clean_ledger")


@pytest.fixture
def who(make) -> dict:
    return {"by": make.owner, "on": make.today, "today": make.today}


@pytest.fixture
def part(make):
    return make.part("Impeller")


def want(make, part, quantity=2, **facts) -> Need:
    return add_need(make.job(), part=part, words="", quantity=D(quantity), **facts)


def kept(part) -> list[tuple[int, str]]:
    """Return what is kept of a part, by job."""
    return [(row.job.number, str(row.quantity)) for row in kept_for(part.boat, [part.pk])[part.pk]]


def test_what_lies_free_is_kept_and_let_go(make, part):
    make.stock(part, make.place(), 3)
    need = want(make, part)
    keeping.keep(need, D(2), today=make.today)
    assert kept(part) == [(1, "2")]
    other = want(make, part)
    error = refuse("more_than_free", lambda: keeping.keep(other, D(2), today=make.today))
    assert error.sentence == "1 of Impeller lies free, not 2."
    keeping.keep(other, D(1), today=make.today)
    keeping.keep(need, D(0), today=make.today)
    assert kept(part) == [(2, "1")]


def test_what_is_of_no_use_or_away_is_not_kept(make, part, who):
    """Out of date, to overhaul, away, kept by level, in words: each says why not."""
    make.stock(part, make.place(), 1, expires_on=make.today - timedelta(days=1))
    forwarder = add_place(make.boat, kind="area", parent=None, name="Forwarder", where="away")
    make.stock(part, make.place(parent=forwarder), 4)
    job = make.job()
    off.take_off(job, part=part, name="", condition="overhaul", place=make.place(), **who)
    refuse("more_than_free", lambda: keeping.keep(want(make, part), D(1), today=make.today))
    level = make.part(kept="level")
    refuse("not_counted", lambda: keeping.keep(want(make, level), D(1), today=make.today))
    words = add_need(job, part=None, words="a long drill", quantity=D(1))
    refuse("words", lambda: keeping.keep(words, D(1), today=make.today))
    refuse("negative", lambda: keeping.keep(words, D(-1), today=make.today))


def test_no_more_is_kept_than_the_job_still_wants(make, part, who):
    held = make.stock(part, make.place(), 9)
    need = want(make, part, 3)
    refuse("more_than_wanted", lambda: keeping.keep(need, D(4), today=make.today))
    stow.take(held, D(2), job=need.job, **who)
    refuse("more_than_wanted", lambda: keeping.keep(need, D(2), today=make.today))
    keeping.keep(need, D(1), today=make.today)
    assert kept(part) == [(1, "1")]


def test_what_is_taken_for_the_job_uses_its_keeping_up(make, part, who):
    held = make.stock(part, make.place(), 3)
    need = want(make, part, 2)
    keeping.keep(need, D(2), today=make.today)
    entry = stow.take(held, D(1), job=need.job, **who)
    assert kept(part) == [(1, "1")]
    ledger.undo(entry, by=make.owner, today=make.today)
    assert kept(part) == [(1, "2")]


def test_nobody_takes_it_unasked(make, part, who):
    held = make.stock(part, make.place(), 3)
    keeping.keep(want(make, part, 2), D(2), today=make.today)
    stow.take(held, D(1), **who)
    error = refuse("kept_for", lambda: stow.take(held, D(2), **who))
    assert error.sentence == "2 of these are kept for job 1. Tick “take all the same” to take them."
    refuse("kept_for", lambda: stow.take(held, D(1), job=make.job(), **who))
    refuse("kept_for", lambda: stow.correct_and_take(held, D(2), D(1), **who))
    stow.correct_and_take(held, D(3), D(1), **who)
    stow.take(held, D(1), agreed=True, **who)
    assert kept(part) == [(1, "2")]


@pytest.mark.parametrize("state", ["done", "later"])
def test_a_job_that_is_done_or_left_keeps_nothing(make, part, who, state):
    held = make.stock(part, make.place(), 2)
    need = want(make, part)
    keeping.keep(need, D(2), today=make.today)
    set_state(need.job, state, today=make.today)
    assert kept(part) == []
    stow.take(held, D(2), **who)


def test_one_piece_is_kept_as_one_piece(make, who):
    """The shortest that is long enough; nobody cuts it too short, though there is more rope lying about."""
    rope = make.part("Rope", unit="m", in_pieces=True)
    place = make.place("F2")
    for length in (30, 18, 9):
        stow.put_in(rope, place, D(length), **who)
    need = want(make, rope, 15, one_piece=True)
    keeping.keep(need, D(15), today=make.today)
    need.refresh_from_db()
    assert need.reserved_lot.number == 2
    piece = rope.holdings.get(lot__number=2)
    refuse("kept_for", lambda: stow.take(piece, D(4), **who))
    refuse("kept_for", lambda: pieces.cut_and_keep(piece, D(4), make.place(), **who))
    stow.take(piece, D(3), **who)
    stow.take(rope.holdings.get(lot__number=3), D(9), **who)
    other = want(make, rope, 20, one_piece=True)
    keeping.keep(other, D(20), today=make.today)
    refuse("no_piece", lambda: keeping.keep(want(make, rope, 16, one_piece=True), D(16), today=make.today))


def test_a_need_that_changes_lets_go_what_no_longer_fits(make, part):
    make.stock(part, make.place(), 3)
    need = want(make, part, 3)
    keeping.keep(need, D(3), today=make.today)
    facts = needs.facts_of(need) | {"quantity": D(1)}
    assert needs.change_need(need, **facts).reserved == 1
    assert needs.change_need(need, **facts | {"part": make.part()}).reserved == 0
