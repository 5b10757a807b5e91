"""What each milestone hangs on, from the root to its day, with what would help first: the plan's chain and the netting.

Decides which need, order or promise stands behind the root of a chain, how it is said, and which deed would move the
day. Takes a boat as it was netted and reads one query more: who promised what. Decides nothing about dates.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from refit.boat.models import Where
from refit.buying.models import Line, Promise
from refit.buying.netted import NeedInTime, Netted
from refit.calc.netting import Source
from refit.calc.plan import Clash, Held, Hold, Link, chain, plan
from refit.calc.schedule import Unworkable
from refit.work.models import Job, Milestone, MilestoneKind
from refit.work.planning import job_key, milestone_key, tasks_of

MOST_STEPS = 7  # of a long chain the sentence names the last ones


class Deed(StrEnum):
    """What would help."""

    CHASE = "chase"
    ORDER = "order"
    ASK = "ask"
    MOVE = "move"
    HANDS = "hands"


@dataclass(frozen=True)
class Help:
    """Something to do that may bring a milestone nearer, and what of the boat it is about."""

    deed: Deed
    words: str
    order: int | None = None
    part: int | None = None
    job: int | None = None


@dataclass(frozen=True)
class Root:
    """What a chain begins with: in words, and the need and order behind it if it is a part."""

    kind: Held
    words: str
    need: NeedInTime | None = None
    line: Line | None = None
    promise: Promise | None = None
    to_order: bool = False


@dataclass(frozen=True)
class Step:
    """One job or milestone of a chain, what ties it to the one before it, and its days."""

    key: str
    name: str
    kind: Held
    start: date
    finish: date
    job: Job | None = None


@dataclass(frozen=True)
class Hangs:
    """What one milestone hangs on. `late` is in calendar days past its target, negative in hand, None without one."""

    milestone: Milestone
    day: date
    root: Root
    steps: tuple[Step, ...]
    helps: tuple[Help, ...]

    @property
    def late(self) -> int | None:
        target = self.milestone.target
        return None if target is None else (self.day - target).days

    @property
    def sentence(self) -> str:
        """Return it in one sentence, for paper and for who cannot see the chain."""
        return f"{self.milestone.name} {long(self.day)} hangs on: {' → '.join(self.links)}"

    @property
    def line(self) -> str:
        """Return it in one line: what the chain begins with, or the first job where nothing but work is before it."""
        plain = self.root.kind is Held.TODAY and self.steps
        first = self.steps[0].name if plain else self.root.words.split(" (order ")[0]
        return f"{self.milestone.name} {long(self.day)} hangs on: {first}"

    @property
    def links(self) -> list[str]:
        """Return the names of the chain, what it begins with first; of a long one the last."""
        names = [self.root.words, *(step.name for step in self.steps)]
        return names if len(names) <= MOST_STEPS + 1 else [names[0], "…", *names[-MOST_STEPS:]]

    @property
    def lateness(self) -> str:
        """Return how it stands against its target, in words."""
        return (
            ""
            if self.late is None or self.milestone.target is None
            else against(self.day, self.milestone.target)
        )


def against(day: date, target: date) -> str:
    """Return how a day stands against the one that was wanted."""
    late = (day - target).days
    if late > 0:
        return f"{days(late)} late for {long(target)}"
    return (
        f"on the day that was set, {long(target)}"
        if late == 0
        else f"{days(-late)} in hand before {long(target)}"
    )


def hanging(net: Netted) -> list[Hangs]:
    """Return what the launch, and each other milestone with a target, hangs on; the launch first. One query."""
    rows = {milestone_key(row): row for row in net.work.milestones if milestone_key(row) in net.plan.placed}
    shown = [row for row in rows.values() if row.kind == MilestoneKind.LAUNCH or row.target]
    shown = shown or list(rows.values())
    shown.sort(
        key=lambda row: (row.kind != MilestoneKind.LAUNCH, net.plan.placed[milestone_key(row)].finish, row.pk)
    )
    names = Names(net)
    chains = [(row, chain(net.plan, milestone_key(row))) for row in shown]
    roots = [_root(net, links, names) for _, links in chains]
    promised = _promised(root.line for root in roots if root.line)
    found = []
    for (row, links), bare in zip(chains, roots, strict=True):
        root = _with_promise(bare, promised.get(bare.line.order_id) if bare.line else None, net)
        key = milestone_key(row)
        steps = tuple(names.step(link) for link in links if link.key not in (None, key))
        found.append(
            Hangs(row, net.plan.placed[key].finish, root, steps, tuple(_helps(net, row, root, steps)))
        )
    return found


class Names:
    """Says what the keys of a plan are called."""

    def __init__(self, net: Netted) -> None:
        self.jobs: Mapping[str, Job] = {job_key(job): job for job in net.work.jobs}
        self.milestones: Mapping[str, Milestone] = {milestone_key(row): row for row in net.work.milestones}

    def of(self, key: str | None) -> str:
        """Return the name of a job or milestone, without its number."""
        if key is None:
            return ""
        job, row = self.jobs.get(key), self.milestones.get(key)
        return job.title if job else row.name if row else ""

    def numbered(self, key: str | None) -> str:
        """Return the name with the job's number before it."""
        job = self.jobs.get(key or "")
        return f"job {job.number}, {job.title}" if job else self.of(key)

    def step(self, link: Link) -> Step:
        key = link.key or ""
        return Step(key, self.of(key), link.kind, link.start, link.finish, self.jobs.get(key))


def held_words(hold: Hold, names: Names) -> str:
    """Return what binds a start, in words."""
    other = names.numbered(hold.key)
    words = {
        Held.TODAY: "nothing holds it: it can begin now",
        Held.AFTER: f"after {other}",
        Held.CURE: f"until {other} has cured",
        Held.PARTS: f"waits for {hold.words or 'its parts'}, here {long(hold.on)}",
        Held.NOT_BEFORE: f"not before {long(hold.on)}",
        Held.BOOKED: f"booked: {hold.words}" if hold.words else "booked for that day",
        Held.SPACE: f"its place is taken by {other}",
        Held.AWAY: f"nobody works before {long(hold.on)}",
    }
    return words[hold.kind]


def clash_words(clash: Clash, names: Names) -> str:
    """Return why a booking cannot be met, as a sentence."""
    other = names.numbered(clash.cause)
    why = {
        Held.AFTER: f"{other} is not done before",
        Held.CURE: f"{other} has not cured by then",
        Held.PARTS: f"{clash.words or 'its parts'} will not be here",
        Held.NOT_BEFORE: "the job is not to begin before",
        Held.TODAY: "its day has passed",
        Held.SPACE: f"its place is taken by {other}",
        Held.BOOKED: f"{other} is booked then",
        Held.AWAY: "nobody works then",
    }[clash.kind]
    return f"{why}; the first day it could be is {long(clash.possible)}"


def contradiction_of(net: Netted) -> tuple[str, list[Job]]:
    """Return what contradicts itself, with the names that people know, and the jobs it is about."""
    if not net.contradiction:
        return "", []
    names = Names(net)
    try:
        plan(tasks_of(net.work), net.work.working, net.today, net.work.targets)
    except Unworkable as fault:
        keys = [key for key in fault.names if names.of(key)]
        jobs = [names.jobs[key] for key in keys if key in names.jobs]
        if fault.code == "circle" and len(keys) > 1:
            way = " → ".join(names.numbered(key) for key in [*keys, keys[0]])
            return f"These wait for each other in a circle: {way}.", jobs
        return str(fault), jobs
    return net.contradiction, []


def days(count: int) -> str:
    """Return a number of days in words."""
    return f"{count} day{'' if count == 1 else 's'}"


def long(day: date) -> str:
    """Return a day as it stands in a sentence."""
    return f"{day:%-d %b %Y}"


def _root(net: Netted, links: Iterable[Link], names: Names) -> Root:
    """Return what a chain begins with; the promise behind it is looked up for all of them at once."""
    first, *rest = links
    if first.kind is Held.PARTS and rest:
        job = names.jobs.get(rest[0].key or "")
        row = next((row for row in net.by_job.get(job.pk, ()) if _holds(row, first)), None) if job else None
        if row is not None:
            line = _line_of(row, first.start)
            to_order = row.met is not None and row.met.short > 0 and line is None
            return Root(first.kind, first.words or "", row, line, None, to_order)
    words = {
        Held.TODAY: "what can begin now",
        Held.PARTS: f"{first.words}, here {long(first.start)}",
        Held.NOT_BEFORE: f"not before {long(first.start)}",
        Held.BOOKED: f"{first.words or 'somebody'}, booked for {long(first.start)}",
        Held.AWAY: f"nobody working before {long(first.start)}",
    }
    return Root(first.kind, words.get(first.kind, names.numbered(first.key)))


def _holds(row: NeedInTime, first: Link) -> bool:
    return str(row.need) == first.words and row.here_on == first.start


def _line_of(row: NeedInTime, day: date) -> Line | None:
    """Return the order line that comes last for a need, if that is what it waits for."""
    if row.met is None:
        return max(row.lines, key=lambda line: line.order.expected_on or date.min, default=None)
    takes = [take for take in row.met.takes if take.supply.source is Source.ON_ORDER]
    late = [take for take in takes if take.on == day] or [take for take in takes if take.on is None]
    numbers = {take.supply.order for take in late}
    return next((line for line in row.lines if line.order.number in numbers), None)


def _promised(lines: Iterable[Line]) -> dict[int, Promise]:
    rows = Promise.objects.filter(order__in={line.order_id for line in lines}).order_by("said_on", "id")
    return {row.order_id: row for row in rows}


def _with_promise(root: Root, promise: Promise | None, net: Netted) -> Root:
    if root.need is None:
        return root
    return Root(root.kind, _part_words(root, promise, net), root.need, root.line, promise, root.to_order)


def _part_words(root: Root, promise: Promise | None, net: Netted) -> str:
    row = root.need
    if row is None or row.here_on is None:
        return root.words
    behind = (row.here_on - row.wanted_by).days
    late = f"{days(behind)} late" if behind > 0 else ""
    if root.line is not None:
        return f"{root.words}, {_line_words(root.line, row, late, promise, net.today)}"
    met = row.met
    if root.to_order and met is not None:
        when = (
            f"here {long(met.fresh_on)} if ordered today"
            if met.fresh_on
            else "nobody knows how long it takes"
        )
        return f"{root.words}, not ordered yet, {when}"
    place = next((each.place for each in row.holdings if each.place.where == Where.AWAY), None)
    return f"{root.words}, away{f' at {place}' if place else ''}" + (f", {late}" if late else "")


def _line_words(line: Line, row: NeedInTime, late: str, promise: Promise | None, today: date) -> str:
    """Return what is to be said of an order line that a chain begins with."""
    due, order = line.order.expected_on, line.order
    if due is None:
        return f"on order from {order.supplier}, who has no day for it"
    if due < today:
        return f"expected {long(due)} from {order.supplier} and not come (order {order.number})"
    who = f", promised by {promise.who}" if promise and promise.who else ""
    when = late or f"expected {long(row.here_on or due)}"
    return f"{when} from {order.supplier} (order {order.number}{who})"


def _helps(net: Netted, milestone: Milestone, root: Root, steps: tuple[Step, ...]) -> Iterable[Help]:
    """Yield what would bring a milestone nearer, the most promising first."""
    met = root.need.met if root.need else None
    if root.line is not None:
        order = root.line.order
        yield Help(Deed.CHASE, f"Chase order {order.number} with {order.supplier}.", order=order.number)
        if met and met.fresh_on and met.ready_on and met.fresh_on < met.ready_on:
            sooner = days((met.ready_on - met.fresh_on).days)
            words = f"Another one ordered tonight would be here {long(met.fresh_on)}, {sooner} sooner."
            yield Help(Deed.ORDER, words, part=met.buy)
    elif root.to_order and met is not None:
        name = net.parts[met.buy].name
        if met.fresh_on is None:
            yield Help(Deed.ASK, f"Ask how long {name} takes to come.", part=met.buy)
        else:
            words = f"Order {name} tonight: {milestone.name.lower()} moves by each day it waits."
            job = root.need.job.number if root.need else None
            yield Help(Deed.ORDER, words, part=met.buy, job=job)
    elif root.kind is Held.BOOKED and steps and steps[0].job:
        yield Help(Deed.MOVE, f"Ask for an earlier day: {root.words}.", job=steps[0].job.number)
    elif root.kind is Held.NOT_BEFORE and steps and steps[0].job:
        yield Help(Deed.MOVE, f"See whether {steps[0].name} must wait until then.", job=steps[0].job.number)
    longest = max(
        (step for step in steps if step.job), key=lambda step: step.finish - step.start, default=None
    )
    if longest is not None and longest.job is not None and longest.finish > longest.start:
        took = days((longest.finish - longest.start).days + 1)
        words = f"More hands on {longest.name}, the longest piece of work in the chain ({took})."
        yield Help(Deed.HANDS, words, job=longest.job.number)
