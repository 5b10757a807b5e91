"""Hundreds of random cuts, kits opened, things taken off and kept for jobs, against the plain model of `test_random`."""

import random

import pytest

from refit.boat.refusals import Refused
from refit.buying.actions.deliveries import Arrival, book_in
from refit.buying.drawn import value
from refit.buying.models import Line
from refit.carry.ledger import differences
from refit.stores.actions import keeping, kits, ledger, off, pieces, stow
from refit.stores.actions.parts import add_need
from refit.stores.kept import lying
from refit.stores.models import Entry, EntryKind, Holding, Movement, Need
from tests.factory import D, Factory
from tests.stores.test_random import Model

LENGTHS = [D("3"), D("0.4"), D("7.25"), D("12"), D("0.001")]
BITS = D("0.5")


class World:
    """The boat's rope, kit and thing taken off, and the model beside them."""

    def __init__(self, make: Factory, luck: random.Random) -> None:
        self.make, self.luck, self.model = make, luck, Model()
        self.who = {"by": make.owner, "on": make.today, "today": make.today}
        self.rope = make.part("Rope", unit="m", in_pieces=True, bits_under=BITS)
        self.kit, self.seal, self.belt = make.part("Kit"), make.part("Seal"), make.part("Belt")
        kits.put_in_kit(self.kit, self.seal, D(3))
        kits.put_in_kit(self.kit, self.belt, D("0.5"))
        self.places = [make.place() for _ in range(3)]
        self.needs = [add_need(make.job(), part=self.rope, words="", quantity=D(20)) for _ in range(3)]
        self.done: list[Entry] = []

    def key(self, part, place, lot=None) -> tuple:
        return (part.pk, place.pk, lot.pk if lot else None)

    def write(self, entry: Entry, *changes: tuple) -> None:
        for key, quantity in changes:
            self.model.add(entry.pk, key, quantity)
        self.done.append(entry)

    def piece(self) -> Holding | None:
        held = list(
            Holding.objects.there().filter(part=self.rope).select_related("part", "lot", "place", "boat")
        )
        return self.luck.choice(held) if held else None

    def put(self) -> None:
        place, length = self.luck.choice(self.places), self.luck.choice(LENGTHS)
        entry = stow.put_in(self.rope, place, length, **self.who)
        self.write(entry, (self.key(self.rope, place, entry.movements.get().lot), length))

    def cut(self) -> None:
        held, length = self.piece(), self.luck.choice(LENGTHS)
        if held is None:
            return
        need = self.luck.choice(self.needs)
        deed = lambda: stow.take(held, length, job=need.job, agreed=True, **self.who)  # noqa: E731
        if length > held.quantity:
            with pytest.raises(Refused):
                deed()
            return
        rest = held.quantity - length
        gone = length + (rest if rest < BITS else D(0))
        self.write(deed(), (self.key(self.rope, held.place, held.lot), -gone))

    def cut_and_keep(self) -> None:
        held, length, to = self.piece(), self.luck.choice(LENGTHS), self.luck.choice(self.places)
        if held is None:
            return
        deed = lambda: pieces.cut_and_keep(held, length, to, agreed=True, **self.who)  # noqa: E731
        if length >= held.quantity:
            with pytest.raises(Refused):
                deed()
            return
        rest = held.quantity - length
        gone = length + (rest if rest < BITS else D(0))
        entry = deed()
        made = entry.movements.get(to_place__isnull=False).lot
        self.write(
            entry, (self.key(self.rope, held.place, held.lot), -gone), (self.key(self.rope, to, made), length)
        )

    def buy_kit(self) -> None:
        place, price = self.places[0], self.luck.choice(["10.00", "0.01", "33.33"])
        line = self.make.order(self.make.line(self.kit, price=D(price))).lines.get()
        delivery = book_in(self.make.boat, [Arrival(line, D(1), place=place)], **self.who)
        self.model.add(delivery.entry.pk, self.key(self.kit, place), D(1))

    def open_kit(self) -> None:
        held, to = Holding.objects.filter(part=self.kit).first(), self.luck.choice(self.places)
        if held is None:
            return
        if held.quantity < 1:
            with pytest.raises(Refused):
                kits.open_kit(held, to, **self.who)
            return
        entry = kits.open_kit(held, to, **self.who)
        self.write(
            entry,
            (self.key(self.kit, held.place), D(-1)),
            (self.key(self.seal, to), D(3)),
            (self.key(self.belt, to), D("0.5")),
        )

    def take_off(self) -> None:
        place = self.luck.choice(self.places)
        condition = self.luck.choice(["good", "overhaul", "scrap"])
        entry = off.take_off(
            self.needs[0].job, part=self.seal, name="", condition=condition, place=place, **self.who
        )
        self.write(entry, (self.key(self.seal, place, entry.movements.get().lot), D(1)))

    def keep(self) -> None:
        need = Need.objects.get(pk=self.luck.choice(self.needs).pk)
        quantity = self.luck.choice([*LENGTHS, D(0)])
        free, code = lying(self.rope, self.make.today).free(need), ""
        try:
            keeping.keep(need, quantity, today=self.make.today)
        except Refused as refused:
            code = refused.code
        assert code in ("", "more_than_free", "more_than_wanted")
        assert (code == "more_than_free") <= (quantity > free)
        assert bool(code) or quantity <= free

    def undo(self) -> None:
        if not self.done:
            return
        entry = self.done.pop(self.luck.randrange(len(self.done)))
        if self.model.can_undo(entry.pk):
            ledger.undo(entry, by=self.make.owner, today=self.make.today)
            self.model.undo(entry.pk)
        else:
            with pytest.raises(Refused):
                ledger.undo(entry, by=self.make.owner, today=self.make.today)


@pytest.mark.parametrize("seed", [1, 2])
def test_random_cuts_kits_and_keeping_leave_what_a_plain_model_says(make, seed):
    """Every piece has its length, the ledger is clean, and no penny of the kits' cost is lost between the parts."""
    luck = random.Random(seed)
    world = World(make, luck)
    deeds = [
        world.put,
        world.put,
        world.cut,
        world.cut_and_keep,
        world.open_kit,
        world.take_off,
        world.keep,
        world.undo,
    ]
    for number in range(220):
        if number % 20 == 0:
            world.buy_kit()
        luck.choice(deeds)()
    held = {(h.part_id, h.place_id, h.lot_id): h.quantity for h in Holding.objects.all() if h.quantity}
    assert held == {key: quantity for key, quantity in world.model.held.items() if quantity}
    assert list(differences()) == []
    assert value(make.boat).worth == sum(Line.objects.values_list("landed", flat=True))
    assert Entry.objects.filter(kind=EntryKind.CUT).count() > 20
    assert Movement.objects.filter(reason="bits").exists()
