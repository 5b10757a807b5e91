"""Kits opened and incomplete, things taken off the boat, bags: what moves, what counts, what it is worth."""

import pytest

from refit.boat.actions import labels
from refit.boat.actions.papers import add_paper
from refit.boat.models import PlacePaper
from refit.buying.actions.deliveries import Arrival, book_in
from refit.buying.drawn import drawn, value
from refit.buying.reading import wanted
from refit.stores import reading
from refit.stores.actions import bags, kits, ledger, needs, off, stow
from refit.stores.actions.parts import add_need
from refit.stores.models import Holding, Lot, Part
from refit.work.models import Bag
from tests.factory import D
from tests.pictures import picture
from tests.refusing import refuse

pytestmark = pytest.mark.usefixtures("clean_ledger")


@pytest.fixture
def who(make) -> dict:
    return {"by": make.owner, "on": make.today, "today": make.today}


def bought(make, part, packs, price, place, who) -> Holding:
    """Buy so many at a price and put them into a place."""
    order = make.order(make.line(part, packs=D(packs), price=D(price)))
    book_in(make.boat, [Arrival(order.lines.get(), D(packs), place=place)], **who)
    return Holding.objects.get(part=part, place=place)


def there(part) -> str:
    return str(sum((h.quantity for h in part.holdings.all()), D(0)))


@pytest.fixture
def kit(make) -> Part:
    kit = make.part("Service kit")
    kits.put_in_kit(kit, make.part("Filter"), D(2))
    kits.put_in_kit(kit, make.part("Gasket"), D(1))
    return kit


def test_an_opened_kit_is_what_was_in_it_and_whole_again_when_undone(make, kit, who):
    held = make.stock(kit, make.place("S1"), 2)
    entry = kits.open_kit(held, make.place("S2"), **who)
    assert entry.said == "Opened 1 Service kit from S1: 2 Filter, 1 Gasket into S2."
    parts = {part.name: there(part) for part in Part.objects.all()}
    assert parts == {"Service kit": "1", "Filter": "2", "Gasket": "1"}
    ledger.undo(entry, by=make.owner, today=make.today)
    assert {part.name: there(part) for part in Part.objects.all()}["Service kit"] == "2"


def test_a_kit_without_contents_or_in_itself_is_refused(make, kit, who):
    empty = make.stock(make.part(), make.place(), 1)
    refuse("empty", lambda: kits.open_kit(empty, make.place("X"), **who))
    refuse("in_itself", lambda: kits.put_in_kit(Part.objects.get(name="Filter"), kit, D(1)))
    refuse("in_itself", lambda: kits.put_in_kit(kit, kit, D(1)))
    refuse("nothing", lambda: kits.put_in_kit(kit, make.part(), D(0)))
    refuse("not_counted", lambda: kits.put_in_kit(make.part(kept="level"), kit, D(1)))


def test_the_value_of_a_kit_goes_to_its_contents_by_their_last_prices(make, kit, who):
    """100.00 for the kit; filters were bought at 30.00, a gasket at 20.00: 75 for two filters, 25 for the gasket."""
    place = make.place("S1")
    filters, gasket = Part.objects.get(name="Filter"), Part.objects.get(name="Gasket")
    for part, price in ((filters, "30.00"), (gasket, "20.00")):
        stow.take(bought(make, part, 1, price, place, who), D(1), **who)
    before = value(make.boat).worth
    held = bought(make, kit, 1, "100.00", place, who)
    assert value(make.boat).worth == before + 10000
    kits.open_kit(held, place, **who)
    assert value(make.boat).worth == before + 10000
    job = make.job()
    stow.take(Holding.objects.get(part=filters), D(2), job=job, **who)
    stow.take(Holding.objects.get(part=gasket), D(1), job=job, **who)
    assert {row.part.name: (row.cost, row.unknown) for row in drawn(make.boat, job.pk)} == {
        "Filter": (7500, 0),
        "Gasket": (2500, 0),
    }


@pytest.mark.parametrize("price", ["100.00", "0.01", "33.35"])
def test_nothing_of_a_kits_value_is_lost_when_no_price_is_known(make, kit, who, price):
    place = make.place("S1")
    held = bought(make, kit, 1, price, place, who)
    worth = value(make.boat).worth
    kits.open_kit(held, place, **who)
    after = value(make.boat)
    assert (after.worth, after.without) == (worth, 0)


def test_a_kit_in_a_kit_hands_its_value_on(make, kit, who):
    place = make.place("S1")
    big = make.part("Yearly kit")
    kits.put_in_kit(big, kit, D(1))
    kits.put_in_kit(big, make.part("Belt"), D(1))
    kits.open_kit(bought(make, big, 1, "90.00", place, who), place, **who)
    kits.open_kit(Holding.objects.get(part=kit), place, **who)
    assert value(make.boat).worth == 9000


def test_half_of_what_lay_there_had_a_value(make, kit, who):
    """One kit bought, one that nobody knows the price of: half the value goes into the kit that is opened."""
    place = make.place("S1")
    make.stock(kit, place, 1)
    held = bought(make, kit, 1, "50.00", place, who)
    kits.open_kit(held, place, **who)
    after = value(make.boat)
    assert (after.worth, after.without) == (5000, 3)


def test_an_incomplete_kit_is_not_usable_until_it_is_complete(make, kit, who):
    held = make.stock(kit, make.place("S1"), 2)
    refuse("required", lambda: kits.mark_incomplete(held, "", **who))
    entry = kits.mark_incomplete(held, "the gasket", **who)
    short = Lot.objects.get()
    assert (short.condition, short.note, str(short)) == ("short", "the gasket", "no. 1 incomplete")
    assert reading.usable_aboard(kit, make.today) == 1
    assert (reading.whereabouts(make.boat, [kit.pk], make.today)[kit.pk].unfit) == 1
    lying = Holding.objects.get(lot=short)
    refuse("incomplete", lambda: kits.open_kit(lying, make.place("X"), **who))
    refuse("numbered", lambda: kits.mark_incomplete(lying, "more", **who))
    kits.set_condition(short, "good")
    assert reading.usable_aboard(kit, make.today) == 2
    kits.open_kit(lying, make.place("Y"), **who)
    refuse("taken_since", lambda: ledger.undo(entry, by=make.owner, today=make.today))


def test_what_comes_off_the_boat_costs_nothing_and_counts_when_it_is_good(make, who):
    job, place = make.job(), make.place("S1")
    entry = off.take_off(
        job, part=None, name="Old pump", condition="overhaul", place=place, note="seized", **who
    )
    assert entry.said == "Took Old pump off the boat for job 1, no. 1, to overhaul, into S1."
    pump = Part.objects.get(name="Old pump")
    where = reading.whereabouts(make.boat, [pump.pk], make.today)[pump.pk]
    assert (where.aboard, where.unfit, where.usable) == (0, 1, [])
    lot = Lot.objects.get()
    kits.set_condition(lot, "good", "new seals")
    where = reading.whereabouts(make.boat, [pump.pk], make.today)[pump.pk]
    assert (where.aboard, where.unfit) == (1, 0)
    assert (value(make.boat).worth, value(make.boat).without) == (0, 0)
    ledger.undo(entry, by=make.owner, today=make.today)
    assert there(pump) == "0"


@pytest.mark.parametrize(
    ("facts", "code"),
    [({"condition": ""}, "condition"), ({"condition": "short"}, "condition"), ({"name": ""}, "empty")],
)
def test_what_came_off_says_what_and_how_it_is(make, who, facts, code):
    given = {"part": None, "name": "Pump", "condition": "good", "place": make.place(), **facts}
    job = make.job()
    refuse(code, lambda: off.take_off(job, **given, **who))
    level = make.part(kept="level")
    refuse("not_counted", lambda: off.take_off(job, **given | {"part": level, "condition": "good"}, **who))
    lot = Lot.objects.create(boat=make.boat, part=level, serial="B1")
    refuse("no_thing", lambda: kits.set_condition(lot, "good"))


def test_an_off_that_was_undone_takes_nothing_from_what_the_job_took(make, who):
    """The undo of taking off names the job too, and is no giving back."""
    job, part = make.job(), make.part()
    add_need(job, part=part, words="", quantity=D(2))
    entry = off.take_off(job, part=part, name="", condition="scrap", place=make.place(), **who)
    ledger.undo(entry, by=make.owner, today=make.today)
    stow.take(make.stock(part, make.place(), 2), D(1), job=job, **who)
    assert wanted([job])[job.pk][0].taken == 1


def test_a_bag_with_its_label_and_photos_in_order(make, who):
    label = labels.mint(make.boat, 1)[0]
    photos = [add_paper(make.boat, picture(str(n)), kind="photo", by=make.owner) for n in range(3)]
    bag = bags.bag_up(
        make.job(), what="Windlass", note="pawl up", place=make.place("F1"), label=label, photos=photos, **who
    )
    assert bag.place.code == label.code
    order = PlacePaper.objects.filter(location=bag.place).values_list("paper__number", flat=True)
    assert list(order) == [paper.number for paper in photos]
    need = needs.want_for_bag(bag, part=None, words="shear pin", quantity=D(2), on=make.today)
    assert (need.job, need.bag) == (bag.job, bag)
    bags.put_together(bag, on=make.today)
    refuse("together", lambda: bags.put_together(bag, on=make.today))
    bags.apart_again(bag)
    assert Bag.objects.get().back_on is None
    refuse("in_use", lambda: bags.bag_up(make.job(), what="x", note="", place=make.place(), label=label, photos=[], **who))  # fmt: skip
    refuse("required", lambda: bags.change_bag(bag, what="", note=""))
    bags.unbag(bag)
    assert not Bag.objects.exists()
