"""The addresses of the plan and of what shows dates: a part of the table in `addresses`."""

from refit.boat.rights import Right
from refit.pages.guarding import Address
from refit.pages.views import calendars, plan, trying, two_hours

GET, POST = ("GET",), ("POST",)

PLAN: tuple[Address, ...] = (
    Address("plan/", plan.plan, Right.SEE_ALL, "plan", GET),
    Address("plan.pdf", plan.pdf, Right.SEE_ALL, "plan-pdf", GET),
    Address("plan/try/", trying.trying, Right.SEE_ALL, "plan-try", GET),
    Address("plan/try/keep/", trying.keep, Right.WORK, "plan-keep", POST),
    Address("plan/try/back/", trying.back, Right.WORK, "plan-try-back", POST),
    Address("two-hours/", two_hours.two_hours, Right.SEE_ALL, "two-hours", GET),
    Address("calendar/", calendars.calendar, Right.SEE, "calendar"),
)

# Whoever knows the secret may see it: no boat's member is asked for.
FEED = Address("<slug:boat>/calendar/<str:secret>.ics", calendars.feed, None, "calendar-feed", GET)
