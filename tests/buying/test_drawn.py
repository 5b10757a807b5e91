"""What jobs drew from stores at the moving average: replayed, never stored, unknown where nobody knows."""

import pytest

from refit.boat.models import Location
from refit.buying.actions import deliveries, refunds
from refit.buying.actions.deliveries import Arrival
from refit.buying.actions.orders import ChargeFacts
from refit.buying.actions.refunds import Refund
from refit.buying.drawn import Taken, Value, drawn, value
from refit.stores.actions import stow
from refit.stores.actions.ledger import undo
from refit.stores.models import Holding, Part
from refit.work.models import Job
from tests.factory import D, Factory

pytestmark = pytest.mark.usefixtures("clean_ledger")


def bought(make: Factory, part: Part, place: Location, quantity: int, price: str, **facts):
    """Buy so many of a part and stow them."""
    to_job = facts.pop("to_job", False)
    order = make.order(make.line(part, packs=D(quantity), price=D(price), **facts))
    came = Arrival(order.lines.get(), D(quantity), place=place, to_job=to_job)
    deliveries.book_in(make.boat, [came], by=make.owner, on=make.today, today=make.today)
    return order


def take(make: Factory, part: Part, quantity: int, job: Job | None = None):
    held = Holding.objects.get(part=part, quantity__gt=0)
    return stow.take(held, D(quantity), by=make.owner, on=make.today, today=make.today, job=job)


def costs(job: Job) -> list[tuple[str, int, int, int]]:
    def plain(row: Taken):
        return row.part.name, int(row.quantity), row.cost, int(row.unknown)

    return [plain(row) for row in drawn(job.boat, job.pk)]


def test_the_published_example_of_the_moving_average(make: Factory):
    """OpenStax, Principles of Accounting 1, 10.3, perpetual (figures from memory, arithmetic re-run).

    Open 150 at 21, sell 120, buy 225 at 27, sell 180, buy 210 at 33: left 8,902.06 of 16,155.00 in all.
    """
    part, place = make.part("Widget"), make.place()
    first, second = make.job(), make.job()
    bought(make, part, place, 150, "21.00")
    take(make, part, 120, first)
    bought(make, part, place, 225, "27.00")
    take(make, part, 180, second)
    bought(make, part, place, 210, "33.00")
    assert costs(first) == [("Widget", 120, 2520_00, 0)]
    assert costs(second) == [("Widget", 180, 4732_94, 0)]  # 26.294118 each
    assert value(make.boat).worth == 8902_06
    assert 2520_00 + 4732_94 + 8902_06 == 16155_00


def test_what_was_put_in_has_no_value_and_is_said(make: Factory):
    part, place, job = make.part("Bolt"), make.place(), make.job()
    make.stock(part, place, 5)
    take(make, part, 2, job)
    assert costs(job) == [("Bolt", 2, 0, 2)]
    assert (value(make.boat).worth, value(make.boat).parts, value(make.boat).without) == (0, 1, 1)


def test_known_and_unknown_stock_is_drawn_in_proportion(make: Factory):
    part, place, job = make.part("Bolt"), make.place(), make.job()
    make.stock(part, place, 2)
    bought(make, part, place, 2, "3.00")
    take(make, part, 2, job)
    assert costs(job) == [("Bolt", 2, 3_00, 1)]


def test_freight_and_duty_are_in_the_value(make: Factory):
    part, place = make.part("Winch"), make.place()
    freight = (ChargeFacts("freight", D("6.00")),)
    order = make.order(make.line(part, packs=D(2), price=D("10.00")), charges=freight)
    came = Arrival(order.lines.get(), D(2), place=place)
    deliveries.book_in(make.boat, [came], by=make.owner, on=make.today, today=make.today)
    assert value(make.boat).worth == 26_00


def test_straight_to_the_job_is_bought_for_it_and_not_drawn(make: Factory):
    part, place, job = make.part("Seal"), make.place(), make.job()
    bought(make, part, place, 2, "10.00")
    bought(make, part, place, 1, "90.00", job=job, to_job=True)
    assert costs(job) == []
    assert value(make.boat).worth == 20_00  # the dear one never lay in stores


def test_bought_for_the_job_and_taken_later_is_not_drawn_either(make: Factory):
    part, place, job = make.part("Seal"), make.place(), make.job()
    bought(make, part, place, 2, "10.00", job=job)
    take(make, part, 2, job)
    assert costs(job) == []


def test_only_what_it_took_beyond_is_drawn(make: Factory):
    part, place, job = make.part("Seal"), make.place(), make.job()
    bought(make, part, place, 2, "10.00", job=job)
    bought(make, part, place, 3, "10.00")
    take(make, part, 4, job)
    assert costs(job) == [("Seal", 2, 20_00, 0)]


def test_another_job_draws_what_was_bought_for_this_one(make: Factory):
    part, place, job, other = make.part("Seal"), make.place(), make.job(), make.job()
    bought(make, part, place, 2, "10.00", job=job)
    take(make, part, 1, other)
    assert costs(other) == [("Seal", 1, 10_00, 0)]


def test_what_was_undone_is_as_if_it_had_never_been(make: Factory):
    part, place, job = make.part("Seal"), make.place(), make.job()
    bought(make, part, place, 2, "10.00")
    entry = take(make, part, 2, job)
    undo(entry, by=make.owner, today=make.today)
    assert costs(job) == []
    assert value(make.boat).worth == 20_00


def test_what_came_in_and_was_undone_after_some_was_used(make: Factory):
    """Without the undone putting in, more was used than lay there that moment; the later delivery makes it up."""
    part, place, job = make.part("Seal"), make.place(), make.job()
    entry = stow.put_in(part, place, D(2), by=make.owner, on=make.today, today=make.today)
    take(make, part, 2, job)
    bought(make, part, place, 2, "10.00")
    undo(entry, by=make.owner, today=make.today)
    assert costs(job) == [("Seal", 2, 20_00, 0)]
    assert value(make.boat) == Value(worth=0, parts=0, without=0)


def test_money_back_on_goods_kept_makes_them_cheaper(make: Factory):
    part, place, job = make.part("Seal"), make.place(), make.job()
    order = bought(make, part, place, 4, "10.00")
    back = Refund("price", D("8.00"), "GBP", came_on=make.today)
    refunds.add_refund(order, list(order.lines.all()), back, by=make.owner, today=make.today)
    take(make, part, 1, job)
    assert costs(job) == [("Seal", 1, 8_00, 0)]


def test_goods_sent_back_leave_at_the_average(make: Factory):
    part, place = make.part("Seal"), make.place()
    order = bought(make, part, place, 4, "10.00")
    line = order.lines.get()
    held = Holding.objects.get(part=part)
    back = refunds.say_going_back(order, [(line, D(1), held)], by=make.owner, on=make.today)
    refunds.send_back(back, by=make.owner, on=make.today, today=make.today)
    money = Refund("goods", D("10.00"), "GBP", came_on=make.today)
    refunds.add_refund(order, [line], money, by=make.owner, today=make.today)
    assert value(make.boat).worth == 30_00


def test_moves_between_places_change_nothing(make: Factory):
    part, place, other = make.part("Seal"), make.place(), make.place()
    bought(make, part, place, 4, "10.00")
    held = Holding.objects.get(part=part)
    stow.move_things([(held, D(3))], other, by=make.owner, on=make.today, today=make.today)
    assert value(make.boat).worth == 40_00


def test_a_job_that_took_nothing_asks_once(make: Factory, django_assert_num_queries):
    job = make.job()
    with django_assert_num_queries(1):
        assert drawn(make.boat, job.pk) == []


@pytest.mark.parametrize("parts", [1, 8])
def test_drawing_takes_the_same_queries_whatever_its_length(make: Factory, django_assert_num_queries, parts):
    place, job = make.place(), make.job()
    for _ in range(parts):
        part = make.part()
        bought(make, part, place, 2, "1.00")
        take(make, part, 1, job)
    with django_assert_num_queries(3):
        assert len(drawn(make.boat, job.pk)) == parts
