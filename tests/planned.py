"""A small refit whose launch hangs on a late part: for the tests of the plan, of trials and of what shows dates."""

from dataclasses import dataclass
from datetime import date, timedelta

from refit.buying.models import Order
from refit.stores.models import Need, Part
from refit.work.models import After, Job, Milestone, WorkTerms
from tests.factory import D, Factory


@dataclass
class Yard:
    """What there is: the part on order, its day, the job that wants it, the one after, and a long one beside them."""

    part: Part
    order: Order
    due: date
    mast: Job
    rig: Job
    long: Job
    launch: Milestone


def need(make: Factory, job: Job, part: Part | None, quantity: int = 1, **facts) -> Need:
    """Write down that a job wants something."""
    return Need.objects.create(boat=make.boat, job=job, part=part, quantity=D(quantity), **facts)


def refit_with_a_late_part(make: Factory, *, due_in: int = 20) -> Yard:
    """Every day is worked: a mast to step (3 days) and to tune (2), a long job (9), a mast step due in 20 days."""
    WorkTerms.objects.update_or_create(boat=make.boat, defaults={"weekdays": "1111111"})
    part = make.part("Mast step")
    mast, rig, long = make.job("Step the mast"), make.job("Tune the rig"), make.job("Paint the topsides")
    for job, days in ((mast, 3), (rig, 2), (long, 9)):
        job.days = D(days)
        job.save()
    After.objects.create(boat=make.boat, job=rig, after=mast)
    need(make, mast, part)
    due = make.today + timedelta(days=due_in)
    order = make.order(make.line(part, job=mast), supplier=make.supplier("Maker"), expected_on=due)
    launch = Milestone.objects.create(boat=make.boat, kind="launch", name="Launch")
    return Yard(part, order, due, mast, rig, long, launch)
