"""An order corrected after it was placed: its head, its lines, and the record of who changed what."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from refit.buying.actions import deliveries
from refit.buying.actions.deliveries import Arrival
from refit.buying.actions.orders import ChargeFacts
from refit.buying.models import Correction, Line, Order
from tests.factory import Factory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]
D = Decimal


def where(make, order):
    return f"/{make.boat.slug}/orders/{order.number}/correct/"


@pytest.fixture
def order(make):
    """Two lines of 10.00 and 30.00, with 4.00 of freight."""
    lines = [make.line(make.part("Pump"), price=D("10.00")), make.line(words="Hose", price=D("30.00"))]
    return make.order(*lines, charges=(ChargeFacts("freight", D("4.00")),), on=make.today - timedelta(9))


def filled(client, make, order, **changes):
    """Return what the page's form would send, with some boxes changed."""
    sheet = client.get(where(make, order)).context["sheet"]
    data = {}
    for form in (sheet.head, *sheet.lines):
        for box in form:
            value = box.value()
            if value not in (None, False, ""):
                data[box.html_name] = value.isoformat() if hasattr(value, "isoformat") else str(value)
    return {**data, **changes}


def landed(order):
    return Order.objects.get(pk=order.pk).landed


def test_sending_the_form_as_it_is_changes_nothing(make, order, as_owner):
    answer = as_owner.post(where(make, order), filled(as_owner, make, order), follow=True)
    assert "Nothing was changed." in answer.content.decode()
    assert not Correction.objects.exists()
    assert landed(order) == 4400


def test_costs_follow_at_once_and_the_record_says_what_it_was(make, order, as_crew):
    job = make.job("Plumbing", system=make.other_system)
    data = filled(as_crew, make, order, why="Misread the paper")
    data |= {"line-0-packs": "3", "line-1-each": "20.00", "line-1-job": "Plumbing", "reference": "NM-7"}
    data.pop("line-1-system", None)
    text = as_crew.post(where(make, order), data, follow=True).content.decode()
    assert landed(order) == 3000 + 2000 + 400
    assert "£54.00 all in" in text
    hose = order.lines.get(position=1)
    assert (hose.job, hose.system, hose.charges) == (job, make.other_system, 160)
    notes = {note.what: (note.before, note.after) for note in Correction.objects.all()}
    assert notes["Line 1, how many"] == ("1", "3")
    assert notes["Line 2, price"] == ("30", "20")
    assert notes["Reference"] == ("", "NM-7")
    assert notes["Why"] == ("", "Misread the paper")
    assert sum(Correction.objects.values_list("difference", flat=True)) == 1000
    assert set(Correction.objects.values_list("by", flat=True)) == {make.crew.pk}
    assert "What was changed" in text
    assert "Crew" in text


def test_a_line_is_added_and_one_taken_off(make, order, as_owner):
    valve = make.part("Valve", system=make.system)
    data = filled(as_owner, make, order)
    data |= {"line-1-off": "on", "line-2-what": "Valve", "line-2-packs": "2", "line-2-total": "18.00"}
    as_owner.post(where(make, order), data)
    lines = list(order.lines.order_by("position"))
    assert [(line.part, line.amount) for line in lines][1] == (valve, 1800)
    assert len(lines) == 2
    assert landed(order) == 1000 + 1800 + 400


def test_a_part_is_fixed_once_it_came_and_no_less_is_ordered_than_came(make, order, as_owner):
    pump = order.lines.get(position=0)
    deliveries.book_in(make.boat, [Arrival(pump, D(1))], by=make.owner, on=make.today, today=make.today)
    for changes in (
        {"line-0-part": "", "line-0-what": "Other"},
        {"line-0-packs": "0.5"},
        {"line-0-off": "on"},
    ):
        answer = as_owner.post(where(make, order), filled(as_owner, make, order, **changes))
        assert answer.status_code == 422
    as_owner.post(where(make, order), filled(as_owner, make, order, **{"line-0-each": "11"}))
    assert not Correction.objects.filter(what="Line 1, what").exists()
    assert landed(order) == 1100 + 3000 + 400


def test_a_gift_is_worth_something_and_costs_nothing(make, order, as_owner):
    data = filled(as_owner, make, order, **{"line-1-gift_value": "55.00"})
    answer = as_owner.post(where(make, order), data)
    assert answer.status_code == 422
    assert "gift_value" in answer.context["sheet"].lines[1].errors
    data |= {"line-1-each": "0", "line-1-second_hand": "on"}
    text = as_owner.post(where(make, order), data, follow=True).content.decode()
    hose = order.lines.get(position=1)
    assert (hose.gift_value, hose.landed, hose.second_hand) == (5500, 0, True)
    assert "gift, worth 55.00" in text
    assert "second-hand" in text


def test_a_warranty_swap_stands_at_nil_in_the_place_of_another(make, order, as_owner):
    old = order.lines.get(position=0)
    data = filled(as_owner, make, order)
    data |= {"line-2-what": "Pump", "line-2-each": "0", "line-2-replaces": str(old.pk)}
    data |= {"line-2-system": str(make.system.pk)}
    text = as_owner.post(where(make, order), data, follow=True).content.decode()
    swap = Line.objects.get(replaces=old)
    assert (swap.landed, swap.part) == (0, old.part)
    assert "sent free in the place of" in text


@pytest.mark.parametrize(
    "changes",
    [
        {"supplier": ""},
        {"ordered_on": "2999-01-01"},
        {"line-0-packs": "-1"},
        {"line-0-what": ""},
        {"line-0-part": "987654"},
        {"line-0-job": "No such job anywhere"},
        {"line-0-off": "on", "line-1-off": "on"},
        {"line-0-replaces": "987654", "line-0-each": "0"},
        {"line-0-place": "Nowhere"},
    ],
)
def test_what_cannot_be_right_changes_nothing(make, order, as_owner, changes):
    answer = as_owner.post(where(make, order), filled(as_owner, make, order, **changes))
    assert answer.status_code == 422
    assert landed(order) == 4400
    assert order.lines.count() == 2
    assert not Correction.objects.exists()


def test_a_line_of_another_boat_is_not_taken_in(make, order, as_owner):
    theirs = Factory.start("Other Boat", prefix="other-").order().lines.get()
    data = filled(as_owner, make, order) | {"line-0-line": str(theirs.pk)}
    as_owner.post(where(make, order), data)
    theirs.refresh_from_db()
    assert theirs.order.number == 1
    assert theirs.boat_id != make.boat.pk
    assert theirs.amount == 1000


def test_the_same_form_twice_corrects_once(make, order, as_owner):
    data = filled(as_owner, make, order, **{"line-2-what": "Clips", "line-2-each": "1"})
    data |= {"line-2-system": str(make.system.pk), "form_key": "same-key-3"}
    for _ in range(2):
        assert as_owner.post(where(make, order), data).status_code == 302
    assert order.lines.count() == 3


def test_who_may_not_is_refused(make, order, as_viewer, as_trade, as_outsider, as_owner):
    address = where(make, order)
    assert [who.get(address).status_code for who in (as_viewer, as_trade, as_outsider)] == [403, 403, 404]
    assert as_owner.get(where(make, make.draft())).status_code == 404
    assert as_owner.get(f"/{make.boat.slug}/orders/{10**30}/correct/").status_code == 404
    assert as_owner.put(address).status_code == 405


def test_a_long_order_costs_no_more_queries_than_a_short_one(make, as_owner):
    def queries(count):
        lines = [make.line(make.part(), job=make.job(), place=make.place()) for _ in range(count)]
        address = where(make, make.order(*lines))
        with CaptureQueriesContext(connection) as seen:
            assert as_owner.get(address).status_code == 200
        return len(seen)

    assert queries(2) == queries(25)


def test_what_is_out_of_use_by_now_can_stay(make, as_owner):
    place, part = make.place("Q9"), make.part("Old pump")
    order = make.order(make.line(part, place=place))
    type(place).objects.filter(pk=place.pk).update(retired_at="2020-01-01T00:00Z")
    type(part).objects.filter(pk=part.pk).update(retired_at="2020-01-01T00:00Z")
    answer = as_owner.post(where(make, order), filled(as_owner, make, order, reference="R"))
    assert answer.status_code == 302
    assert order.lines.get().place == place


def test_names_are_shown_as_typed_and_run_nothing(make, order, as_owner):
    data = filled(as_owner, make, order, reference="<script>x</script>", note="=1+1‮")
    text = as_owner.post(where(make, order), data, follow=True).content.decode()
    assert "<script>x" not in text
    assert "&lt;script&gt;x" in text
