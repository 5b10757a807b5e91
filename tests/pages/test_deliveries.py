"""Booking in: what came, how many, where, as what; what won't come; and taking it back."""

from datetime import timedelta
from decimal import Decimal

import cv2
import numpy as np
import pytest
import qrcode
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext

from refit.buying.actions import deliveries as arriving
from refit.buying.actions.deliveries import Arrival
from refit.buying.actions.orders import ChargeFacts
from refit.buying.models import Delivery, DeliveryLine, Line, Order, OrderState, Share
from refit.stores.actions import stow
from refit.stores.models import Entry, Holding, Part
from tests.factory import Factory

pytestmark = pytest.mark.django_db
D = Decimal
HUGE = 10**30


def page(make, order, end="book-in/"):
    return f"/{make.boat.slug}/orders/{order.number}/{end}"


def sent(make, order, **lines):
    """Return a form as a browser sends it: the day, and for each line (by position) its fields."""
    data = {"on": make.today.isoformat()}
    for line in order.lines.all():
        given = lines.get(f"l{line.position}", {})
        data[f"{line.pk}-quantity"] = str(given.pop("quantity", line.open_quantity))
        data |= {f"{line.pk}-{word}": str(value) for word, value in given.items()}
    return data


def lying(place):
    return {holding.part.name: holding.quantity for holding in Holding.objects.there().filter(place=place)}


def unstowed(make):
    return arriving.not_stowed(make.boat)


def label_photo(address):
    """Return a photo of a label: its code, drawn large, with its quiet zone."""
    code = qrcode.QRCode(error_correction=qrcode.constants.ERROR_CORRECT_Q, box_size=8, border=4)
    code.add_data(address)
    grey = np.where(np.array(code.get_matrix()), 0, 255).astype(np.uint8)
    large = np.kron(grey, np.ones((8, 8), np.uint8))
    return cv2.imencode(".png", large)[1].tobytes()


@pytest.fixture
def locker(make):
    return make.place("S3", name="Pilot berth")


@pytest.fixture
def impeller(make):
    return make.part("Impeller")


@pytest.fixture
def order(make, locker, impeller):
    """Two lines, of which one has a place meant for it, and freight over both."""
    return make.order(
        make.line(impeller, packs=D(4), price=D("25"), place=locker, job=make.job()),
        make.line(make.part("Gasket"), packs=D(3), price=D("11.11")),
        charges=(ChargeFacts("freight", D("10.01")),),
        expected_on=make.today,
    )


@pytest.mark.usefixtures("clean_ledger")
class TestBookingIn:
    def test_the_form_knows_what_is_still_to_come_and_where_it_is_meant_to_lie(self, make, as_owner, order):
        rows = as_owner.get(page(make, order)).context["form"].rows
        assert [(row.quantity.value(), row.place.value()) for row in rows] == [("4", "S3"), ("3", None)]

    def test_what_is_ticked_arrives_in_its_place_or_waits_to_be_put_away(self, make, as_crew, order, locker):
        data = sent(make, order, l0={"came": "on", "place": "s3", "quantity": "3"}, l1={"came": "on"})
        response = as_crew.post(page(make, order), data, follow=True)
        assert lying(locker) == {"Impeller": D(3)}
        assert lying(unstowed(make)) == {"Gasket": D(3)}
        order.refresh_from_db()
        assert order.state == OrderState.PART_ARRIVED
        text = response.content.decode()
        assert "Booked in 2 lines. 1 waits to be put away." in text
        assert response.context["sheet"].next == "put_away"

    def test_part_by_part_to_the_last(self, make, as_owner, order, locker):
        for _ in range(4):
            as_owner.post(
                page(make, order), sent(make, order, l0={"came": "on", "place": "S3", "quantity": "1"})
            )
        as_owner.post(page(make, order), sent(make, order, l1={"came": "on", "place": locker.code.lower()}))
        order.refresh_from_db()
        assert order.state == OrderState.ARRIVED
        assert order.delivered == order.landed == 10000 + 3333 + 1001
        assert sum(row.value for row in DeliveryLine.objects.all()) == order.landed
        assert lying(locker) == {"Impeller": D(4), "Gasket": D(3)}
        text = as_owner.get(page(make, order)).content.decode()
        assert "Nothing is still to come" in text

    def test_more_than_ordered_asks_and_then_takes_it(self, make, as_owner, order, locker):
        data = sent(make, order, l0={"came": "on", "place": "S3", "quantity": "5"})
        response = as_owner.post(page(make, order), data)
        assert response.status_code == 422
        assert "5 is more than the 4 still to come" in response.content.decode()
        assert response.context["form"].rows[0].asks_more
        assert not Delivery.objects.exists()
        line = order.lines.get(position=0)
        as_owner.post(page(make, order), data | {f"{line.pk}-more": "on"})
        assert lying(locker) == {"Impeller": D(5)}
        line.refresh_from_db()
        assert (line.arrived, line.delivered) == (D(5), line.landed)

    def test_exactly_what_is_still_to_come_asks_nothing(self, make, as_owner, order):
        response = as_owner.post(page(make, order), sent(make, order, l0={"came": "on", "quantity": "4"}))
        assert response.status_code == 302

    @pytest.mark.parametrize("typed", ["Impeller, 9-vane", "09 1028", "9-va", "chosen"])
    def test_it_came_as_another_part_and_both_numbers_are_kept(
        self, make, as_owner, order, impeller, locker, typed
    ):
        other = make.part("Impeller, 9-vane", numbers=[("maker", "09-1028", "")])
        given = {"came": "on", "place": "S3", "as_words": typed, "as_part": ""}
        if typed == "chosen":
            given |= {"as_words": other.name, "as_part": other.pk}
        as_owner.post(page(make, order), sent(make, order, l0=given))
        row = DeliveryLine.objects.get()
        assert (row.part, row.line.part) == (other, impeller)
        assert lying(locker) == {"Impeller, 9-vane": D(4)}
        text = as_owner.get(page(make, order, "")).content.decode()
        assert "came as" in text

    def test_a_part_that_is_not_there_or_not_clear_is_asked_about(self, make, as_owner, order):
        make.part("Impeller, 9-vane")
        make.part("Impeller, 10-vane")
        theirs = Factory.start(name="Other Boat", prefix="other-").part("Impeller of theirs")
        for given in (
            {"as_words": "vane"},
            {"as_words": "Anode"},
            {"as_words": theirs.name, "as_part": theirs.pk},
        ):
            response = as_owner.post(page(make, order), sent(make, order, l0={"came": "on", **given}))
            assert response.status_code == 422
            assert not Delivery.objects.exists()

    def test_what_wont_come_closes_the_rest_and_shares_the_charges_anew(self, make, as_owner, order, locker):
        data = sent(make, order, l0={"came": "on", "place": "S3"}, l1={"wont": "on"})
        response = as_owner.post(page(make, order), data, follow=True)
        assert "Won&#x27;t come: Gasket" in response.content.decode()
        order.refresh_from_db()
        assert order.state == OrderState.ARRIVED
        charge = order.charges.get()
        assert {share.line.what: share.home for share in Share.objects.all()} == {
            "Impeller": 1001,
            "Gasket": 0,
        }
        assert sum(share.home for share in Share.objects.all()) == charge.effect == 1001
        assert order.landed == 11001
        undo = next(iter(response.context["messages"])).extra_tags
        as_owner.post(undo)
        order.refresh_from_db()
        assert (order.state, order.landed, order.delivered) == (OrderState.ORDERED, 14334, 0)
        assert sum(share.home for share in Share.objects.all()) == 1001
        assert lying(locker) == {}

    def test_some_came_and_the_rest_of_it_wont(self, make, as_owner, order, locker):
        data = sent(make, order, l0={"came": "on", "quantity": "1", "wont": "on", "place": "S3"})
        as_owner.post(page(make, order), data)
        line = order.lines.get(position=0)
        assert (line.arrived, line.wont_come, line.goods) == (D(1), D(3), 2500)
        assert sum(share.home for share in Share.objects.all()) == 1001

    def test_nothing_of_an_order_will_come_and_that_can_be_taken_back(self, make, as_owner, order):
        data = sent(make, order, l0={"wont": "on"}, l1={"wont": "on"})
        as_owner.post(page(make, order), data)
        order.refresh_from_db()
        assert order.state == OrderState.CANCELLED
        as_owner.post(f"/{make.boat.slug}/deliveries/{Delivery.objects.get().pk}/undo/")
        order.refresh_from_db()
        assert order.state == OrderState.ORDERED

    def test_straight_to_the_job(self, make, as_owner, order, locker):
        data = sent(make, order, l0={"came": "on", "to_job": "on", "place": "S3"})
        as_owner.post(page(make, order), data)
        assert lying(locker) == {}
        used = Entry.objects.get().movements.get(reason="used")
        assert (used.quantity, used.job) == (D(4), order.lines.get(position=0).job)
        as_owner.post(f"/{make.boat.slug}/deliveries/{Delivery.objects.get().pk}/undo/")
        assert order.lines.get(position=0).arrived == 0

    def test_words_with_a_place_become_a_part_and_without_one_just_arrive(self, make, as_owner, locker):
        order = make.order(
            make.line(words="Sealant"), make.line(words="Tape"), make.line(words="Postage", service=True)
        )
        text = as_owner.get(page(make, order)).content.decode()
        assert "it becomes a part called “<bdi>Sealant</bdi>”" in text
        data = sent(make, order, l0={"came": "on", "place": "S3"}, l1={"came": "on"}, l2={"came": "on"})
        as_owner.post(page(make, order), data)
        assert lying(locker) == {"Sealant": D(1)}
        assert lying(unstowed(make)) == {}
        order.refresh_from_db()
        assert order.state == OrderState.ARRIVED
        assert not Part.objects.filter(name="Tape").exists()

    def test_what_has_no_place_of_its_own_goes_where_the_rest_goes(self, make, as_owner, order, locker):
        box = make.place("B7", kind="box", parent=locker)
        data = sent(make, order, l0={"came": "on", "place": "S3"}, l1={"came": "on"}) | {"to": "b7"}
        as_owner.post(page(make, order), data)
        assert (lying(locker), lying(box)) == ({"Impeller": D(4)}, {"Gasket": D(3)})

    def test_expiry_and_serial_stand_where_the_part_has_them(self, make, as_owner, locker):
        flare = make.part("Flare", has_expiry=True, has_serial=True)
        order = make.order(make.line(flare, packs=D(4)))
        given = {"came": "on", "place": "S3", "expires": "2031-08-31", "serial": "4412"}
        as_owner.post(page(make, order), sent(make, order, l0=given))
        lot = Holding.objects.get(part=flare, place=locker).lot
        assert (lot.serial, lot.expires_on.isoformat()) == ("4412", "2031-08-31")

    def test_one_parcel_of_two_orders_is_one_delivery(self, make, as_owner, order, locker):
        second = make.order(make.line(make.part("Zinc"), packs=D(2)), supplier=order.supplier)
        other = make.order(make.line(make.part("Not theirs")))
        stray = page(make, order) + f"?with={other.number}&with=x&with={HUGE}"
        assert len(as_owner.get(stray).context["form"].rows) == 2
        response = as_owner.get(page(make, order))
        assert [(other.number, shown) for other, shown in response.context["others"]] == [
            (second.number, False)
        ]
        address = page(make, order) + f"?with={second.number}"
        assert len(as_owner.get(address).context["form"].rows) == 3
        data = sent(make, order, l0={"came": "on", "place": "S3"}) | sent(
            make, second, l0={"came": "on", "place": "S3"}
        )
        as_owner.post(address, data)
        delivery = Delivery.objects.get()
        assert {row.line.order_id for row in delivery.lines.all()} == {order.pk, second.pk}
        assert lying(locker) == {"Impeller": D(4), "Zinc": D(2)}
        as_owner.post(f"/{make.boat.slug}/deliveries/{delivery.pk}/undo/")
        assert lying(locker) == {}

    def test_a_photo_of_a_label_fills_in_the_place_and_books_nothing(self, make, as_owner, order, locker):
        line = order.lines.get(position=1)
        photo = SimpleUploadedFile("label.png", label_photo(f"HTTP://BOAT.LOCAL/L/{locker.code}"))
        data = sent(make, order, l0={"came": "on", "quantity": "2"}) | {f"{line.pk}-label": photo}
        response = as_owner.post(page(make, order), data)
        assert response.status_code == 200
        assert not Delivery.objects.exists()
        first, second = response.context["form"].rows
        assert (second.place.value(), second.came.value(), first.quantity.value()) == ("S3", True, "2")
        for content, words in [
            (label_photo("https://example.test/other"), "No label read"),
            (b"<html>", "not a whole JPEG"),
        ]:
            data[f"{line.pk}-label"] = SimpleUploadedFile("label.png", content)
            response = as_owner.post(page(make, order), data)
            assert response.status_code == 422
            assert words in response.content.decode()

    def test_the_parts_that_fit_are_offered_while_typing(self, make, as_owner, order, impeller):
        make.part("<b>Impeller</b>")
        response = as_owner.get(page(make, order, f"book-in/parts/?{order.lines.first().pk}-as_words=impell"))
        text = response.content.decode()
        assert text.count('class="pick"') == 2
        assert "<b>" not in text
        assert (
            "No part of that name"
            in as_owner.get(page(make, order, "book-in/parts/?1-as_words=zzz")).content.decode()
        )
        assert as_owner.get(page(make, order, "book-in/parts/")).status_code == 200


@pytest.mark.usefixtures("clean_ledger")
class TestAllCame:
    def test_one_tap_books_in_everything_to_where_it_is_meant(self, make, as_owner, order, locker):
        response = as_owner.post(page(make, order, "all-came/"), follow=True)
        assert lying(locker) == {"Impeller": D(4)}
        assert lying(unstowed(make)) == {"Gasket": D(3)}
        undo = next(iter(response.context["messages"])).extra_tags
        as_owner.post(undo)
        assert (lying(locker), lying(unstowed(make))) == ({}, {})
        order.refresh_from_db()
        assert order.state == OrderState.ORDERED

    def test_the_rest_after_some_came(self, make, as_owner, order, locker):
        as_owner.post(page(make, order), sent(make, order, l0={"came": "on", "place": "S3", "quantity": "1"}))
        as_owner.post(page(make, order, "all-came/"))
        assert lying(locker) == {"Impeller": D(4)}
        assert all(line.arrived == line.quantity for line in order.lines.all())

    def test_a_place_gone_out_of_use_is_passed_over(self, make, as_owner, order, locker):
        stow.retire_place(locker, None, by=make.owner, on=make.today, today=make.today)
        as_owner.post(page(make, order, "all-came/"))
        assert lying(unstowed(make)) == {"Impeller": D(4), "Gasket": D(3)}

    def test_nothing_left_to_come_says_so(self, make, as_owner, order):
        as_owner.post(page(make, order, "all-came/"))
        response = as_owner.post(page(make, order, "all-came/"), follow=True)
        assert "Nothing of order 1 is still to come." in response.content.decode()
        assert Delivery.objects.count() == 1

    def test_a_draft_has_nothing_to_come(self, make, as_owner):
        draft = make.draft()
        as_owner.post(page(make, draft, "all-came/"))
        assert not Delivery.objects.exists()
        assert "is not ordered yet" in as_owner.get(page(make, draft)).content.decode()


@pytest.mark.usefixtures("clean_ledger")
class TestRefusals:
    @pytest.mark.parametrize(
        ("word", "value", "says"),
        [
            ("quantity", "", "How many came?"),
            ("quantity", "0", "0.001 or more"),
            ("quantity", "-1", "0.001 or more"),
            ("quantity", "1e3", "not a number"),
            ("quantity", "9999999", "999999.999 or less"),
            ("place", "Nowhere", "No place “Nowhere”"),
            ("place", "Saloon", "No place “Saloon”"),
            ("serial", "x" * 61, "At most 60"),
            ("serial", "x" * 100_000, "At most 60"),
            ("expires", "20226-01-01", "cannot be right"),
        ],
    )
    def test_what_cannot_be_right_books_in_nothing(self, make, as_owner, order, word, value, says):
        response = as_owner.post(page(make, order), sent(make, order, l0={"came": "on", word: value}))
        assert response.status_code == 422
        assert says in response.content.decode()
        assert not Delivery.objects.exists()

    @pytest.mark.parametrize("day", ["2999-01-01", "20226-01-01", "", "soon"])
    def test_a_day_that_cannot_be_right(self, make, as_owner, order, day):
        response = as_owner.post(page(make, order), sent(make, order, l0={"came": "on"}) | {"on": day})
        assert response.status_code == 422
        assert not Delivery.objects.exists()

    def test_nothing_ticked_says_tick(self, make, as_owner, order):
        response = as_owner.post(page(make, order), sent(make, order))
        assert response.status_code == 422
        assert "Tick what came." in response.content.decode()

    def test_a_number_changed_without_its_tick_is_asked_about(self, make, as_owner, order):
        data = sent(make, order, l0={"quantity": "2"}, l1={"came": "on"})
        response = as_owner.post(page(make, order), data)
        assert response.status_code == 422
        assert "Tick Impeller if this came." in response.content.decode()

    def test_a_place_and_a_line_of_another_boat_are_not_known(self, make, as_owner, order):
        other = Factory.start(name="Other Boat", prefix="other-")
        theirs = other.place("X9")
        their_order = other.order(other.line(other.part()))
        response = as_owner.post(page(make, order), sent(make, order, l0={"came": "on", "place": "X9"}))
        assert response.status_code == 422
        data = sent(other, their_order, l0={"came": "on"})
        assert as_owner.post(page(make, order), data).status_code == 422
        assert lying(theirs) == {}
        assert Line.objects.get(order=their_order).arrived == 0

    def test_the_same_form_twice_books_in_once(self, make, as_owner, order, locker):
        data = sent(make, order, l0={"came": "on", "place": "S3", "quantity": "1"}) | {"form_key": "same"}
        as_owner.post(page(make, order), data)
        response = as_owner.post(page(make, order), data, follow=True)
        assert "Already recorded at" in response.content.decode()
        assert lying(locker) == {"Impeller": D(1)}

    def test_before_the_place_was_counted(self, make, as_owner, order, locker):
        stow.count(locker, [], by=make.owner, on=make.today, today=make.today)
        data = sent(make, order, l0={"came": "on", "place": "S3"})
        data["on"] = (make.today - timedelta(1)).isoformat()
        response = as_owner.post(page(make, order), data)
        assert response.status_code == 422
        assert "was counted on" in response.content.decode()


@pytest.mark.usefixtures("clean_ledger")
class TestUndo:
    def test_what_was_taken_since_keeps_it_and_says_what_to_do(self, make, as_owner, order, locker):
        as_owner.post(page(make, order, "all-came/"))
        holding = Holding.objects.get(place=locker)
        stow.take(holding, D(1), by=make.owner, on=make.today, today=make.today)
        delivery = Delivery.objects.get()
        response = as_owner.post(f"/{make.boat.slug}/deliveries/{delivery.pk}/undo/", follow=True)
        assert "Only 3 of Impeller is left" in response.content.decode()
        assert "Undo that first" in response.content.decode()
        order.refresh_from_db()
        assert order.state == OrderState.ARRIVED

    def test_twice(self, make, as_owner, order):
        as_owner.post(page(make, order, "all-came/"))
        address = f"/{make.boat.slug}/deliveries/{Delivery.objects.get().pk}/undo/"
        as_owner.post(address)
        response = as_owner.post(address, follow=True)
        assert "undone already" in response.content.decode()
        assert "undone" in as_owner.get(page(make, order, "")).content.decode()

    def test_who_may(self, make, order, as_owner, as_viewer, as_trade, as_outsider):
        as_owner.post(page(make, order, "all-came/"))
        address = f"/{make.boat.slug}/deliveries/{Delivery.objects.get().pk}/undo/"
        for client, answer in ((as_viewer, 403), (as_trade, 403), (as_outsider, 404)):
            assert client.post(address).status_code == answer
        assert as_owner.get(address).status_code == 405
        for pk in (0, 999_999, HUGE):
            assert as_owner.post(f"/{make.boat.slug}/deliveries/{pk}/undo/").status_code == 404
        order.refresh_from_db()
        assert order.state == OrderState.ARRIVED

    def test_of_another_boat(self, make, as_owner):
        other = Factory.start(name="Other Boat", prefix="other-")
        theirs = other.order(other.line(other.part()))
        delivery = arriving.book_in(
            other.boat, [Arrival(theirs.lines.get(), D(1))], by=other.owner, on=other.today, today=other.today
        )
        assert as_owner.post(f"/{make.boat.slug}/deliveries/{delivery.pk}/undo/").status_code == 404
        assert Order.objects.get(pk=theirs.pk).state == OrderState.ARRIVED


def test_a_trade_and_a_viewer_may_not_book_in(make, order, as_viewer, as_trade, as_outsider):
    for client, answer in ((as_viewer, 403), (as_trade, 403), (as_outsider, 404)):
        assert client.get(page(make, order)).status_code == answer
        assert client.post(page(make, order), sent(make, order, l0={"came": "on"})).status_code == answer
        assert client.get(page(make, order, "book-in/parts/")).status_code == answer
    assert not Delivery.objects.exists()


def test_wrong_numbers_and_methods(make, as_owner, order):
    for number in (0, 99, HUGE):
        assert as_owner.get(f"/{make.boat.slug}/orders/{number}/book-in/").status_code == 404
    assert as_owner.put(page(make, order)).status_code == 405


def test_a_long_order_asks_with_no_more_queries_than_a_short_one(make, as_owner):
    def queries(count):
        order = make.order(
            *[make.line(make.part(), place=make.place(), job=make.job()) for _ in range(count)]
        )
        with CaptureQueriesContext(connection) as seen:
            assert as_owner.get(page(make, order)).status_code == 200
        return len(seen)

    assert queries(1) == queries(40) == 7
