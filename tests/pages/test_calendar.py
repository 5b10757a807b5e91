"""The calendar that phones follow: its secret address, what each member finds in it, read by another's parser."""

import re
from datetime import date, timedelta
from html import unescape

import pytest
import vobject
from django.test import Client

from refit.boat.actions.boats import remove_member
from refit.boat.models import Member
from refit.buying.netted import netted
from refit.stores.models import Need
from refit.work.actions.feeds import make_feed, remove_feed
from refit.work.models import Booking, CalendarFeed, DayAway, Job, Milestone
from tests.conftest import signed_in
from tests.factory import D, Factory
from tests.planned import need, refit_with_a_late_part
from tests.refusing import refuse

pytestmark = pytest.mark.django_db
PAGE = "/test-boat/calendar/"


def text_of(response) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", response.content.decode())).split())


def feed_of(make, user) -> str:
    """Give a person a calendar and return its address."""
    return f"{PAGE}{make_feed(make.member(user)).secret}.ics"


def events(response) -> dict[str, vobject.base.Component]:
    """Return the events of a feed by their summary, as another program reads them."""
    (read,) = vobject.readComponents(response.content.decode())
    return {event.summary.value: event for event in read.contents.get("vevent", [])}


def whole(make):
    """A refit with one of everything that the calendar tells; returns the yard."""
    yard = refit_with_a_late_part(make)
    yard.launch.target = yard.due
    yard.launch.save()
    Booking.objects.create(
        boat=make.boat, job=yard.rig, day=yard.due, days=2, who="Rigger; with mate", note="At 8"
    )
    DayAway.objects.create(
        boat=make.boat, first=make.today, last=make.today + timedelta(days=2), why="Family"
    )
    part = make.part("Bobstay")
    supplier = make.supplier("Chandler")
    supplier.lead_days = 4
    supplier.save()
    make.order(make.line(part, price=D("77.77")), supplier=supplier, on=make.today - timedelta(days=30))
    supplier.orders.update(state="arrived")
    Need.objects.create(
        boat=make.boat, job=yard.long, part=part, quantity=D(2), wanted_by=make.today + timedelta(days=40)
    )
    return yard


def test_everything_with_a_day_is_in_it(make):
    yard = whole(make)
    found = events(Client().get(feed_of(make, make.owner)))
    assert set(found) == {
        "Rigger; with mate: Tune the rig",
        "Launch: set day",
        "Launch: as things stand",
        "Away: Family",
        f"Maker delivers order {yard.order.number}",
        "Order Bobstay",
    }
    booking = found["Rigger; with mate: Tune the rig"]
    assert (booking.dtstart.value, booking.dtend.value) == (yard.due, yard.due + timedelta(days=2))
    assert booking.description.value == f"Job {yard.rig.number}, Tune the rig\nAt 8"
    assert booking.url.value == f"http://testserver/test-boat/jobs/{yard.rig.number}/"
    assert found["Launch: set day"].dtstart.value == yard.due
    assert found["Launch: as things stand"].dtstart.value == yard.due + timedelta(days=5)
    assert found[f"Maker delivers order {yard.order.number}"].dtstart.value == yard.due
    assert found["Away: Family"].dtend.value == make.today + timedelta(days=3)
    assert found["Order Bobstay"].description.value.startswith("2 for job 3, Paint the topsides")


def test_the_day_to_order_by_is_the_plans(make):
    whole(make)
    (row,) = [row for row in netted(make.boat, make.today).rows if row.to_buy > 0 and row.met.order_by]
    found = events(Client().get(feed_of(make, make.owner)))
    assert found["Order Bobstay"].dtstart.value == row.met.order_by


def test_what_should_have_been_ordered_stands_on_today(make):
    whole(make)
    Need.objects.exclude(wanted_by=None).update(wanted_by=make.today + timedelta(days=1))
    event = events(Client().get(feed_of(make, make.owner)))["Order Bobstay"]
    assert event.dtstart.value == make.today
    assert "should have been ordered by" in event.description.value


def test_no_price_is_in_it(make):
    whole(make)
    body = Client().get(feed_of(make, make.owner)).content.decode()
    assert "77.77" not in body
    assert "10.00" not in body


def test_a_trade_finds_its_own_bookings_and_nothing_else(make):
    yard = whole(make)
    Booking.objects.create(boat=make.boat, job=yard.mast, day=yard.due, who="Somebody else")
    Job.objects.filter(pk=yard.rig.pk).update(given_to=make.member(make.trade))
    answer = Client().get(feed_of(make, make.trade))
    assert set(events(answer)) == {"Rigger; with mate: Tune the rig"}
    for secret in ("Somebody", "Maker", "Bobstay", "Launch", "Family", "Step the mast"):
        assert secret not in answer.content.decode()


def test_cancelled_bookings_and_what_is_long_past_are_not_in_it(make):
    job = make.job("Weld")
    for days, cancelled in ((-61, None), (-60, None), (3, "2026-01-01T00:00Z")):
        Booking.objects.create(
            boat=make.boat,
            job=job,
            day=make.today + timedelta(days=days),
            who=f"W{days}",
            cancelled_at=cancelled,
        )
    assert set(events(Client().get(feed_of(make, make.owner)))) == {"W-60: Weld"}


def test_a_reached_milestone_stands_on_its_day(make):
    day = date(2026, 3, 5)
    Milestone.objects.create(boat=make.boat, kind="haul_out", name="Haul out", target=day, reached_on=day)
    found = events(Client().get(feed_of(make, make.owner)))
    assert found["Haul out: reached"].dtstart.value == day


def test_an_event_keeps_its_name_when_its_day_moves(make):
    yard = whole(make)
    address = feed_of(make, make.owner)
    before = events(Client().get(address))["Launch: as things stand"]
    yard.order.expected_on = yard.due + timedelta(days=3)
    yard.order.save()
    after = events(Client().get(address))["Launch: as things stand"]
    assert before.uid.value == after.uid.value
    assert after.dtstart.value == before.dtstart.value + timedelta(days=3)


# The secret


def test_nobody_signs_in_nothing_is_kept_and_no_cookie_is_set(make):
    answer = Client().get(feed_of(make, make.owner))
    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    assert "no-store" in answer["Cache-Control"]
    assert not answer.cookies
    assert answer["Referrer-Policy"] == "no-referrer"


@pytest.mark.parametrize("secret", ["x", "é", "a" * 43, "..", "%F0%9F%98%80", "x" * 5000])
def test_a_wrong_secret_finds_nothing(make, as_owner, secret):
    make_feed(make.member(make.owner))
    for client in (Client(), as_owner):
        answer = client.get(f"{PAGE}{secret}.ics")
        assert answer.status_code == 404
        assert not answer.cookies


def test_a_secret_that_no_database_holds_finds_nothing(make):
    make_feed(make.member(make.owner))
    assert Client().get(f"{PAGE}%00.ics").status_code == 404


def test_the_secret_is_of_one_boat_and_long(make):
    other = Factory.start("Other Boat", prefix="other")
    feed = make_feed(make.member(make.owner))
    assert len(feed.secret) >= 43
    assert Client().get(f"/other-boat/calendar/{feed.secret}.ics").status_code == 404
    assert Client().get(f"/nowhere/calendar/{feed.secret}.ics").status_code == 404
    assert make_feed(other.member(other.owner)).secret != feed.secret


def test_who_left_the_boat_finds_nothing(make):
    address = feed_of(make, make.crew)
    assert Client().get(address).status_code == 200
    remove_member(make.boat, make.member(make.crew))
    assert Client().get(address).status_code == 404


def test_who_may_no_longer_sign_in_finds_nothing(make):
    address = feed_of(make, make.crew)
    make.crew.is_active = False
    make.crew.save()
    assert Client().get(address).status_code == 404


def test_who_became_a_trade_finds_no_more_than_a_trade(make):
    whole(make)
    address = feed_of(make, make.crew)
    Member.objects.filter(user=make.crew).update(role="trade")
    assert events(Client().get(address)) == {}


def test_only_looking_is_answered(make):
    address = feed_of(make, make.owner)
    assert Client().post(address).status_code == 405
    assert Client().head(address).status_code == 200


def test_the_feed_takes_the_same_queries_with_few_and_many(make, django_assert_max_num_queries):
    address, counts = feed_of(make, make.owner), []
    for _ in range(2):
        for _ in range(12):
            job, part = make.job(), make.part()
            need(make, job, part)
            Booking.objects.create(boat=make.boat, job=job, day=make.today, who="Rigger")
            make.order(make.line(part, job=job), expected_on=make.today)
        with django_assert_max_num_queries(30) as asked:
            Client().get(address)
        counts.append(len(asked))
    assert counts[0] == counts[1]


# Its page


@pytest.mark.parametrize("role", ["owner", "crew", "trade", "viewer"])
def test_every_member_makes_changes_and_removes_an_address(make, role):
    client = signed_in(getattr(make, role))
    assert "Make the address" in text_of(client.get(PAGE))
    client.post(PAGE, {"do": "make"})
    first = CalendarFeed.objects.get(member__user=getattr(make, role)).secret
    assert f"http://testserver{PAGE}{first}.ics" in client.get(PAGE).content.decode()
    client.post(PAGE, {"do": "change", "sure": "on"})
    second = CalendarFeed.objects.get(member__user=getattr(make, role)).secret
    assert Client().get(f"{PAGE}{first}.ics").status_code == 404
    assert Client().get(f"{PAGE}{second}.ics").status_code == 200
    said = text_of(client.post(PAGE, {"do": "remove", "sure": "on"}, follow=True))
    assert "The address is gone" in said
    assert Client().get(f"{PAGE}{second}.ics").status_code == 404


@pytest.mark.parametrize(
    "sent",
    [{}, {"do": "change"}, {"do": "remove"}, {"do": "make"}, {"do": "burn"}, {"do": "make", "sure": "on"}],
)
def test_what_is_not_ticked_or_not_known_changes_nothing(make, as_owner, sent):
    feed = make_feed(make.member(make.owner))
    assert as_owner.post(PAGE, sent).status_code == 422
    assert CalendarFeed.objects.get().secret == feed.secret


def test_an_address_is_shown_to_its_owner_only(make, as_owner, as_crew):
    feed = make_feed(make.member(make.owner))
    assert feed.secret not in as_crew.get(PAGE).content.decode()
    assert feed.secret in as_owner.get(PAGE).content.decode()


def test_that_it_cannot_be_undone_is_said(make, as_owner):
    make_feed(make.member(make.owner))
    assert "This cannot be undone." in text_of(as_owner.get(PAGE))
    answer = as_owner.post(PAGE, {"do": "change", "sure": "on"}, follow=True)
    assert ">Undo<" not in answer.content.decode()


def test_actions_refuse_a_second_address_and_a_removal_of_none(make):
    member = make.member(make.owner)
    refuse("none", lambda: remove_feed(member))
    make_feed(member)
    refuse("there", lambda: make_feed(member))


def test_who_may(make, as_outsider, client):
    assert as_outsider.get(PAGE).status_code == 404
    assert as_outsider.post(PAGE, {"do": "make"}).status_code == 404
    assert client.get(PAGE).status_code == 302
    assert not CalendarFeed.objects.exists()
