"""A boat's calendar as a member may see it: order-by dates, deliveries, bookings, milestones, days away. No prices.

A trade sees the bookings of the jobs given to it and nothing else. Where an event leads to is the caller's to say.
"""

from collections.abc import Callable, Iterator
from datetime import date, datetime, timedelta

from refit.boat.clock import zone
from refit.boat.models import Member
from refit.boat.rights import RIGHTS, Right
from refit.buying.models import Line, Order
from refit.buying.netted import NeedInTime, Netted, netted
from refit.calc.numbers import format_quantity
from refit.reports.calendar import Event, calendar
from refit.work.models import Booking, DayAway, Job, Milestone
from refit.work.planning import milestone_key

KEPT_DAYS = 60  # so long what has passed stays in the calendar
Link = Callable[..., str]  # the name of a page and its arguments, to an address
MOST_WORDS = 300


def boat_calendar(member: Member, link: Link, now: datetime) -> bytes:
    """Return the calendar of a member's boat as they may see it."""
    today = now.astimezone(zone(member.boat)).date()
    return calendar(f"{member.boat.name} refit", events_of(member, today, link), stamp=now)


def events_of(member: Member, today: date, link: Link) -> list[Event]:
    """Return the events that a member may see."""
    boat, rights = member.boat, RIGHTS[member.role]
    found = list(_bookings(member, today, link))
    if Right.SEE_ALL not in rights:
        return found
    net = netted(boat, today)
    found += _milestones(net, link)
    found += _away(member, today)
    found += _order_by(net, link)
    if Right.SEE_MONEY in rights:
        found += _deliveries(member, today, link)
    return found


def _uid(member: Member, kind: str, key: object) -> str:
    return f"{kind}-{key}@{member.boat.slug}.refit"


def _bookings(member: Member, today: date, link: Link) -> Iterator[Event]:
    jobs = Job.objects.seen_by(member).values("pk")
    rows = Booking.objects.filter(job__in=jobs, cancelled_at=None, day__gte=today - timedelta(days=KEPT_DAYS))
    for row in rows.select_related("job"):
        yield Event(
            uid=_uid(member, "booking", row.pk),
            summary=f"{row.who}: {row.job.title}",
            first=row.day,
            last=row.day + timedelta(days=row.days - 1),
            description=f"Job {row.job.number}, {row.job.title}\n{row.note}".strip(),
            url=link("job", row.job.number),
            kind="booking",
        )


def _milestones(net: Netted, link: Link) -> Iterator[Event]:
    for row in Milestone.objects.filter(boat=net.boat):
        name = f"milestone-{row.pk}"
        at = f"{net.boat.slug}.refit"
        placed = net.plan.placed.get(milestone_key(row))
        if row.reached_on:
            yield Event(
                f"{name}@{at}", f"{row.name}: reached", row.reached_on, row.reached_on, kind="milestone"
            )
            continue
        if row.target:
            words = f"As things stand: {placed.finish:%-d %b %Y}" if placed else ""
            yield Event(
                f"{name}-set@{at}",
                f"{row.name}: set day",
                row.target,
                row.target,
                words,
                link("plan"),
                "milestone",
            )
        if placed and placed.finish != row.target:
            words = f"Set for {row.target:%-d %b %Y}" if row.target else ""
            yield Event(
                f"{name}@{at}",
                f"{row.name}: as things stand",
                placed.finish,
                placed.finish,
                words,
                link("plan"),
                "milestone",
            )


def _away(member: Member, today: date) -> Iterator[Event]:
    for row in DayAway.objects.filter(boat=member.boat, last__gte=today - timedelta(days=KEPT_DAYS)):
        summary = f"Away: {row.why}" if row.why else "Nobody works on the boat"
        yield Event(_uid(member, "away", row.pk), summary, row.first, row.last, kind="away")


def _order_by(net: Netted, link: Link) -> Iterator[Event]:
    """Yield the last day to order each thing; what should have been ordered before stands on today."""
    for row in net.rows:
        if row.to_buy <= 0 or row.met is None or row.met.order_by is None:
            continue
        part = net.parts[row.met.buy]
        day = max(row.met.order_by, net.today)
        passed = (
            f"\nIt should have been ordered by {row.met.order_by:%-d %b %Y}"
            if day != row.met.order_by
            else ""
        )
        yield Event(
            uid=f"order-by-{row.need.pk}@{net.boat.slug}.refit",
            summary=f"Order {part.name}",
            first=day,
            last=day,
            description=f"{_how_many(row)} for job {row.job.number}, {row.job.title}{passed}",
            url=link("part", part.pk),
            kind="order by",
        )


def _how_many(row: NeedInTime) -> str:
    part = row.need.part
    unit = f" {part.get_unit_display()}" if part and part.unit != "each" else ""
    return f"{format_quantity(row.to_buy)}{unit}"


def _deliveries(member: Member, today: date, link: Link) -> Iterator[Event]:
    orders = list(
        Order.objects.coming()
        .filter(boat=member.boat, expected_on__gte=today - timedelta(days=KEPT_DAYS))
        .select_related("supplier")
    )
    words: dict[int, list[str]] = {order.pk: [] for order in orders}
    for line in Line.objects.filter(order__in=list(words)).select_related("part").order_by("position"):
        if line.open_quantity > 0:
            words[line.order_id].append(line.what)
    for order in orders:
        day = order.expected_on
        if day is not None:
            yield Event(
                uid=_uid(member, "order", order.pk),
                summary=f"{order.supplier} delivers order {order.number}"
                + (" (late)" if day < today else ""),
                first=day,
                last=day,
                description=", ".join(words[order.pk])[:MOST_WORDS],
                url=link("order", order.number),
                kind="delivery",
            )
