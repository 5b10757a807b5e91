"""Several people at once: exactly one takes the last one, nothing is lost, the ledger stays clean.

Each person is a thread with a connection of its own, on whatever database the tests run on.
"""

import random
from collections.abc import Callable
from decimal import Decimal

import pytest
from django.db import transaction

from refit.boat import formkeys
from refit.boat.actions import labels
from refit.boat.models import FormKey, Label
from refit.boat.refusals import Refused
from refit.carry.ledger import differences
from refit.stores.actions import ledger, stow
from refit.stores.actions.stow import Counted
from refit.stores.models import Entry, EntryKind, Holding, Movement, Reason
from refit.work.models import Job
from tests.at_once import at_once
from tests.factory import D, Factory

pytestmark = [pytest.mark.threads, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def make() -> Factory:
    return Factory.start()


def codes(outcomes: list[object]) -> list[str]:
    """Return what happened: `done`, or the code of a refusal; anything else is a fault of ours."""
    found = []
    for outcome in outcomes:
        if isinstance(outcome, Refused):
            found.append(outcome.code or "")
        elif isinstance(outcome, BaseException):
            raise outcome
        else:
            found.append("done")
    return sorted(found)


@pytest.mark.parametrize("people", [2, 8])
def test_exactly_one_takes_the_last_one(make, people):
    """The others are told how many there are."""
    holding = make.stock(make.part(), make.place(), 1)
    deed = lambda: stow.take(holding, D(1), by=make.owner, on=make.today, today=make.today)  # noqa: E731
    assert codes(at_once([deed] * people)) == ["done"] + ["more_than_there"] * (people - 1)
    holding.refresh_from_db()
    assert holding.quantity == 0
    assert list(differences()) == []


def test_the_first_two_put_something_in_at_once(make):
    """The holding is not there yet: the part is the lock."""
    part, place = make.part(), make.place()
    deed = lambda: stow.put_in(part, place, D(2), by=make.owner, on=make.today, today=make.today)  # noqa: E731
    assert codes(at_once([deed] * 4)) == ["done"] * 4
    assert Holding.objects.get().quantity == 8
    assert list(differences()) == []


def test_a_thing_is_undone_once_at_once(make):
    """Two press Undo: one does it, the other hears that it is done."""
    holding = make.stock(make.part(), make.place(), 5)
    entry = stow.take(holding, D(2), by=make.owner, on=make.today, today=make.today)
    deed = lambda: ledger.undo(Entry.objects.get(pk=entry.pk), by=make.owner, today=make.today)  # noqa: E731
    assert codes(at_once([deed] * 3)) == ["done", "undone_already", "undone_already"]
    holding.refresh_from_db()
    assert holding.quantity == 5
    assert list(differences()) == []


def test_a_count_and_takes_at_once(make):
    """Whoever comes first, the count says what was there, and what was taken afterwards is gone."""
    part, place = make.part(), make.place()
    holding = make.stock(part, place, 50)
    takes = [
        lambda: stow.take(holding, D(1), by=make.owner, on=make.today, today=make.today) for _ in range(7)
    ]
    deeds: list[Callable[[], object]] = [
        *takes[:4],
        lambda: stow.count(place, [Counted(part, D(20))], by=make.owner, on=make.today, today=make.today),
        *takes[4:],
    ]
    assert codes(at_once(deeds)) == ["done"] * 8
    count = Entry.objects.get(kind=EntryKind.COUNT)
    later = Movement.objects.filter(entry_id__gt=count.pk, reason=Reason.USED).count()
    holding.refresh_from_db()
    assert holding.quantity == 20 - later
    assert list(differences()) == []


def test_the_same_form_twice_at_once_acts_once(make):
    """The key is kept in the transaction that acts; the second one finds it there."""
    holding = make.stock(make.part(), make.place(), 5)
    key, content = formkeys.new_key(), formkeys.digest([("quantity", "1")])

    def send() -> object:
        try:
            with transaction.atomic():
                formkeys.claim(make.boat, make.owner, key, content)
                return stow.take(holding, D(1), by=make.owner, on=make.today, today=make.today)
        except formkeys.AlreadyDone as already:
            return already.done_at

    outcomes = at_once([send] * 4)
    assert codes(outcomes) == ["done"] * 4
    assert len([outcome for outcome in outcomes if isinstance(outcome, Entry)]) == 1
    holding.refresh_from_db()
    assert holding.quantity == 4
    assert FormKey.objects.count() == 1


def test_a_form_that_was_refused_leaves_its_key_free(make):
    """What was not done can be sent again."""
    holding = make.stock(make.part(), make.place(), 1)
    key, content = formkeys.new_key(), formkeys.digest([("quantity", "2")])

    def send() -> None:
        with transaction.atomic():
            formkeys.claim(make.boat, make.owner, key, content)
            stow.take(holding, D(2), by=make.owner, on=make.today, today=make.today)

    for _ in range(2):
        with pytest.raises(Refused):
            send()
    assert FormKey.objects.count() == 0


def test_labels_minted_at_once_are_all_different(make):
    """A code is given out once."""
    before = Label.objects.count()
    made = at_once([lambda: labels.mint(make.boat, 25)] * 6)
    assert codes(made) == ["done"] * 6
    assert len({label.code for sheet in made for label in sheet}) == 150
    assert Label.objects.count() == before + 150
    assert list(differences()) == []


def test_one_blank_label_goes_to_one_place(make):
    """Two stick the same blank label to two lockers."""
    label = labels.mint(make.boat, 1)[0]
    places = [make.place(), make.place()]
    outcomes = at_once([lambda: labels.bind(label, places[0]), lambda: labels.bind(label, places[1])])
    assert codes(outcomes) == ["done", "in_use"]
    assert list(differences()) == []


def test_numbers_of_jobs_made_at_once_follow_each_other(make):
    """None twice, none left out."""
    assert codes(at_once([make.job] * 8)) == ["done"] * 8
    assert sorted(Job.objects.values_list("number", flat=True)) == list(range(1, 9))


def test_one_place_is_retired_while_things_are_put_in(make):
    """Either the thing is moved along or it is refused; it never lies where nobody looks."""
    part, place, other = make.part(), make.place(), make.place()
    make.stock(part, place, 3)

    def put() -> object:
        return stow.put_in(part, place, D(1), by=make.owner, on=make.today, today=make.today)

    def retire() -> object:
        return stow.retire_place(place, other, by=make.owner, on=make.today, today=make.today)

    outcomes = codes(at_once([put, retire, put]))
    assert set(outcomes) <= {"done", "place"}
    assert not Holding.objects.there().filter(place=place).exists()
    assert Holding.objects.get(place=other).quantity == 3 + outcomes.count("done") - 1
    assert list(differences()) == []


def test_eight_people_work_on_the_same_parts(make):
    """800 random deeds: nothing comes from nowhere, nothing is lost."""
    parts = [make.part() for _ in range(3)]
    places = [make.place() for _ in range(4)]
    for part in parts:
        for place in places:
            make.stock(part, place, 20)

    def person(seed: int) -> Callable[[], Decimal]:
        def work() -> Decimal:
            luck, balance = random.Random(seed), D(0)
            for _ in range(100):
                part, place = luck.choice(parts), luck.choice(places)
                quantity = D(luck.choice(["1", "0.5", "3", "0.001"]))
                holding = Holding.objects.get(part=part, place=place)
                try:
                    deed = luck.randrange(3)
                    if deed == 0:
                        stow.take(holding, quantity, by=make.owner, on=make.today, today=make.today)
                        balance -= quantity
                    elif deed == 1:
                        stow.put_in(part, place, quantity, by=make.owner, on=make.today, today=make.today)
                        balance += quantity
                    else:
                        to = luck.choice([other for other in places if other != place])
                        stow.move_things(
                            [(holding, quantity)], to, by=make.owner, on=make.today, today=make.today
                        )
                except Refused as refused:
                    if refused.code != "more_than_there":
                        raise
            return balance

        return work

    outcomes = at_once([person(seed) for seed in range(8)])
    assert codes(outcomes) == ["done"] * 8
    held = sum(Holding.objects.values_list("quantity", flat=True), D(0))
    assert held == D(240) + sum(outcomes, D(0))
    assert list(differences()) == []
