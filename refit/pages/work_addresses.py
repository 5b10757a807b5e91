"""The addresses of dates, hours, how jobs were done and fitted gear: a part of the table in `addresses`."""

from refit.boat.rights import Right
from refit.pages.guarding import Address
from refit.pages.views import dates, finish, gear, hours, job_dates, job_print

POST = ("POST",)
JOB = "jobs/<int:number>/"
MILESTONE = "plan/dates/<int:milestone>/"

WORK: tuple[Address, ...] = (
    # What comes after what, who is booked, what was found on the way
    Address(f"{JOB}after/", job_dates.after_add, Right.WORK, "after-add", POST),
    Address(f"{JOB}after/<int:arrow>/remove/", job_dates.after_remove, Right.WORK, "after-remove", POST),
    Address(f"{JOB}booking/", job_dates.booking_add, Right.WORK, "booking-add", POST),
    Address(f"{JOB}booking/<int:booking>/", job_dates.booking_change, Right.WORK, "booking-change", POST),
    Address(
        f"{JOB}booking/<int:booking>/cancel/", job_dates.booking_cancel, Right.WORK, "booking-cancel", POST
    ),
    Address(
        f"{JOB}booking/<int:booking>/uncancel/",
        job_dates.booking_uncancel,
        Right.WORK,
        "booking-uncancel",
        POST,
    ),
    Address(
        f"{JOB}booking/<int:booking>/remove/", job_dates.booking_remove, Right.WORK, "booking-remove", POST
    ),
    Address(f"{JOB}found/", job_dates.found, Right.WORK, "job-found"),
    Address(f"{JOB}remove/", job_dates.remove, Right.WORK, "job-remove", POST),
    # How it was done, and on paper
    Address(f"{JOB}done/", finish.done, Right.WORK, "job-done"),
    Address(f"{JOB}done/undo/", finish.undo, Right.WORK, "job-done-undo", POST),
    Address(f"{JOB}sheet.pdf", job_print.sheet, Right.SEE, "job-sheet", ("GET",)),
    # Milestones and working days
    Address("plan/dates/", dates.dates, Right.WORK, "dates", ("GET",)),
    Address("plan/dates/milestone/", dates.milestone_add, Right.WORK, "milestone-add", POST),
    Address(f"{MILESTONE}change/", dates.milestone_change, Right.WORK, "milestone-change", POST),
    Address(f"{MILESTONE}reached/", dates.milestone_reached, Right.WORK, "milestone-reached", POST),
    Address(f"{MILESTONE}unreach/", dates.milestone_unreach, Right.WORK, "milestone-unreach", POST),
    Address(f"{MILESTONE}remove/", dates.milestone_remove, Right.WORK, "milestone-remove", POST),
    Address("plan/dates/working/", dates.terms, Right.WORK, "terms", POST),
    Address("plan/dates/away/", dates.away_add, Right.WORK, "away-add", POST),
    Address("plan/dates/away/<int:away>/remove/", dates.away_remove, Right.WORK, "away-remove", POST),
    # Hours
    Address("hours/", hours.hours, Right.WORK, "hours"),
    # Fitted gear
    Address("gear/", gear.gear, Right.SEE_ALL, "gear", ("GET",)),
    Address("gear/new/", gear.new, Right.WORK, "gear-new"),
    Address("gear/<int:gear>/change/", gear.change, Right.WORK, "gear-change"),
    Address("gear/<int:gear>/removed/", gear.removed, Right.WORK, "gear-removed", POST),
    Address("gear/<int:gear>/fitted/", gear.fitted, Right.WORK, "gear-fitted", POST),
    Address("gear/<int:gear>/remove/", gear.remove, Right.WORK, "gear-remove", POST),
)
