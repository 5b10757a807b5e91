"""Several people at once at a piece of rope and at what is kept: no length is cut twice, the last is kept once."""

import pytest

from refit.boat.actions import labels
from refit.carry.ledger import differences
from refit.stores.actions import bags, keeping, kits, pieces, stow
from refit.stores.actions.parts import add_need
from refit.stores.kept import kept_for
from refit.stores.models import Holding, Lot
from refit.work.models import Bag
from tests.at_once import at_once
from tests.factory import D, Factory
from tests.stores.test_threads import codes

pytestmark = [pytest.mark.threads, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def make() -> Factory:
    return Factory.start()


@pytest.fixture
def who(make) -> dict:
    return {"by": make.owner, "on": make.today, "today": make.today}


def test_two_cut_the_same_piece_and_only_one_gets_it(make, who):
    """8 m and 8 m off 12 m: the second hears how long it is by then."""
    rope = make.part("Rope", unit="m", in_pieces=True)
    piece = make.stock(rope, make.place("F2"), 12)
    outcomes = at_once([lambda: stow.take(piece, D(8), **who)] * 2)
    assert codes(outcomes) == ["done", "longer_than_it_is"]
    assert Holding.objects.get().quantity == 4
    assert list(differences()) == []


def test_pieces_cut_off_at_once_have_numbers_of_their_own(make, who):
    rope = make.part("Rope", unit="m", in_pieces=True)
    piece, place = make.stock(rope, make.place("F2"), 12), make.place("S1")
    outcomes = at_once([lambda: pieces.cut_and_keep(piece, D(2), place, **who)] * 4)
    assert codes(outcomes) == ["done"] * 4
    assert sorted(Lot.objects.values_list("number", flat=True)) == [1, 2, 3, 4, 5]
    assert Holding.objects.get(lot__number=1).quantity == 4
    assert list(differences()) == []


def test_the_last_is_kept_for_one_job(make):
    part = make.part()
    make.stock(part, make.place(), 1)
    needs = [add_need(make.job(), part=part, words="", quantity=D(1)) for _ in range(4)]
    deeds = [lambda need=need: keeping.keep(need, D(1), today=make.today) for need in needs]
    assert codes(at_once(deeds)) == ["done", *["more_than_free"] * 3]
    assert sum(row.quantity for row in kept_for(make.boat, [part.pk])[part.pk]) == 1


def test_what_is_kept_meanwhile_is_not_taken(make, who):
    """One keeps the last one while another takes it: one of the two is refused."""
    part = make.part()
    held = make.stock(part, make.place(), 1)
    need = add_need(make.job(), part=part, words="", quantity=D(1))
    outcomes = codes(
        at_once([lambda: keeping.keep(need, D(1), today=make.today), lambda: stow.take(held, D(1), **who)])
    )
    assert outcomes in (["done", "kept_for"], ["done", "more_than_free"])
    assert list(differences()) == []


def test_the_last_kit_is_opened_once(make, who):
    kit = make.part("Kit")
    kits.put_in_kit(kit, make.part("Seal"), D(3))
    held, to = make.stock(kit, make.place(), 1), make.place()
    assert codes(at_once([lambda: kits.open_kit(held, to, **who)] * 3)) == ["done", *["more_than_there"] * 2]
    assert Holding.objects.get(place=to).quantity == 3
    assert list(differences()) == []


def test_one_blank_label_goes_on_one_bag(make, who):
    label, job, place = labels.mint(make.boat, 1)[0], make.job(), make.place()
    deed = lambda: bags.bag_up(job, what="Winch", note="", place=place, label=label, photos=[], **who)  # noqa: E731
    assert codes(at_once([deed] * 2)) == ["done", "in_use"]
    assert Bag.objects.count() == 1
