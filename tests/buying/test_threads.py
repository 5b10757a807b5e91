"""Several people at the same orders at once."""

import pytest

from refit.boat.refusals import Refused
from refit.buying.actions import deliveries, orders
from refit.buying.actions.deliveries import Arrival
from refit.buying.models import Delivery, Order, Supplier
from refit.carry.ledger import differences
from refit.stores.models import Holding
from tests.at_once import at_once
from tests.factory import D, Factory

pytestmark = [pytest.mark.threads, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def make() -> Factory:
    return Factory.start()


def codes(outcomes: list) -> list[str]:
    """Return what happened: `done`, or the code of a refusal; anything else is a fault of ours."""
    for outcome in outcomes:
        if isinstance(outcome, BaseException) and not isinstance(outcome, Refused):
            raise outcome
    return sorted(o.code if isinstance(o, Refused) else "done" for o in outcomes)


def test_two_book_in_the_same_line_at_once(make):
    """The parcel came once: the second is told that nothing is to come."""
    order = make.order(make.line(make.part(), packs=D(4)))
    came = [Arrival(order.lines.get(), D(4))]
    deed = lambda: deliveries.book_in(make.boat, came, by=make.owner, on=make.today, today=make.today)  # noqa: E731
    assert codes(at_once([deed] * 4)) == ["done"] + ["more_than_ordered"] * 3
    assert Holding.objects.get().quantity == 4
    assert Delivery.objects.count() == 1
    assert list(differences()) == []


def test_two_undo_the_same_delivery_at_once(make):
    """It is taken back once."""
    order = make.order(make.line(make.part(), packs=D(4)))
    delivery = deliveries.book_in(
        make.boat, [Arrival(order.lines.get(), D(4))], by=make.owner, on=make.today, today=make.today
    )
    deed = lambda: deliveries.undo_delivery(delivery, by=make.owner, today=make.today)  # noqa: E731
    assert codes(at_once([deed] * 3)) == ["done", "undone_already", "undone_already"]
    assert Holding.objects.get().quantity == 0
    assert list(differences()) == []


def test_cancelled_and_booked_in_at_once(make):
    """Either it came or it is cancelled, never both."""
    order = make.order(make.line(make.part(), packs=D(4)))
    came = [Arrival(order.lines.get(), D(4))]
    outcomes = at_once(
        [
            lambda: deliveries.book_in(make.boat, came, by=make.owner, on=make.today, today=make.today),
            lambda: orders.cancel_order(order),
        ]
    )
    assert codes(outcomes) in (["arrived", "done"], ["done", "not_placed"])
    order.refresh_from_db()
    assert order.state in ("arrived", "cancelled")
    assert list(differences()) == []


def test_orders_written_at_once_have_numbers_that_follow_each_other(make):
    """None twice, none left out; a supplier typed by all of them is made once."""
    deed = lambda: make.draft(supplier=orders.add_supplier(make.boat, "Chandler"))  # noqa: E731
    assert codes(at_once([deed] * 8)) == ["done"] * 8
    assert sorted(Order.objects.values_list("number", flat=True)) == list(range(1, 9))
    assert Supplier.objects.count() == 1
    assert list(differences()) == []
