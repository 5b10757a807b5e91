"""Dates, hours, how a job was done, gear, lists, bags and prices for the boat that the browser walks over."""

from datetime import timedelta
from typing import Any

from refit.buying.models import Offer
from refit.stores.models import KitContent, KitList, KitListLine
from refit.voyage.actions import Fitted, finish_job
from refit.work.actions import dates, found_job, plan_job
from refit.work.actions.dates import Coming
from refit.work.actions.doing import Done, Worked, set_hours
from refit.work.models import Bag
from tests.factory import D, Factory


def seed_time(make: Factory, job: Any, part: Any, place: Any, supplier: Any) -> dict[str, int]:
    """Fill what a boat knows of its time; return what addresses name by words of their own."""
    today, by = make.today, make.owner
    first = make.job("Draw the shaft")
    traits = ["hot", "gas", "resin"]
    plan_job(
        job, today=today, days=D("1.5"), space=place, sole_use=True, dry=True, cure_days=2, traits=traits
    )
    dates.come_after(job, first)
    dates.come_after(make.job("Line up the engine"), job)
    dates.book(job, Coming(today + timedelta(days=3), "Fitter", 2, "Brings the press"), today=today)
    dates.cancel_booking(dates.book(job, Coming(today, "Hoist"), today=today))
    launch = today + timedelta(days=30)
    dates.add_milestone(make.boat, kind="launch", target=launch, job=first, today=today)
    haul = dates.add_milestone(make.boat, kind="haul_out", today=today)
    dates.reach_milestone(haul, on=today, today=today)
    dates.set_terms(make.boat, weekdays="1111110", margin_days=3, hour_rate=2500, country="GB")
    dates.add_days_away(make.boat, today, today + timedelta(days=1), today=today, why="Wedding")
    found_job(job, title="Rotten core under the pump", by=by)
    worked = [Worked(job, 90, make.owner), Worked(job, 30, make.crew), Worked(first, 45, None, "Neighbour")]
    set_hours(make.boat, today, worked, by=by, today=today)
    pump = Fitted("Shaft seal", make.system, part, serial="A1", where="stern tube", fitted_on=today)
    done = Done("firm", "Yard Ltd", "C-17", "Pressed in", "Grease", "Dry at 2 bar", "Gauge no. 3")
    made = finish_job(first, done, [pump], on=today, by=by, today=today)
    kit = KitList.objects.create(boat=make.boat, name="Engine service")
    KitListLine.objects.create(boat=make.boat, kit_list=kit, part=part)
    bag = Bag.objects.create(
        boat=make.boat,
        job=job,
        place=make.place("B9", kind="bag"),
        what="Pump",
        taken_apart_on=today,
        by=by,
        note="Cam up",
    )
    offer = Offer.objects.create(
        boat=make.boat, supplier=supplier, part=part, price=D("41.50"), currency="GBP", seen_on=today
    )
    rope = make.part("Braid, 12 mm", unit="m", in_pieces=True)
    service = make.part("Pump kit")
    KitContent.objects.create(boat=make.boat, kit=service, part=part)
    return {
        "piece": make.stock(rope, place, 18).pk,
        "boxed": make.stock(service, place, 2).pk,
        "gear": made.gear[0].pk,
        "kit": kit.pk,
        "bag": bag.pk,
        "offer": offer.pk,
        "need": job.needs.first().pk,
    }
