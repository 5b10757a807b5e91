"""Rows for the tables of dates, of doing a job, of pieces and kits, of prices and promises, of fitted gear."""

from datetime import timedelta

from refit.buying.models import Offer, Order, Promise
from refit.stores.models import Companion, KitContent, KitList, KitListLine, Lot, Part
from refit.voyage.models import Gear
from refit.work.models import (
    After,
    Bag,
    Booking,
    CalendarFeed,
    DayAway,
    Finish,
    Hours,
    Job,
    JobTrait,
    Milestone,
    WorkTerms,
)
from tests.factory import D, Factory


def fill_time(make: Factory, order: Order, job: Job) -> None:
    """Bring in what a boat knows of its days, its prices and its pieces."""
    boat, today = make.boat, make.today
    first = make.job("Draw the shaft")
    After.objects.create(boat=boat, job=job, after=first)
    Booking.objects.create(boat=boat, job=job, day=today, who="Rigger")
    Milestone.objects.create(boat=boat, kind="launch", name="Launch", target=today, job=job)
    WorkTerms.objects.get_or_create(boat=boat)
    DayAway.objects.create(boat=boat, first=today, last=today + timedelta(days=2), why="Family")
    CalendarFeed.objects.create(boat=boat, member=make.member(make.owner), secret=f"{boat.pk:040}")
    JobTrait.objects.create(boat=boat, job=job, trait="hot")
    Hours.objects.create(boat=boat, job=job, who=make.owner, day=today, minutes=90, by=make.owner)
    Hours.objects.create(boat=boat, job=job, helper="Neighbour", day=today, minutes=30, by=make.owner)
    bag = make.place("B1", kind="bag")
    Bag.objects.create(
        boat=boat, job=job, place=bag, what="Windlass", taken_apart_on=today, by=make.owner, note="Pawl up"
    )
    Finish.objects.create(boat=boat, job=first, entered_by=make.owner)
    _fill_parts(make, order, job)


def _fill_parts(make: Factory, order: Order, job: Job) -> None:
    boat, today = make.boat, make.today
    kit = Part.objects.get(boat=boat, name="Service kit")
    part = Part.objects.get(boat=boat, name="Impeller")
    Lot.objects.create(boat=boat, part=part, number=1, condition="good")
    Companion.objects.create(boat=boat, part=part, other=kit)
    KitContent.objects.create(boat=boat, kit=kit, part=part)
    kits = KitList.objects.create(boat=boat, name="Engine service")
    KitListLine.objects.create(boat=boat, kit_list=kits, part=part)
    Offer.objects.create(
        boat=boat, supplier=order.supplier, part=part, price=D("12.50"), currency="GBP", seen_on=today
    )
    Promise.objects.create(boat=boat, order=order, day=today, who="Desk", said_on=today, by=make.owner)
    Gear.objects.create(
        boat=boat, name="Raw water pump", system=make.system, job=job, part=part, entered_by=make.owner
    )
