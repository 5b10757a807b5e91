"""What is shown of bags: on the page of the bag itself, and on the page of their job."""

from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet

from refit.boat.models import Location, Member, Paper
from refit.pages import seeing
from refit.stores.models import Need
from refit.work.models import Bag, Job, State

MOST_JOBS = 80


@dataclass(frozen=True)
class BagPage:
    """What lies in a bag: what it was, its photos in order, and what its job wants before it goes together."""

    bag: Bag
    photos: list[Paper]
    needs: list[Need]


def bag_in(member: Member, place: Location) -> BagPage | None:
    """Return what was put into this bag, as far as the member may see its job; the newest if there were several."""
    rows = Bag.objects.filter(place=place, job__in=seeing.jobs(member).values("pk"))
    bag = rows.select_related("job", "place").order_by("back_on", "-id").first()
    if bag is None:
        return None
    open_first = rows.filter(back_on=None).select_related("job", "place").first()
    bag = open_first or bag
    photos = Paper.objects.filter(place_papers__location=place).order_by("place_papers__id")
    needs = Need.objects.filter(bag=bag).select_related("part").order_by("id")
    return BagPage(bag, list(photos), list(needs))


def bags_of(job: Job) -> list[Bag]:
    """Return the bags of a job, those still apart first."""
    rows = job.bags.select_related("place__parent").order_by("-id")  # type: ignore[attr-defined]
    return sorted(rows, key=lambda bag: bag.back_on is not None)


def jobs_to_choose(jobs: "QuerySet[Job]") -> list[Any]:
    """Return the open jobs to choose from, those in hand first."""
    rows = list(jobs.open().order_by("-number")[:MOST_JOBS])  # type: ignore[attr-defined]
    return sorted(rows, key=lambda job: job.state != State.IN_HAND)
