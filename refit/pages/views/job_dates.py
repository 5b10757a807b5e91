"""What a job comes after, who is booked for it, and what was found while doing it: from the job's own page."""

from typing import Any
from urllib.parse import urlencode

from django.db.models import Q
from django.http import HttpResponse
from django.shortcuts import render

from refit.boat.actions import papers as keeping
from refit.pages import paper_owners, seeing
from refit.pages.acting import Done, act, at, press, refused_page
from refit.pages.forms.dates import BEFORE, AfterForm, BookingForm
from refit.pages.forms.doing import FoundForm
from refit.pages.forms.needs import WantForm
from refit.pages.job_page import page_of
from refit.pages.job_photos import keep_photos
from refit.pages.paper_owners import joined
from refit.work.actions import dates, found_job, remove_job
from refit.work.models import After, Booking, Job, JobPaper


def _job(request: Any, number: int) -> Job:
    rows = seeing.jobs(request.member).select_related("boat", "system", "given_to__user", "space")
    found: Job = seeing.one(rows, number=number)
    return found


def _page(request: Any, number: int, part: str) -> str:
    return f"{at(request, 'job', number)}#{part}"


def _refused(request: Any, job: Job, **forms: Any) -> HttpResponse:
    return refused_page(request, "jobs/job.html", page_of(request, job, WantForm(request.boat)) | forms)


# What comes after what


def after_add(request: Any, number: int) -> HttpResponse:
    """Say that a job comes after another, or before it."""
    job = _job(request, number)
    form = AfterForm(request.boat, request.POST if "job" in request.POST else request.GET, auto_id="after_%s")

    def deed() -> Done:
        other = form.cleaned_data["job"]
        first, then = (job, other) if form.cleaned_data["way"] == BEFORE else (other, job)
        made = dates.come_after(then, first)
        undo = at(request, "after-remove", number, made.pk)
        return Done(
            _page(request, number, "after"), f"Job {then.number} comes after job {first.number}.", undo
        )

    response = act(request, form, deed) if form.is_valid() else None
    return response or _refused(request, job, after_form=form)


def after_remove(request: Any, number: int, arrow: int) -> HttpResponse:
    """Take a step between two jobs out."""
    job = _job(request, number)
    rows = After.objects.filter(Q(job=job) | Q(after=job), boat=request.boat)
    found: After = seeing.one(rows.select_related("boat", "job", "after"), pk=arrow)
    back = _page(request, number, "after")

    def deed() -> Done:
        dates.not_after(found)
        said = f"Job {found.job.number} need not wait for job {found.after.number}."
        again = urlencode({"job": found.after.number})
        return Done(back, said, f"{at(request, 'after-add', found.job.number)}?{again}")

    return press(request, deed, back)


# Bookings


def _booking(request: Any, number: int, pk: int) -> Booking:
    rows = Booking.objects.filter(boat=request.boat, job=_job(request, number)).select_related("boat", "job")
    found: Booking = seeing.one(rows, pk=pk)
    return found


def booking_add(request: Any, number: int) -> HttpResponse:
    """Say that somebody comes for a job."""
    job = _job(request, number)
    form = BookingForm(request.boat, request.POST, auto_id="booking_%s")

    def deed() -> Done:
        made = dates.book(job, form.coming(), today=request.today, for_both=form.cleaned_data["both"])
        undo = at(request, "booking-remove", number, made.pk)
        return Done(_page(request, number, "bookings"), f"{made.who} comes on {made.day:%-d %b %Y}.", undo)

    response = act(request, form, deed) if form.is_valid() else None
    return response or _refused(request, job, booking_form=form)


def booking_change(request: Any, number: int, booking: int) -> HttpResponse:
    """Move a booking; its undo sends what stood before."""
    found = _booking(request, number, booking)
    sent = request.POST if "day" in request.POST else request.GET
    form = BookingForm(request.boat, sent, auto_id=f"booking{found.pk}_%s")
    before = {"day": found.day, "days": found.days, "who": found.who, "note": found.note, "both": "on"}

    def deed() -> Done:
        both = form.cleaned_data["both"]
        made = dates.change_booking(found, form.coming(), today=request.today, for_both=both)
        undo = f"{at(request, 'booking-change', number, booking)}?{urlencode(before)}"
        return Done(_page(request, number, "bookings"), f"{made.who} comes on {made.day:%-d %b %Y}.", undo)

    response = act(request, form, deed) if form.is_valid() else None
    return response or _refused(request, found.job, changed_booking=found.pk, booking_change_form=form)


def booking_cancel(request: Any, number: int, booking: int) -> HttpResponse:
    """Say that they do not come."""
    found = _booking(request, number, booking)
    back = _page(request, number, "bookings")

    def deed() -> Done:
        dates.cancel_booking(found)
        undo = at(request, "booking-uncancel", number, booking)
        return Done(back, f"{found.who} does not come on {found.day:%-d %b %Y}.", undo)

    return press(request, deed, back)


def booking_uncancel(request: Any, number: int, booking: int) -> HttpResponse:
    """Say that they come after all."""
    found = _booking(request, number, booking)
    back = _page(request, number, "bookings")

    def deed() -> Done:
        dates.uncancel_booking(found)
        undo = at(request, "booking-cancel", number, booking)
        return Done(back, f"{found.who} comes on {found.day:%-d %b %Y} after all.", undo)

    return press(request, deed, back)


def booking_remove(request: Any, number: int, booking: int) -> HttpResponse:
    """Take a booking off that was a mistake (undo)."""
    found = _booking(request, number, booking)
    back = _page(request, number, "bookings")

    def deed() -> Done:
        dates.remove_booking(found)
        return Done(back, f"The booking of {found.who} is off again.")

    return press(request, deed, back)


# Found while doing another


def found(request: Any, number: int) -> HttpResponse:
    """Put on the list what was found while doing a job, with its photos."""
    job = _job(request, number)
    if request.method == "GET":
        return render(request, "jobs/found.html", {"job": job, "found_form": FoundForm(request.boat)})
    form = FoundForm(request.boat, request.POST, request.FILES)

    def deed() -> Done:
        made = found_job(job, title=form.cleaned_data["title"], by=request.user)
        papers = keep_photos(request, made, form.cleaned_data["photos"])
        undo = at(request, "job-remove", made.number)
        if papers:
            undo = f"{undo}?{urlencode({'papers': joined(papers)})}"
        return Done(at(request, "job", made.number), f"Job {made.number}, found during job {number}.", undo)

    response = act(request, form, deed) if form.is_valid() else None
    return response or refused_page(request, "jobs/found.html", {"job": job, "found_form": form})


def remove(request: Any, number: int) -> HttpResponse:
    """Take a job off again that nothing hangs on; `?papers=` are the photos that came with it (undo)."""
    job = _job(request, number)
    named = request.GET.get("papers", "")
    papers = paper_owners.named(request, named) if named else []
    page = at(request, "job", number)

    def deed() -> Done:
        for paper in papers:
            keeping.take_off(JobPaper, paper, job=job)
        remove_job(job)
        rest = " Its photos lie in the tray." if papers else ""
        before = job.found_during
        back = at(request, "job", before.number) if before else at(request, "jobs")
        return Done(back, f"Job {number} is off the list again.{rest}")

    return press(request, deed, page)
