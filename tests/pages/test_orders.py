"""Orders: the list, the page, and every button that moves one from state to state."""

from datetime import timedelta
from decimal import Decimal
from io import BytesIO

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from openpyxl import load_workbook

from refit.boat.actions.places import add_place
from refit.buying.actions import deliveries as arriving
from refit.buying.actions.deliveries import Arrival
from refit.buying.actions.orders import ChargeFacts, OrderFacts
from refit.buying.actions.refunds import Refund, add_refund
from refit.buying.models import Order, OrderState, Payment, Share
from refit.stores.actions.stow import move_things
from refit.stores.models import Holding
from tests.factory import Factory, person

pytestmark = pytest.mark.django_db
D = Decimal
HUGE = 10**30


def page(make, number, end=""):
    return f"/{make.boat.slug}/orders/{number}/{end}"


def listing(make, query=""):
    return f"/{make.boat.slug}/orders/{query}"


def state(order):
    return Order.objects.get(pk=order.pk).state


@pytest.fixture
def other_boat(make):
    """A second boat of other people, with one order whose number the first boat does not have."""
    other = Factory.start(name="Other Boat", prefix="other-")
    for _ in range(4):
        other.draft()
    return other


def queries(client, address):
    with CaptureQueriesContext(connection) as seen:
        assert client.get(address).status_code == 200
    return len(seen)


# --- the list ----------------------------------------------------------------------------------------------------


def test_the_list_begins_with_what_is_ordered_and_what_is_still_to_come(make, as_viewer):
    here = make.order(make.line(price=D("30.00")))
    make.order(make.line(price=D("12.50")))
    make.draft(make.line(price=D("99.00")))
    arriving.book_in(
        make.boat,
        [Arrival(here.lines.get(), D(1))],
        by=make.owner,
        on=make.today,
        today=make.today,
    )
    text = as_viewer.get(listing(make)).content.decode()
    assert "£42.50 ordered" in text
    assert "in 2 orders; £12.50 of it still to come. 1 not ordered yet" in text
    assert "came back" not in text


def test_the_list_says_what_came_back_of_it(make, as_viewer):
    order = make.order(make.line(price=D(60)))
    back = Refund("price", D("4.50"), "GBP", came_on=make.today)
    add_refund(order, list(order.lines.all()), back, by=make.owner, today=make.today)
    text = as_viewer.get(listing(make)).content.decode()
    assert "£60.00 ordered" in text
    assert "in 1 order; £60.00 of it still to come; £4.50 came back" in text


def test_a_parcel_at_the_forwarder_has_arrived_away(make, as_owner):
    forwarder = add_place(make.boat, kind="area", parent=None, name="Forwarder", where="away", days_away=6)
    shelf = make.place("F1", parent=forwarder)
    came, home = make.order(make.line(make.part("Pump"))), make.order(make.line(make.part()))
    for order, place in ((came, shelf), (home, make.place())):
        arrival = Arrival(order.lines.get(), D(1), place=place)
        arriving.book_in(make.boat, [arrival], by=make.owner, on=make.today, today=make.today)
    rows = as_owner.get(listing(make)).context["rows"]
    assert {row.order.number: row.away for row in rows} == {came.number: shelf, home.number: None}
    assert [row.order for row in as_owner.get(listing(make, "?state=away")).context["rows"]] == [came]
    said = " ".join(as_owner.get(page(make, came.number)).content.decode().split())
    assert '<span class="mark mark-warn">away</span> at <bdi>F1</bdi>, 6 days from us' in said
    assert ">away</span>" not in as_owner.get(page(make, home.number)).content.decode()
    # Brought aboard, it is away no longer.
    held = Holding.objects.get(place=shelf)
    move_things([(held, None)], make.place(), by=make.owner, on=make.today, today=make.today)
    assert as_owner.get(listing(make, "?state=away")).context["rows"] == []
    assert ">away</span>" not in as_owner.get(page(make, came.number)).content.decode()


def test_a_late_order_is_marked_and_can_be_looked_for(make, as_owner):
    late = make.order(on=make.today - timedelta(9), expected_on=make.today - timedelta(1))
    due_today = make.order(expected_on=make.today)
    came = make.order(on=make.today - timedelta(9), expected_on=make.today - timedelta(1))
    line = came.lines.get()
    arriving.book_in(make.boat, [Arrival(line, D(1))], by=make.owner, on=make.today, today=make.today)
    response = as_owner.get(listing(make))
    assert {row.order.number: row.late for row in response.context["rows"]} == {
        late.number: True,
        due_today.number: False,
        came.number: False,
    }
    response = as_owner.get(listing(make, "?state=late"))
    assert [row.order for row in response.context["rows"]] == [late]


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ("?state=draft", {3}),
        ("?state=coming", {1, 2}),
        ("?find=lm-204", {1}),
        ("?find=IMPELL", {2}),
        ("?find=09 1027", {2}),
        ("?find=bracket", {3}),
        ("?find=norrvik", {1}),
        ("?find=3", {3}),
        ("?find=nothing-like-it", set()),
        ("?since=2000-01-01&until=2000-12-31", {1}),
        ("?supplier={supplier}", {1}),
        ("?job={job}", {2}),
    ],
)
def test_the_sieve_finds(make, as_owner, query, found):
    supplier = make.supplier("Norrvik Marin")
    impeller = make.part("Impeller", numbers=[("maker", "09-1027", "")])
    job = make.job()
    make.order(
        make.line(words="Rope"), supplier=supplier, reference="LM-20441", on=make.today.replace(2000, 3, 1)
    )
    make.order(make.line(impeller, job=job))
    make.draft(make.line(words="Mystery bracket"))
    address = listing(make, query.format(supplier=supplier.pk, job=job.pk))
    rows = as_owner.get(address).context["rows"]
    assert {row.order.number for row in rows} == found


@pytest.mark.parametrize(
    "query", ["?supplier=999999", "?job=x", "?since=20226-01-01", "?state=lost", "?page=x", "?sort=drop"]
)
def test_a_sieve_that_makes_no_sense_breaks_nothing(make, as_owner, query):
    make.order()
    assert as_owner.get(listing(make, query)).status_code == 200


def test_another_boats_supplier_cannot_be_chosen(make, other_boat, as_owner):
    make.order()
    theirs = other_boat.supplier("Theirs")
    response = as_owner.get(listing(make, f"?supplier={theirs.pk}"))
    assert "supplier" in response.context["filter"].form.errors
    assert b"Theirs" not in response.content


def test_the_list_sorts_by_each_heading_both_ways(make, as_owner):
    make.order(make.line(price=D("5")), supplier=make.supplier("Zinc and Co"))
    make.order(make.line(price=D("50")), supplier=make.supplier("Anode Shop"))
    for key, first in [("landed", 1), ("-landed", 2), ("supplier", 2), ("number", 1), ("", 2)]:
        rows = as_owner.get(listing(make, f"?sort={key}")).context["rows"]
        assert rows[0].order.number == first, key
    for key in ("ordered", "expected", "job", "state"):
        assert len(as_owner.get(listing(make, f"?sort=-{key}")).context["rows"]) == 2


def test_the_whole_list_leaves_as_a_file_in_which_nothing_runs(make, as_owner):
    make.order(make.line(words="=1+1", price=D("7.25")), supplier=make.supplier("=cmd|' /C calc'!A0"))
    for _ in range(60):
        make.draft()
    book = load_workbook(BytesIO(as_owner.get(listing(make, "?export=xlsx&sort=number")).content))
    rows = list(book.worksheets[0].iter_rows(values_only=True))
    assert rows[0][:3] == ("Order", "Supplier", "What")
    assert len(rows) == 62
    assert rows[1][:3] == (1, "=cmd|' /C calc'!A0", "=1+1")
    assert all(cell.data_type != "f" for row in book.worksheets[0].iter_rows() for cell in row)
    csv = as_owner.get(listing(make, "?export=csv")).content.decode("utf-8-sig")
    assert '"\'=1+1"' in csv


def test_a_long_list_costs_no_more_queries_than_a_short_one(make, as_owner):
    supplier, job = make.supplier(), make.job()
    for _ in range(3):
        make.order(make.line(make.part(), job=job), supplier=supplier)
    few = queries(as_owner, listing(make))
    for _ in range(100):
        make.draft(make.line(words="Rope", job=job), supplier=supplier)
    assert queries(as_owner, listing(make)) == few
    assert few == 16


def test_nothing_ordered_says_what_to_do_first(make, as_owner):
    text = as_owner.get(listing(make)).content.decode()
    assert "Nothing ordered yet" in text
    assert "orders/new/" in text


# --- the page ----------------------------------------------------------------------------------------------------


def test_the_page_shows_lines_charges_and_who_bears_what(make, as_viewer):
    job = make.job("Pump")
    place = make.place("S3", name="Pilot berth")
    order = make.order(
        make.line(make.part("Impeller"), packs=D(2), price=D("30"), place=place, job=job),
        make.line(make.part("Gasket"), price=D("40")),
        charges=(ChargeFacts("freight", D("10.01")), ChargeFacts("discount", D("5"))),
        job=job,
        reference="LM-1",
    )
    text = as_viewer.get(page(make, order.number)).content.decode()
    assert "£105.01 all in" in text
    assert "2 at 30.00 GBP" in text
    assert "1 for 40.00 GBP" in text
    for words in (
        "Impeller",
        "S3",
        "Job 2" if job.number == 2 else f"Job {job.number}",
        "LM-1",
        "Freight",
        "Discount",
    ):
        assert words in text
    sheet = as_viewer.get(page(make, order.number)).context["sheet"]
    for row in sheet.charges:
        assert sum(share.home for share in row.shares) == row.charge.effect
    assert "Book in" not in text  # a viewer sees, and does nothing


def test_the_rate_says_where_it_came_from(make, as_owner):
    typed = make.order(make.line(price=D("412")), currency="SEK", rate=D("13.42"))
    charged = make.order(make.line(price=D("412")), currency="SEK", charged=D("31.15"))
    assert "1 GBP = 13.42 SEK, as typed" in as_owner.get(page(make, typed.number)).content.decode()
    text = as_owner.get(page(make, charged.number)).content.decode()
    assert "from what the card was charged" in text
    assert "£31.15" in text
    home = make.order()
    assert "Rate" not in as_owner.get(page(make, home.number)).content.decode()


def test_the_rate_of_the_central_bank_bears_its_day(make, as_owner):
    # ECB euro reference rates of 28 Jun 2024 (eurofxref-hist): USD 1.0705, GBP 0.84638; 100 USD = 79.0640 GBP.
    day = make.today.replace(2024, 6, 28)
    order = make.draft(make.line(price=D("100")), currency="USD", ordered_on=day)
    text = as_owner.get(page(make, order.number)).content.decode()
    assert "European Central Bank, 28 Jun 2024" in text
    assert order.landed == 7906


def test_a_long_order_costs_no_more_queries_than_a_short_one(make, as_owner):
    def order_of(count):
        lines = [make.line(make.part(), job=make.job(), place=make.place()) for _ in range(count)]
        order = make.order(*lines, charges=(ChargeFacts("freight", D(9)), ChargeFacts("tax", D(5))))
        for line in list(order.lines.all())[: count // 2]:
            arriving.book_in(
                make.boat,
                [Arrival(line, D(1), place=line.place)],
                by=make.owner,
                on=make.today,
                today=make.today,
            )
        return order.number

    short, long = page(make, order_of(2)), page(make, order_of(40))
    few = queries(as_owner, short)
    assert queries(as_owner, long) == few
    assert few == 24


def test_names_are_shown_as_typed_and_run_nothing(make, as_owner):
    name = "<script>alert(1)</script>"
    turned = "‮gnirts"
    order = make.order(make.line(words=name), supplier=make.supplier(name + turned), reference=name)
    for address in (page(make, order.number), listing(make), page(make, order.number, "book-in/")):
        text = as_owner.get(address).content.decode()
        assert "<script>alert" not in text
        assert "&lt;script&gt;alert(1)" in text
        assert f"<bdi>{'&lt;script&gt;alert(1)&lt;/script&gt;'}" in text


# --- from state to state -----------------------------------------------------------------------------------------


def test_the_next_step_follows_the_state(make, as_owner):
    def next_of(order):
        return as_owner.get(page(make, order.number)).context["sheet"].next

    assert next_of(make.draft(make.line(system=None))) == "change"
    job = make.job()
    order = make.draft(make.line(make.part(), packs=D(2), place=make.place(), job=job), job=job)
    assert next_of(order) == "ordered"
    as_owner.post(page(make, order.number, "place/"), {"on": make.today.isoformat()})
    assert next_of(order) == "book_in"
    line = order.lines.get()
    arriving.book_in(make.boat, [Arrival(line, D(1))], by=make.owner, on=make.today, today=make.today)
    assert next_of(order) == "put_away"
    arriving.book_in(
        make.boat, [Arrival(line, D(1), place=line.place)], by=make.owner, on=make.today, today=make.today
    )
    from refit.stores.actions import stow
    from refit.stores.models import Holding

    loose = Holding.objects.there().get(place__kind="unstowed")
    stow.move_things([(loose, None)], line.place, by=make.owner, on=make.today, today=make.today)
    assert next_of(order) == "job"


def test_placing_and_its_undo(make, as_crew, clean_ledger):
    order = make.draft()
    response = as_crew.post(page(make, order.number, "place/"), {"on": make.today.isoformat()}, follow=True)
    assert state(order) == OrderState.ORDERED
    said = [message for message in response.context["messages"]]
    assert said[0].extra_tags == page(make, order.number, "draft/")
    response = as_crew.post(said[0].extra_tags, follow=True)
    assert state(order) == OrderState.DRAFT
    undo = next(iter(response.context["messages"])).extra_tags
    as_crew.post(undo)  # no day is sent: the order knows it
    assert state(order) == OrderState.ORDERED


@pytest.mark.parametrize("day", ["2999-01-01", "20226-01-01", "soon", "", "0001-01-01"])
def test_a_day_that_cannot_be_right_places_nothing(make, as_owner, day):
    order = make.draft()
    response = as_owner.post(page(make, order.number, "place/"), {"on": day})
    assert response.status_code == 422
    assert state(order) == OrderState.DRAFT


def test_an_order_with_a_line_without_system_is_not_placed(make, as_owner):
    order = make.draft(make.line(words="Bracket", system=None))
    response = as_owner.post(page(make, order.number, "place/"), {"on": make.today.isoformat()})
    assert response.status_code == 422
    assert "Which system is Bracket for?" in response.content.decode()
    assert state(order) == OrderState.DRAFT


def test_cancelling_takes_it_out_of_the_sums_and_can_be_taken_back(make, as_owner):
    order = make.order(make.line(price=D("30")))
    as_owner.post(page(make, order.number, "cancel/"))
    assert state(order) == OrderState.CANCELLED
    assert "£0.00 ordered" in as_owner.get(listing(make)).content.decode()
    assert [row.state for row in as_owner.get(page(make, order.number)).context["sheet"].lines] == [
        "cancelled"
    ]
    as_owner.post(page(make, order.number, "uncancel/"))
    assert state(order) == OrderState.ORDERED
    assert "£30.00 ordered" in as_owner.get(listing(make)).content.decode()


def test_an_order_of_which_something_came_is_not_cancelled(make, as_owner, clean_ledger):
    order = make.order(make.line(make.part(), packs=D(2)))
    line = order.lines.get()
    arriving.book_in(make.boat, [Arrival(line, D(1))], by=make.owner, on=make.today, today=make.today)
    for deed in ("cancel/", "draft/", "throw-away/"):
        response = as_owner.post(page(make, order.number, deed), follow=True)
        assert next(iter(response.context["messages"])).level_tag == "error"
        assert state(order) == OrderState.PART_ARRIVED


def test_a_draft_is_thrown_away_and_a_placed_order_is_not(make, as_owner):
    draft, placed = make.draft(), make.order()
    as_owner.post(page(make, draft.number, "throw-away/"))
    as_owner.post(page(make, placed.number, "throw-away/"))
    assert list(Order.objects.all()) == [placed]


def test_a_purchase_over_the_counter_is_taken_back_whole(make, as_owner, clean_ledger):
    place = make.place()
    facts = OrderFacts(
        supplier=make.supplier(), currency="GBP", lines=[make.line(make.part(), packs=D(2), place=place)]
    )
    order, _ = arriving.buy_here(make.boat, facts, by=make.owner, today=make.today)
    text = as_owner.get(page(make, order.number)).content.decode()
    assert "Take back the purchase" in text
    assert "Card" in text
    as_owner.post(page(make, order.number, "unbuy/"))
    assert state(order) == OrderState.DRAFT
    assert Payment.objects.count() == 0
    assert not place.holdings.there().exists()


def test_the_same_button_twice_acts_once(make, as_owner):
    order = make.draft()
    sent = {"on": make.today.isoformat(), "form_key": "one-and-the-same"}
    as_owner.post(page(make, order.number, "place/"), sent)
    response = as_owner.post(page(make, order.number, "place/"), sent, follow=True)
    assert "Already recorded at" in response.content.decode()
    assert state(order) == OrderState.ORDERED


# --- who, what, how ----------------------------------------------------------------------------------------------

BUTTONS = ["place", "draft", "cancel", "uncancel", "throw-away", "unbuy", "all-came"]


@pytest.mark.parametrize("end", ["", *[f"{button}/" for button in BUTTONS], "book-in/", "papers/"])
def test_outsiders_find_nothing_and_a_trade_may_not(make, as_outsider, as_trade, end):
    order = make.draft()
    deed = end not in ("", "book-in/")
    for client, answer in ((as_outsider, 404), (as_trade, 403)):
        ask = client.post if deed else client.get
        assert ask(page(make, order.number, end)).status_code == answer
    assert state(order) == OrderState.DRAFT


@pytest.mark.parametrize("button", BUTTONS)
def test_a_viewer_sees_and_changes_nothing(make, as_viewer, button):
    order = make.draft()
    assert as_viewer.get(page(make, order.number)).status_code == 200
    assert as_viewer.post(page(make, order.number, f"{button}/")).status_code == 403
    assert state(order) == OrderState.DRAFT


@pytest.mark.parametrize("button", BUTTONS)
def test_wrong_methods_and_numbers_are_refused(make, other_boat, as_owner, button):
    order = make.draft()
    assert as_owner.get(page(make, order.number, f"{button}/")).status_code == 405
    for number in (99, 4, HUGE):  # 4 is an order of the other boat
        assert as_owner.post(page(make, number, f"{button}/")).status_code == 404
        assert as_owner.get(page(make, number)).status_code == 404
    assert as_owner.post(page(make, order.number)).status_code == 405
    assert as_owner.get(f"/{other_boat.boat.slug}/orders/4/").status_code == 404


def test_shares_of_cancelled_orders_still_add_up(make, as_owner, clean_ledger):
    order = make.order(
        make.line(price=D("3")), make.line(price=D("7")), charges=(ChargeFacts("freight", D("0.01")),)
    )
    as_owner.post(page(make, order.number, "cancel/"))
    charge = order.charges.get()
    assert sum(share.home for share in Share.objects.filter(charge=charge)) == charge.effect == 1


def test_someone_new_sees_orders_only_once_a_member(make):
    from tests.conftest import signed_in

    assert signed_in(person("newcomer")).get(listing(make)).status_code == 404
