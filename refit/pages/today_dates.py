"""What Today says of dates: to order tonight, deliveries, whom to chase, who comes, what can begin, what is overdue.

Decides how many of each stand on Today, and where all of them are. Each section is there only if it has rows.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from refit.boat.rights import Right
from refit.buying.chasing import to_chase
from refit.buying.doable import now
from refit.buying.hanging import Names, clash_words, days, hanging, held_words, long
from refit.buying.models import Line, Order
from refit.buying.netted import Netted
from refit.pages.acting import at
from refit.work.models import Booking, Job, State
from refit.work.planning import job_key, milestone_key

HANDFUL = 4
SOON = 7  # days ahead for deliveries and for who comes


@dataclass(frozen=True)
class Item:
    """One row: where it leads, what it is, what is to be known of it, and a mark with its tone."""

    go: str
    what: str
    words: str = ""
    mark: str = ""
    tone: str = ""


@dataclass(frozen=True)
class Section:
    """Some rows under a heading, with where all of them are and how many more there are."""

    title: str
    items: tuple[Item, ...]
    more: int = 0
    go: str = ""
    word: str = ""


def launch_line(net: Netted) -> dict[str, Any] | None:
    """Return what the launch hangs on, in one line, and whether that is late."""
    chains = hanging(net)
    if not chains:
        return None
    first = chains[0]
    return {"sentence": first.line, "lateness": first.lateness, "late": (first.late or 0) > 0}


def sections(request: Any, net: Netted, shown: Iterable[Job]) -> list[Section]:
    """Return the sections that have rows; `shown` are the jobs that Today names already."""
    found: list[Section] = []
    if Right.SEE_MONEY in request.rights:
        found += [_order_tonight(request, net), _deliveries(request), _chase(request)]
    found += [_coming(request, net), _begin(request, net, {job.pk for job in shown}), _overdue(request, net)]
    return [section for section in found if section.items]


def own_bookings(jobs: Any, today: Any) -> list[Booking]:
    """Return the days that are booked for some jobs and not over, the next first."""
    rows = Booking.objects.filter(job__in=jobs, cancelled_at=None, day__gte=today - timedelta(days=365))
    coming = rows.select_related("job").order_by("day", "id")
    return [row for row in coming if row.day + timedelta(days=row.days) > today]


def _section(title: str, rows: list[Item], go: str, word: str) -> Section:
    return Section(title, tuple(rows[:HANDFUL]), max(len(rows) - HANDFUL, 0), go, word)


def _order_tonight(request: Any, net: Netted) -> Section:
    due = [
        (row.met.order_by, net.parts[row.met.buy].name, row.job)
        for row in net.rows
        if row.met is not None and row.to_buy > 0 and row.met.order_by and row.met.order_by <= net.today
    ]
    due.sort(key=lambda each: (each[0], each[2].priority, each[2].number))
    rows = []
    for day, name, job in due:
        late = (net.today - day).days
        words = f"for job {job.number}, {job.title}"
        mark = f"{days(late)} late" if late else "today"
        rows.append(Item(at(request, "job", job.number), name, words, mark, "stop" if late else "warn"))
    return _section("Order tonight", rows, at(request, "buy"), "What to order")


def _deliveries(request: Any) -> Section:
    """Return what is expected today and in the days to come; what is late stands under whom to chase."""
    until = request.today + timedelta(days=SOON)
    orders = list(
        Order.objects.coming()
        .filter(boat=request.boat, expected_on__gte=request.today, expected_on__lte=until)
        .select_related("supplier")
        .order_by("expected_on", "number")
    )
    what: dict[int, list[str]] = {order.pk: [] for order in orders}
    lines = Line.objects.filter(order__in=list(what)).select_related("part").order_by("position")
    for line in lines:
        if line.open_quantity > 0:
            what[line.order_id].append(line.what)
    rows = []
    for order in orders:
        today = order.expected_on == request.today
        day = "today" if today or order.expected_on is None else f"{order.expected_on:%a %-d %b}"
        said = ", ".join(what[order.pk])[:90]
        go = at(request, "order", order.number)
        rows.append(Item(go, f"{order.number} · {order.supplier}", said, day, "warn" if today else ""))
    return _section("Deliveries due", rows, f"{at(request, 'orders')}?sort=expected", "Orders")


def _chase(request: Any) -> Section:
    asked, _ = to_chase(request.boat, request.today)
    rows = [
        Item(
            at(request, "chase-one" if Right.BUY in request.rights else "order", row.order.number),
            f"{row.order.number} · {row.order.supplier}",
            ", ".join(row.what)[:90],
            f"{days(row.late_days)} late" if row.late_days else row.why.value,
            "stop" if row.late_days else "warn",
        )
        for row in asked
    ]
    return _section("To chase", rows, at(request, "chase"), "Whom to chase")


def _coming(request: Any, net: Netted) -> Section:
    names = Names(net)
    missed = {(clash.key, clash.booked.day, clash.booked.who): clash for clash in net.plan.clashes}
    until = net.today + timedelta(days=SOON)
    found = [
        (row, job)
        for job in net.work.jobs
        for row in net.work.bookings.get(job.pk, ())
        if row.day <= until and row.day + timedelta(days=row.days) > net.today
    ]
    rows = []
    for row, job in sorted(found, key=lambda each: (each[0].day, each[0].pk)):
        clash = missed.get((job_key(job), row.day, row.who))
        day = (
            "here now" if row.day < net.today else "today" if row.day == net.today else f"{row.day:%a %-d %b}"
        )
        words = f"job {job.number}, {job.title}"
        if clash:
            words = f"{words}: cannot be met, {clash_words(clash, names)}"
        rows.append(
            Item(f"{at(request, 'job', job.number)}#bookings", row.who, words, day, "stop" if clash else "")
        )
    return _section("Coming to work", rows, f"{at(request, 'plan')}?booked=on", "All bookings")


def _begin(request: Any, net: Netted, shown: set[int]) -> Section:
    """Return the jobs that can begin today and that Today does not name as in hand or ready."""
    if not net.work.working.works(net.today):
        return Section("", ())
    jobs = [job for job in now(net) if job.state == State.PLANNED and job.pk not in shown]
    jobs.sort(key=lambda job: (net.plan.placed[job_key(job)].total_float, job.priority, job.number))
    rows = [
        Item(at(request, "job-fetch", job.number), f"{job.number} {job.title}", job.system.name)
        for job in jobs
    ]
    return _section(
        "Can begin: nothing holds them, parts are here", rows, at(request, "two-hours"), "I have two hours"
    )


def _overdue(request: Any, net: Netted) -> Section:
    """Return the milestones whose day has passed or will be missed, and the jobs that should have begun before now."""
    names = Names(net)
    rows = []
    for row in net.work.milestones:
        placed = net.plan.placed.get(milestone_key(row))
        if row.target and placed and (placed.finish > row.target):
            late = days((placed.finish - row.target).days)
            rows.append(
                Item(
                    at(request, "plan"),
                    row.name,
                    f"set for {long(row.target)}, as things stand {long(placed.finish)}",
                    f"{late} late",
                    "stop",
                )
            )
    late_jobs = [
        (placed.total_float, job, placed)
        for job in net.work.jobs
        if (placed := net.plan.placed[job_key(job)]).total_float < 0 and placed.late_start < net.today
    ]
    for spare, job, placed in sorted(late_jobs, key=lambda each: (each[0], each[1].number)):
        words = held_words(placed.held_by, names)
        count = f"{-spare} working day{'' if spare == -1 else 's'} late"
        rows.append(Item(at(request, "job", job.number), f"{job.number} {job.title}", words, count, "stop"))
    return _section("Overdue", rows, f"{at(request, 'plan')}?critical=on", "The plan")
