"""Today: what needs doing now, each with the way there; first steps on a new boat; the clock, if it is in doubt."""

from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Q, Sum
from django.http import HttpResponse
from django.shortcuts import render

from refit.boat.models import Kind, Label, Location, Paper, System
from refit.boat.rights import Right
from refit.buying import owing
from refit.buying.models import Line, Order, OrderState
from refit.buying.netted import netted
from refit.buying.reading import wanted
from refit.buying.spend import budgets
from refit.pages import clock, seeing
from refit.pages.acting import Done, at, press
from refit.pages.forms.jobs import WANTING
from refit.pages.today_dates import launch_line, own_bookings, sections
from refit.pages.views.bills import late_bills
from refit.stores.models import Holding, Missing
from refit.stores.reading import below_minimum, out_of_date
from refit.work.models import Job, State

CLOCK = "clock_is_right"  # in the session: for each boat, the day that was said to be right
SOON_DAYS = 7
MOST = 8


@dataclass(frozen=True)
class Card:
    """A count that leads to what is counted."""

    count: int
    word: str
    go: str
    tone: str = ""


@dataclass(frozen=True)
class Step:
    """One of the first steps on a new boat."""

    word: str
    why: str
    go: str
    done: bool


def today(request: Any) -> HttpResponse:
    """Show what needs doing now. A trade sees its jobs."""
    mine: Any = seeing.jobs(request.member).select_related("system", "given_to__user")
    active = mine.filter(state__in=[State.IN_HAND, State.READY])
    in_hand = list(active.filter(state=State.IN_HAND).order_by("number")[:MOST])
    ready = list(active.filter(state=State.READY).order_by("number")[:MOST])
    context: dict[str, Any] = {"in_hand": in_hand, "ready": ready}
    if Right.SEE_ALL not in request.rights:
        booked = own_bookings(mine.open(), request.today)[:MOST]
        return render(
            request,
            "today/trade.html",
            context | {"jobs": list(mine.open().order_by("number")), "booked": booked},
        )
    found = clock.doubt(request.boat, request.today)
    if found and request.session.get(CLOCK, {}).get(str(request.boat.pk)) != request.today.isoformat():
        context["doubt"] = found
    cards = [card for card in [*_stores_cards(request), *_buying_cards(request), *_job_cards(request, mine)]]
    context["cards"] = [card for card in cards if card.count]
    net = netted(request.boat, request.today)
    context["sections"] = sections(request, net, [*in_hand, *ready])
    context["launch"] = launch_line(net)
    if Right.SEE_MONEY in request.rights:
        context["spent"] = _spent(request)
    if Right.SET_UP in request.rights:
        steps = _first_steps(request)
        context["steps"] = steps if not all(step.done for step in steps) else []
        context["next_step"] = next((step for step in steps if not step.done), None)
    return render(request, "today/today.html", context)


def clock_is_right(request: Any) -> HttpResponse:
    """Remember that the day is right, for this person and this day: nothing of the boat changes."""

    def deed() -> Done:
        said = {**request.session.get(CLOCK, {}), str(request.boat.pk): request.today.isoformat()}
        request.session[CLOCK] = said
        return Done(go=at(request, "today"), said=f"Today is {request.today:%-d %b %Y}, then.")

    return press(request, deed, at(request, "today"))


def _stores_cards(request: Any) -> list[Card]:
    boat = request.boat
    lying = Holding.objects.there().filter(boat=boat, place__kind=Kind.UNSTOWED).count()
    missing = Missing.objects.filter(boat=boat, closed_at=None).count()
    spares = at(request, "spares")
    return [
        Card(lying, "not stowed yet", at(request, "not-stowed")),
        Card(len(below_minimum(boat, request.today)), "spares below the least", spares, "warn"),
        Card(len(out_of_date(boat, request.today)), "out of date", spares, "stop"),
        Card(missing, "missing", at(request, "missing"), "warn"),
    ]


def _buying_cards(request: Any) -> list[Card]:
    if Right.SEE_MONEY not in request.rights:
        return []
    day = request.today
    coming = Q(state__in=[OrderState.ORDERED, OrderState.PART_ARRIVED])
    soon = day.fromordinal(day.toordinal() + SOON_DAYS)
    counts = Order.objects.filter(boat=request.boat).aggregate(
        late=Count("id", filter=coming & Q(expected_on__lt=day)),
        due=Count("id", filter=coming & Q(expected_on__gte=day, expected_on__lte=soon)),
        drafts=Count("id", filter=Q(state=OrderState.DRAFT)),
    )
    orders = at(request, "orders")
    cards = [
        Card(counts["late"], "orders late", f"{orders}?sort=expected", "warn"),
        Card(counts["due"], f"orders due within {SOON_DAYS} days", f"{orders}?sort=expected"),
        Card(counts["drafts"], "orders not ordered yet", f"{orders}?state={OrderState.DRAFT}"),
    ]
    cards += _paying_cards(request)
    if Right.BUY in request.rights:
        late = late_bills(request.boat, day)
        cards.append(Card(late, "bills not come in 30 days", at(request, "bills"), "warn"))
        tray = Paper.objects.filter(boat=request.boat, in_tray=True).count()
        cards.append(Card(tray, "receipts to sort", at(request, "tray")))
    return cards


def _paying_cards(request: Any) -> list[Card]:
    everything = owing.everything(request.boat)
    to_pay = at(request, "to-pay")
    again = owing.due_again(request.boat, request.today).count()
    return [
        Card(again, "due again: confirm", at(request, "repeats"), "warn"),
        Card(sum(1 for row in everything if row.left), "orders and bills to pay", to_pay),
        Card(sum(1 for row in everything if row.over), "paid too much", f"{to_pay}#over", "stop"),
        Card(owing.we_owe(request.boat).count(), "to pay back to helpers", at(request, "we-owe"), "warn"),
    ]


def _job_cards(request: Any, mine: Any) -> list[Card]:
    jobs = at(request, "jobs")
    states = dict(mine.open().order_by().values_list("state").annotate(count=Count("id")))
    wanting = wanted(mine.open())
    hungry = sum(1 for wants in wanting.values() if any(want.unmet > 0 for want in wants))
    return [
        Card(states.get(State.IN_HAND, 0), "jobs in hand", f"{jobs}?state={State.IN_HAND}"),
        Card(states.get(State.READY, 0), "jobs ready", f"{jobs}?state={State.READY}"),
        Card(states.get(State.WAITING, 0), "jobs waiting", f"{jobs}?state={State.WAITING}"),
        Card(hungry, "open jobs still want parts", f"{jobs}?parts={WANTING}"),
    ]


def _spent(request: Any) -> dict[str, int]:
    """Return what was ordered, less what came back, against the budgets, for the one line about money."""
    sums = Line.objects.filter(boat=request.boat, counted=True).aggregate(
        landed=Sum("landed"), back=Sum("refunded")
    )
    ordered = (sums["landed"] or 0) - (sums["back"] or 0)
    budget = sum(budgets(request.boat, request.today).values())
    return {"ordered": ordered, "budget": budget, "over": max(ordered - budget, 0) if budget else 0}


def _first_steps(request: Any) -> list[Step]:
    """Return the first steps of a new boat, in the order that gets a label scanned soonest."""
    boat = request.boat
    lockers = (
        Location.objects.in_use().filter(boat=boat).exclude(kind__in=[Kind.AREA, Kind.UNSTOWED]).exists()
    )
    printed = Label.objects.filter(boat=boat, printed_at__isnull=False).exists()
    systems = System.objects.filter(boat=boat).exists()
    jobs = Job.objects.filter(boat=boat).exists()
    return [
        Step(
            "Name the lockers", "a quick list: P1-P6, S1-S6, Forepeak", at(request, "places-quick"), lockers
        ),
        Step("Print a test label", "scan it with every phone first", at(request, "labels"), printed),
        Step("Tick the systems", "money and jobs are counted by them", at(request, "systems"), systems),
        Step("Write down the first job", "orders and parts go by job", at(request, "job-new"), jobs),
    ]
