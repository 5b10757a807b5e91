"""What rows about systems, suppliers, places, parts, stock and jobs mean for the boat.

Each check returns whether the row says what is there already; it names what is not right on the line. What is there
stays as it is: only what it does not say yet is added to it.
"""

from collections.abc import Callable, Iterator, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from refit.boat.models import Group, Kind, Location
from refit.calc.barcodes import gtin
from refit.calc.money import to_minor
from refit.calc.text import fold
from refit.carry.importing import own
from refit.carry.importing.cells import Line, as_day
from refit.carry.importing.world import (
    NewJob,
    NewPart,
    NewPlace,
    NewSupplier,
    NewSystem,
    Slip,
    job_and_number,
    split_place,
)
from refit.carry.sheets.book import words
from refit.stores.models import Holding, Kept, Level, NumberKind
from refit.work.models import Before, State

NIL = Decimal(0)


def systems(done: Any, line: Line, today: date) -> bool:
    """A system with its group, and what it may cost."""
    name = line.get("name")
    if not _given(line, "name", name):
        return False
    world = done.world
    there = world.systems.get(fold(name))
    if there is None:
        try:
            world.check_system(name)
        except Slip as slip:
            line.fault("name", str(slip))
            return False
        there = world.system(name)
        there.group = line.get("group") or there.group
        there.of_the_boat = there.of_the_boat and there.group not in (Group.SERVICES, Group.ENGINEERING)
        known = False
    else:
        known = True
    budget = line.get("budget")
    if budget is None or budget == 0:
        return known
    if budget < 0:
        line.fault("budget", "is below nil.")
        return False
    amount = to_minor(budget, world.boat.currency)
    if not isinstance(there, NewSystem) and _budget_of(done, there, today) == amount:
        return known
    done.budgets.append((there, amount))
    return False


def _budget_of(done: Any, system: Any, today: date) -> int | None:
    if not hasattr(done.world, "budgets"):
        from refit.buying.spend import budgets

        done.world.budgets = budgets(done.world.boat, today)
    return done.world.budgets.get(system.pk)


def suppliers(done: Any, line: Line, today: date) -> bool:
    """A supplier."""
    name = line.get("name")
    if not _given(line, "name", name):
        return False
    if fold(name) == fold("no supplier"):
        return True
    if fold(name) in done.world.suppliers:
        return True
    try:
        done.world.check_supplier(name)
    except Slip as slip:
        line.fault("name", str(slip))
        return False
    made: NewSupplier = done.world.supplier(name)
    note = " · ".join(word for word in (line.get("note", ""), line.get("contact", "")) if word)
    if len(note) > 300:
        line.fault("note", "is too long together with the contact; 300 characters can be kept.")
        return False
    made.facts = {"note": note, "web": line.get("web", ""), "currency": line.get("currency", "")}
    return False


def in_order(done: Any, lines: Sequence[Line]) -> Iterator[Line]:
    """Yield rows about places so that what a box is in comes before the box, wherever its row stands."""
    world, waiting = done.world, list(lines)
    while waiting:
        left = []
        for line in waiting:
            inside = line.get("inside", "")
            if not inside or fold(inside) == fold(line.get("area", "")) or _is_there(world, inside):
                yield line  # what was yielded is in the world by the time the next is asked for
            else:
                left.append(line)
        if len(left) == len(waiting):
            yield from left
            return
        waiting = left


def _is_there(world: Any, text: str) -> bool:
    return world.find_place(text) is not None or fold(text) in world.areas


def places(done: Any, line: Line, today: date) -> bool:
    """A locker, box or bag in its area; or an area."""
    world = done.world
    text, name, kind = line.get("mark", ""), line.get("name", ""), line.get("kind", Kind.LOCKER)
    if not _given(line, "mark" if line.plan.column("mark") is not None else "name", text or name):
        return False
    if kind == Kind.UNSTOWED:
        return True
    where = {"where": line.get("where")} if line.get("where") else {}
    if kind == Kind.AREA:
        known = fold(name or text) in world.areas
        area = world.area(name or text)
        if not known:
            area.facts.update(where)
        return known
    if world.find_place(text, name) is not None:
        return True
    parent = None
    inside = line.get("inside", "")
    if inside:
        parent = world.find_place(inside) or world.areas.get(fold(inside))
        if parent is None and fold(inside) != fold(line.get("area", "")):
            line.fault("inside", "is no place that is known; put its own row first.")
            return False
    if parent is None:
        area = world.area(line.get("area", "")) if line.get("area") else None
        if isinstance(area, NewPlace):
            area.facts.update(where)
        parent = area
    listed = line.plan.column("name") is not None
    if not _mark_is_short(line, split_place(text, name, listed=listed)[0]):
        return False
    world.place(text, name, listed=listed, kind=kind, parent=parent, note=line.get("note", ""))
    return False


def _mark_is_short(line: Line, mark: str) -> bool:
    if len(mark) <= 12:
        return True
    line.fault("mark", "is too long for a mark; at most 12 characters.")
    return False


def parts(done: Any, line: Line, today: date) -> bool:
    """A part with its numbers."""
    if own.table_of(line.plan.title, line.plan.headings) == own.NUMBERS:
        return _one_more_number(done, line)
    found = part_of(done, line)
    return found is not None and not isinstance(found, NewPart)


def part_of(done: Any, line: Line) -> Any:
    """Return the part that a row is about, added if it is not there; None if the row is not right."""
    world = done.world
    name, number = line.get("name", ""), line.get("number", "")
    if not _given(line, "name" if line.plan.column("name") is not None else "number", name or number):
        return None
    table = own.table_of(line.plan.title, line.plan.headings)
    if table == own.PARTS:
        there = world.next_alike(("part", fold(name)), world.by_part_name.get(fold(name), []))
    else:
        there = own_part(done, line, name) if table else world.part(number, name)
    if there is not None:
        if isinstance(there, NewPart):
            for key, value in _facts(line).items():
                there.facts.setdefault(key, value)
            world.add_numbers(there, _numbers(world, line) or [])
        return _kept_by_id(world, line, table, there)
    if line.get("system"):
        try:
            world.check_system(line.get("system"))
        except Slip as slip:
            line.fault("system", str(slip))
            return None
    numbers = _numbers(world, line)
    if numbers is None:
        return None
    part = NewPart(name or number, numbers, _facts(line))
    part.system = world.system(line.get("system")) if line.get("system") else None
    return _kept_by_id(world, line, table, world.add_part(part))


def _kept_by_id(world: Any, line: Line, table: str, part: Any) -> Any:
    if table == own.PARTS:
        world.by_id[words(line.row.cells[0])] = part
    return part


def own_part(done: Any, line: Line, name: str) -> Any:
    """Return the part that a row of our own names: by its id where the file lists parts, else by name."""
    world = done.world
    at = words(own.cell(line.plan.headings, line.row.cells, "Part id"))  # type: ignore[arg-type]
    return world.by_id.get(at) if world.by_id else world.part("", name)


def _one_more_number(done: Any, line: Line) -> bool:
    """A number that a part goes by, beside others."""
    if not _given(line, "name", line.get("name")) or not _given(line, "number", line.get("number")):
        return False
    world, kind, number = done.world, line.get("number_kind", NumberKind.MAKER.value), line.get("number")
    part = own_part(done, line, line.get("name"))
    if part is None:
        done.note("numbers are of parts that are not on the list (not in use any more); they are left out.")
        return True
    if (getattr(part, "pk", None), kind, fold(number)[:120]) in world.numbers:
        return True
    if kind == NumberKind.GTIN and (why := _no_gtin(world, number)):
        line.fault("number", why)
        return False
    row = (kind, number, line.get("maker", ""))
    if isinstance(part, NewPart):
        world.add_number(part, row)
    else:
        done.numbers.append((part, row))
        world.numbers.add((part.pk, kind, fold(number)[:120]))
    return False


def _no_gtin(world: Any, number: str) -> str:
    """Return why a number can't be a part's barcode; empty if it can."""
    try:
        return "is on another part already." if fold(gtin(number)) in world.gtins else ""
    except ValueError as problem:
        return str(problem)


def _facts(line: Line) -> dict[str, Any]:
    facts = {
        "specification": line.get("specification"),
        "unit": line.get("unit"),
        "kept": line.get("kept"),
        "minimum": line.get("minimum"),
        "weight_kg": line.get("weight"),
        "hazard": line.get("hazard"),
        "is_spare": line.get("spare", True if line.get("minimum") else None),
    }
    if line.get("expires"):
        facts["has_expiry"] = True
    return {key: value for key, value in facts.items() if value is not None}


def _numbers(world: Any, line: Line) -> list[tuple[str, str, str]] | None:
    rows = []
    if line.get("number"):
        rows.append((NumberKind.MAKER.value, line.get("number"), line.get("maker", "")))
    for other in (line.get("others") or "").replace(";", ",").split(","):
        if other.strip():
            if len(other.strip()) > 60:
                line.fault("others", "holds a number of over 60 characters.")
                return None
            rows.append((NumberKind.SUPPLIER.value, other.strip(), ""))
    if line.get("gtin"):
        if why := _no_gtin(world, line.get("gtin")):
            line.fault("gtin", why)
            return None
        rows.append((NumberKind.GTIN.value, gtin(line.get("gtin")), ""))
    return rows


def stock(done: Any, line: Line, today: date) -> bool:
    """So much of a part in a place."""
    from refit.carry.importing.check import NewStock

    world = done.world
    text, name = line.get("mark", ""), line.get("place_name", "")
    quantity, level, kept = line.get("quantity"), line.get("level", ""), line.get("kept")
    if own.table_of(line.plan.title, line.plan.headings) and not quantity and not level:
        return True  # it lay there once
    if level and kept is None and quantity is None:
        line.data["kept"] = Kept.HERE if level == Level.HERE else Kept.LEVEL
    part = part_of(done, line)
    if part is None:
        return False
    if not (text or name) or (not quantity and not level and part.kept == Kept.COUNTED):
        return not isinstance(part, NewPart)  # no place, or none there: only the part itself is known
    if part.unit == "each" and quantity is not None and quantity != quantity.to_integral_value():
        line.fault("quantity", "is not a whole number, and the part is counted by each.")
        return False
    listed = bool(text) and line.plan.column("place_name") is not None
    if not _mark_is_short(line, split_place(text, name, listed=listed)[0]):
        return False
    place = world.place(text or name, name if text else "", line.get("area", ""), listed=listed)
    serial, expires = line.get("serial", ""), line.get("expires")
    if own.table_of(line.plan.title, line.plan.headings):
        serial, expires = own.batch(serial)
    return _put(done, line, NewStock(part, place, quantity or NIL, level, serial, expires))


def _put(done: Any, line: Line, row: Any) -> bool:
    if row.part.kept != Kept.COUNTED:
        row.quantity = NIL
        row.level = row.level or (Level.FINE if row.part.kept == Kept.LEVEL else Level.HERE)
    key = (id(row.part), id(row.place), row.serial, row.expires)
    there = _held(done).get((_pk(row.part), _pk(row.place), row.serial, row.expires))
    if there is not None:
        if there != (row.quantity, row.level):
            done.note(
                "things lie there already with another quantity; they stay as they are. Count the place instead."
            )
        return True
    if key in done.stock:
        done.stock[key].quantity += row.quantity
        if done.stock[key].quantity >= 10**6:
            line.fault("quantity", "is too large, with the other rows for this part and place.")
        return False
    done.stock[key] = row
    return False


def _pk(thing: Any) -> int | None:
    return getattr(thing, "pk", None)


def _held(done: Any) -> dict[tuple[Any, ...], tuple[Decimal, str]]:
    """Return what lies where, read once."""
    if not hasattr(done.world, "held"):
        rows = Holding.objects.filter(boat=done.world.boat).select_related("lot")
        done.world.held = {
            (h.part_id, h.place_id, h.lot.serial if h.lot else "", h.lot.expires_on if h.lot else None): (
                h.quantity,
                h.level,
            )
            for h in rows
        }
    return done.world.held


def jobs(done: Any, line: Line, today: date) -> bool:
    """A job on the work list."""
    world = done.world
    number, title = None, line.get("title", "")
    if line.get("job_number"):
        given = line.get("job_number")
        number, rest = (int(given), "") if given.isdecimal() and len(given) < 7 else job_and_number(given)
        title = title or rest
    if not _given(line, "title", title):
        return False
    if len(title) > 120:
        line.fault("title", "is too long; at most 120 characters.")
        return False
    name = line.get("system") or line.plan.options.get("system", "")
    if not name:
        line.fault("system", "has nothing: every job belongs to one system.")
        return False
    try:
        world.check_system(name)
    except Slip as slip:
        line.fault("system", str(slip))
        return False
    system = world.system(name)
    alike = [
        job for job in world.job_titles.get(fold(title), []) if job.system is system or job.system == system
    ]
    if own.table_of(line.plan.title, line.plan.headings):
        alike = [world.next_alike(("job", fold(title), fold(name)), alike)]
    if alike and alike[0] is not None:
        return True
    done_on = line.get("done_on")
    state = line.get("state") or (State.DONE if done_on else State.PLANNED)
    if as_day(done_on) and done_on > today:
        line.fault("done_on", "has not come yet.")
        return False
    facts = {
        "state": state,
        "before": line.get("before", Before.LAUNCH),
        "note": line.get("note", ""),
        "done_on": as_day(done_on),
        "given_to": world.members.get(fold(line.get("given_to", ""))),
    }
    if line.get("given_to") and facts["given_to"] is None:
        facts["note"] = f"{facts['note']}\nGiven to: {line.get('given_to')}".strip()[:4000]
        done.note("jobs are given to somebody who does not use the program; the name stands in the note.")
    free = number if number not in world.job_numbers else None
    world.add_job(NewJob(title, system, free, facts))
    return False


def _given(line: Line, key: str, value: Any) -> bool:
    if value:
        return True
    line.fault(key, "is empty; the row cannot do without it.")
    return False


CHECKS: dict[str, Callable[[Any, Line, date], bool]] = {
    "systems": systems,
    "suppliers": suppliers,
    "places": places,
    "parts": parts,
    "stock": stock,
    "jobs": jobs,
}

__all__ = ["CHECKS", "Location", "part_of"]
