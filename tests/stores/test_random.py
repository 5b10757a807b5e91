"""Thousands of random deeds in the stores against a plain model: two dictionaries and no database."""

import random
from collections import defaultdict

import pytest

from refit.boat.refusals import Refused
from refit.carry.ledger import differences
from refit.stores.actions import ledger, stow
from refit.stores.actions.stow import Counted
from refit.stores.models import Entry, Holding, Kept
from tests.factory import D, Factory

QUANTITIES = [D("1"), D("2"), D("0.5"), D("0.001"), D("7.25")]


class Model:
    """What lies where, worked out by hand: quantities of what is counted, levels of the rest."""

    def __init__(self) -> None:
        self.held = defaultdict(lambda: D(0))
        self.level = defaultdict(str)
        self.changes: dict[int, list] = {}  # of each deed: (table, key, by how much, or from and to)

    def add(self, deed: int, key: tuple, quantity) -> None:
        self.held[key] += quantity
        self.changes.setdefault(deed, []).append(("held", key, quantity, None))

    def say(self, deed: int, key: tuple, level: str) -> None:
        self.changes.setdefault(deed, []).append(("level", key, self.level[key], level))
        self.level[key] = level

    def can_undo(self, deed: int) -> bool:
        after = dict(self.held)
        for table, key, old, new in self.changes.get(deed, []):
            if table == "level" and self.level[key] != new:
                return False
            if table == "held":
                after[key] = after.get(key, D(0)) - old
        return all(quantity >= 0 for quantity in after.values())

    def undo(self, deed: int) -> None:
        for table, key, old, _ in self.changes.get(deed, []):
            if table == "held":
                self.held[key] -= old
            else:
                self.level[key] = old


def one_deed(make: Factory, luck: random.Random, model: Model, parts: list, places: list, done: list) -> None:
    """Do one random deed in the stores and in the model; a refusal must be one that the model foresees."""
    part, place = luck.choice(parts), luck.choice(places)
    key, quantity = (part.pk, place.pk), luck.choice(QUANTITIES)
    who = {"by": make.owner, "on": make.today, "today": make.today}
    holding = Holding.objects.filter(part=part, place=place, lot=None).first()
    deed = luck.choice(["take", "put", "put", "move", "count", "correct", "missing", "level", "undo"])
    if part.kept == Kept.LEVEL:
        if deed == "undo":
            pass
        else:
            level = luck.choice(["fine", "low", "gone"])
            if model.level[key] != level:
                model.say(stow.say_level(part, place, level, **who).pk, key, level)
            else:
                with pytest.raises(Refused):
                    stow.say_level(part, place, level, **who)
            return
    if deed == "undo":
        if not done:
            return
        entry = done.pop(luck.randrange(len(done)))
        if model.can_undo(entry.pk):
            ledger.undo(entry, by=make.owner, today=make.today)
            model.undo(entry.pk)
        else:
            with pytest.raises(Refused):
                ledger.undo(entry, by=make.owner, today=make.today)
        return
    there = model.held[key]
    if deed == "put" or holding is None:
        entry = stow.put_in(part, place, quantity, **who)
        model.add(entry.pk, key, quantity)
    elif deed == "take":
        if there < quantity:
            with pytest.raises(Refused):
                stow.take(holding, quantity, **who)
            return
        entry = stow.take(holding, quantity, **who)
        model.add(entry.pk, key, -quantity)
    elif deed == "move":
        to = luck.choice([other for other in places if other != place])
        if there < quantity:
            with pytest.raises(Refused):
                stow.move_things([(holding, quantity)], to, **who)
            return
        entry = stow.move_things([(holding, quantity)], to, **who)
        model.add(entry.pk, key, -quantity)
        model.add(entry.pk, (part.pk, to.pk), quantity)
    elif deed == "count":
        entry, _ = stow.count(place, [Counted(part, quantity)], **who)
        model.add(entry.pk, key, quantity - there)
    elif deed == "correct":
        entry = stow.correct_and_take(holding, quantity * 2, quantity, **who)
        model.add(entry.pk, key, quantity - there)
    else:
        if there <= 0:
            with pytest.raises(Refused):
                stow.not_there(holding, **who)
            return
        entry = stow.not_there(holding, **who)
        model.add(entry.pk, key, -there)
    done.append(entry)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_thousand_random_deeds_leave_what_a_plain_model_says(make, seed):
    """Holdings equal the model's, and the ledger is clean; a refused deed left no trace in either."""
    luck = random.Random(seed)
    parts = [make.part(), make.part(unit="m"), make.part(kept="level")]
    places = [make.place() for _ in range(3)]
    model, done = Model(), []
    for number in range(700):
        one_deed(make, luck, model, parts, places, done)
        if number % 100 == 0:
            assert list(differences()) == []
    counted = {(h.part_id, h.place_id): h.quantity for h in Holding.objects.all() if h.quantity}
    assert counted == {key: quantity for key, quantity in model.held.items() if quantity}
    levels = {(h.part_id, h.place_id): h.level for h in Holding.objects.all() if h.level}
    assert levels == {key: level for key, level in model.level.items() if level}
    assert Entry.objects.count() > 400
    assert list(differences()) == []
