"""What there is on the boat already, and what the file will add to it, found by name, number or mark.

Decides what counts as the same thing: suppliers and systems by folded name, parts by number or else by name, places by
mark or name, jobs by number and title or by title. A name close to one that is there is a slip, and refused.
"""

import difflib
import re
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from refit.boat.models import Boat, Group, Kind, Location, Member, System, Where
from refit.boat.usual import USUAL_SYSTEMS
from refit.buying.models import CreditShare, Supplier
from refit.calc.text import fold
from refit.stores.models import Kept, NumberKind, Part, PartNumber, Unit
from refit.work.models import Job

CLOSE = 0.84
MOST_COMPARED = (
    3_000_000  # pairs of names: some seconds; a file of a hundred thousand sellers is no list of slips
)
USUAL = {fold(name): (group, of_the_boat) for name, group, of_the_boat, _ in USUAL_SYSTEMS}
NUMBERED = re.compile(r"(?:job )?([0-9]{1,6})[ .,:]+(\S.*)", re.IGNORECASE)
MARK = re.compile(r"[^\W\d_]{0,3}[-. ]?[0-9]{1,4}[^\W\d_]?")
NO_JOB = {fold(word) for word in ("no job", "none", "-")}


class Slip(Exception):
    """A name that is nearly another; the message says which."""


@dataclass
class New:
    """A thing that the file adds; `made` is the row, once written."""

    made: Any = field(default=None, init=False, repr=False)


@dataclass
class NewSystem(New):
    name: str
    group: str = Group.OUTFIT
    of_the_boat: bool = True


@dataclass
class NewSupplier(New):
    name: str
    facts: dict[str, Any] = field(default_factory=dict)


@dataclass
class NewPlace(New):
    kind: str
    mark: str = ""
    name: str = ""
    parent: Any = None  # a Location or a NewPlace; None for an area
    facts: dict[str, Any] = field(default_factory=dict)

    def __str__(self) -> str:
        return " ".join(word for word in (self.mark, self.name) if word)


@dataclass
class NewPart(New):
    name: str
    numbers: list[tuple[str, str, str]] = field(default_factory=list)
    facts: dict[str, Any] = field(default_factory=dict)
    system: Any = None

    @property
    def kept(self) -> str:
        return str(self.facts.get("kept", Kept.COUNTED))

    @property
    def unit(self) -> str:
        return str(self.facts.get("unit", Unit.EACH))


@dataclass
class NewJob(New):
    title: str
    system: Any
    number: int | None = None
    facts: dict[str, Any] = field(default_factory=dict)


def real(thing: Any) -> Any:
    """Return the row of a thing: itself, or what was made of a new one."""
    return thing.made if isinstance(thing, New) else thing


class World:
    """The boat as it is, with what the file adds. Reads all it needs at the start, then asks nothing more."""

    def __init__(self, boat: Boat) -> None:
        self.boat = boat
        self.new: dict[type, list[Any]] = defaultdict(list)
        self.systems: dict[str, Any] = {row.folded: row for row in System.objects.filter(boat=boat)}
        self.suppliers: dict[str, Any] = {row.folded: row for row in Supplier.objects.filter(boat=boat)}
        self.members = {
            fold(str(row)): row for row in Member.objects.filter(boat=boat).select_related("user")
        }
        self._read_places(boat)
        self._read_parts(boat)
        self.slips: dict[tuple[str, str], str] = {}
        self.compared = 0
        self.by_id: dict[str, Any] = {}  # parts of the file by their ids in it
        self.seen: Counter[Any] = Counter()
        self.came_back: Counter[tuple[int, date | None, int]] | None = None
        self.jobs: dict[tuple[str, int | None], Any] = {}
        self.job_titles: dict[str, list[Any]] = defaultdict(list)
        self.job_numbers: dict[int, Any] = {}
        for job in Job.objects.filter(boat=boat).select_related("system").order_by("number"):
            self.job_titles[fold(job.title)].append(job)
            self.job_numbers[job.number] = job

    def _read_places(self, boat: Boat) -> None:
        self.by_mark: dict[str, Any] = {}
        self.by_name: dict[str, Any] = {}
        self.areas: dict[str, Any] = {}
        for place in Location.objects.filter(boat=boat, retired_at=None).order_by("-id"):
            self._keep_place(place, place.folded)
        self.first_area = (
            Location.objects.filter(boat=boat, retired_at=None, kind=Kind.AREA, where=Where.ABOARD)
            .order_by("id")
            .first()
        )

    def _keep_place(self, place: Any, folded: str) -> None:
        if place.kind == Kind.AREA:
            self.areas[fold(place.name or place.mark)] = place
            return
        if place.mark:
            self.by_mark[fold(place.mark)] = place
        self.by_name[folded] = place
        if place.name:
            self.by_name[fold(place.name)] = place

    def _read_parts(self, boat: Boat) -> None:
        self.by_number: dict[str, list[Any]] = defaultdict(list)
        self.by_part_name: dict[str, list[Any]] = defaultdict(list)
        parts = {part.pk: part for part in Part.objects.filter(boat=boat, retired_at=None).order_by("id")}
        for part in parts.values():
            self.by_part_name[fold(part.name)].append(part)
        self.gtins: set[str] = set()
        self.numbered: set[int] = set()
        self.numbers: set[tuple[int, str, str]] = set()  # part, kind, number folded
        for pk, folded, kind in PartNumber.objects.filter(boat=boat).values_list("part_id", "folded", "kind"):
            self.numbers.add((pk, kind, folded))
            if kind == NumberKind.GTIN:
                self.gtins.add(folded)
            if pk in parts and parts[pk] not in self.by_number[folded]:
                self.by_number[folded].append(parts[pk])
                self.numbered.add(pk)

    # Finding, and adding what is not there

    def check_system(self, name: str) -> None:
        """Raise Slip for a name that is nearly a system's."""
        self._check_close(name, self.systems, "system")

    def check_supplier(self, name: str) -> None:
        """Raise Slip for a name that is nearly a supplier's."""
        self._check_close(name, self.suppliers, "supplier")

    def _check_close(self, name: str, known: dict[str, Any], what: str) -> None:
        folded = fold(name)
        if folded in known or len(folded) < 5 or self.compared > MOST_COMPARED:
            return
        if (what, folded) not in self.slips and not re.search(r"[0-9]", folded):
            self.compared += len(known)
            near = difflib.get_close_matches(folded, known, n=1, cutoff=CLOSE)
            if near:
                self.slips[what, folded] = known[near[0]].name
        if there := self.slips.get((what, folded)):
            raise Slip(f"is nearly {there}, which is there. Write it alike, or add the {what} first.")

    def system(self, name: str) -> Any:
        folded = fold(name)
        if folded not in self.systems:
            group, of_the_boat = USUAL.get(folded, (Group.OUTFIT, True))
            self.systems[folded] = self.add(NewSystem(name, group, of_the_boat))
        return self.systems[folded]

    def supplier(self, name: str) -> Any:
        folded = fold(name)
        if folded not in self.suppliers:
            self.suppliers[folded] = self.add(NewSupplier(name))
        return self.suppliers[folded]

    def find_place(self, text: str, name: str = "") -> Any:
        """Return the place that words mean, or None."""
        whole = fold(f"{text} {name}") if name else fold(text)
        return self.by_mark.get(fold(text)) or self.by_name.get(whole) or self.by_name.get(fold(name or text))

    def area(self, name: str) -> Any:
        folded = fold(name)
        if folded not in self.areas:
            self.areas[folded] = self.add(NewPlace(Kind.AREA, name=name))
        return self.areas[folded]

    def place(self, text: str, name: str = "", area: str = "", *, listed: bool = False, **facts: Any) -> Any:
        """Return the place that words mean, added to its area (or the boat's first) if it is not there."""
        found = self.find_place(text, name)
        if found is not None:
            return found
        kind = facts.pop("kind", Kind.LOCKER)
        parent = facts.pop("parent", None)
        if parent is None:
            parent = self.area(area) if area else self.first_area or self.area("Aboard")
        mark, called = split_place(text, name, listed=listed)
        made = self.add(NewPlace(kind, mark, called, parent, facts))
        self._keep_place(made, fold(str(made)))
        return made

    def part(self, number: str, name: str) -> Any:
        """Return the part of this number, or (without a number) of this name; None if there is none."""
        if number:
            hits = self.by_number.get(fold(number), [])
            if len(hits) > 1:
                hits = [part for part in hits if fold(part.name) == fold(name)] or hits[:1]
            if hits:
                return hits[0]
            # A part that was put down without its number is the same part.
            named = (
                [p for p in self.by_part_name.get(fold(name), []) if not self.is_numbered(p)] if name else []
            )
            return named[0] if named else None
        hits = self.by_part_name.get(fold(name), [])
        return hits[0] if hits else None

    def is_numbered(self, part: Any) -> bool:
        return bool(part.numbers) if isinstance(part, NewPart) else part.pk in self.numbered

    def add_part(self, part: NewPart) -> NewPart:
        self.add(part)
        self.by_part_name[fold(part.name)].append(part)
        self._find_by(part, part.numbers)
        return part

    def add_numbers(self, part: NewPart, numbers: Sequence[tuple[str, str, str]]) -> None:
        """Add numbers that a later row has of a new part."""
        there = {fold(number) for _, number, _ in part.numbers}
        more = [row for row in numbers if fold(row[1]) not in there]
        part.numbers += more
        self._find_by(part, more)

    def add_number(self, part: NewPart, row: tuple[str, str, str]) -> None:
        """Add one more number of a new part, of whatever kind."""
        part.numbers.append(row)
        self._find_by(part, [row])

    def next_alike(self, key: Any, hits: Sequence[Any]) -> Any:
        """Return the first of things alike that no row before was about; None if the row is about one more."""
        at = self.seen[key]
        self.seen[key] += 1
        return hits[at] if at < len(hits) else None

    def take_back(self, order: Any, day: date, home: int) -> bool:
        """Return whether so much money came back on an order that day; each that did is found once."""
        if self.came_back is None:
            rows = CreditShare.objects.filter(boat=self.boat, credit__came_on__isnull=False)
            self.came_back = Counter(rows.values_list("line__order_id", "credit__came_on", "home"))
        key = (order.pk, day, home)
        if self.came_back[key] <= 0:
            return False
        self.came_back[key] -= 1
        return True

    def _find_by(self, part: NewPart, numbers: Sequence[tuple[str, str, str]]) -> None:
        for kind, number, _ in numbers:
            self.by_number[fold(number)].append(part)
            if kind == NumberKind.GTIN:
                self.gtins.add(fold(number))

    def find_job(self, text: str, system: Any = None) -> Any:
        """Return the job that words mean: "12 Renew the rigging", "12", or the title; None if there is none."""
        found = NUMBERED.fullmatch(text)
        if found:
            job = self.job_numbers.get(int(found[1]))
            if job is not None and fold(job.title) == fold(found[2]):
                return job
            text = found[2] if fold(found[2]) in self.job_titles or job is None else text
        if text.isdecimal() and len(text) < 7:
            return self.job_numbers.get(int(text))
        hits = self.job_titles.get(fold(text), [])
        alike = [job for job in hits if system is None or job.system is system or job.system == system]
        return (alike or hits or [None])[0]

    def add_job(self, job: NewJob) -> NewJob:
        self.add(job)
        self.job_titles[fold(job.title)].append(job)
        if job.number is not None:
            self.job_numbers[job.number] = job
        return job

    def add(self, thing: Any) -> Any:
        self.new[type(thing)].append(thing)
        return thing


def split_place(text: str, name: str, *, listed: bool = False) -> tuple[str, str]:
    """Return the mark and name that words in a place's column make: "S3", "S3 Settee", "Forepeak".

    Where a list has a column of names too (`listed`), the words are a mark, whatever they look like.
    """
    if name or listed or not text:
        return (text, name) if len(text) <= 12 else ("", f"{text} {name}".strip()[:80])
    first, _, rest = text.partition(" ")
    if MARK.fullmatch(text):
        return text, ""
    if rest and len(first) <= 6 and MARK.fullmatch(first) and any(letter.isdecimal() for letter in first):
        return first, rest
    return "", text


def job_and_number(text: str) -> tuple[int | None, str]:
    """Return the number and the title that words hold: "12 Renew the rigging"."""
    found = NUMBERED.fullmatch(text)
    return (int(found[1]), found[2]) if found else (None, text)
