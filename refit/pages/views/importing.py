"""The owner's old spreadsheet: send it, see how it is read, put that right, bring it in."""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import urlencode

from refit.boat.actions.boats import lock
from refit.boat.refusals import Refused
from refit.carry.importing import kept, shapes
from refit.carry.importing.check import Checked, check
from refit.carry.importing.fields import BY_KEY, KINDS
from refit.carry.importing.files import faults_file, template_file
from refit.carry.importing.guess import Plan, guess
from refit.carry.importing.world import NewJob, NewPart, NewPlace, NewSupplier, NewSystem
from refit.carry.importing.write import PLURALS, NotWritten, write
from refit.carry.sheets.book import Book, SheetProblem
from refit.pages.acting import Done, act, at, refused_page
from refit.pages.forms.importing import FileForm, WriteForm, choices, chosen
from refit.pages.lists import XLSX, attached

MOST_FAULTS = 50
MOST_NAMES = 12
GONE = "That file is no longer here: it is kept for a day at most. Send it again."


@dataclass(frozen=True)
class Sent:
    """A file that was sent, as it is read now."""

    file: kept.Kept
    book: Book
    plans: list[Plan]

    @property
    def digest(self) -> str:
        """Return what a person saw when they said that it is to be brought in: the file and how it is read."""
        said = [[plan.kind, plan.columns, sorted(plan.options.items())] for plan in self.plans]
        return hashlib.sha256(json.dumps([self.file.key, said]).encode()).hexdigest()


def start(request: Any) -> HttpResponse:
    """Choose a spreadsheet, or take an empty one to fill in."""
    given = (request.POST, request.FILES) if request.method == "POST" else ()
    form = FileForm(request.boat, *given)
    if form.is_valid():
        sent = form.cleaned_data["file"]
        try:
            file = kept.keep(request.boat, sent.read(), sent.name or "")
            return redirect(_page(request, "import-check", file.key))
        except SheetProblem as problem:
            form.add_error("file", str(problem))
    context = {"form": form, "kinds": KINDS, "left": _left_out(request)}
    return (
        refused_page(request, "importing/start.html", context)
        if form.is_bound
        else render(request, "importing/start.html", context)
    )


def _left_out(request: Any) -> str:
    """Return the key of the file of which rows were left out a moment ago."""
    file = kept.kept(request.boat, request.GET.get("left", ""))
    return file.key if file else ""


def _page(request: Any, name: str, key: str) -> str:
    return f"{at(request, name)}?{urlencode({'file': key})}"


def _sent(request: Any, given: Any) -> Sent | None:
    file = kept.kept(request.boat, given.get("file", ""))
    if file is None:
        return None
    book = file.book()
    return Sent(file, book, guess(book, shapes.known(request.boat)))


def _gone(request: Any) -> HttpResponse:
    context = {"form": FileForm(request.boat), "kinds": KINDS, "gone": GONE}
    return render(request, "importing/start.html", context, status=404)


def look(request: Any) -> HttpResponse:
    """Show how the file is read, and what is new, here already, or not right; POST puts the reading right."""
    sent = _sent(request, request.POST if request.method == "POST" else request.GET)
    if sent is None:
        return _gone(request)
    if request.method == "POST":
        shapes.remember(request.boat, chosen(request.POST, request.boat, sent.book, sent.plans))
        return redirect(_page(request, "import-check", sent.file.key))
    return render(request, "importing/check.html", _looked(request, sent, WriteForm(request.boat)))


def _looked(request: Any, sent: Sent, form: WriteForm) -> dict[str, Any]:
    done = check(request.boat, sent.book, sent.plans, request.today)
    return {
        "form": form,
        "sent": sent,
        "done": done,
        "faults": done.faults[:MOST_FAULTS],
        "more": len(done.faults) - MOST_FAULTS,
        "notes": [*sent.book.notes, *done.said],
        "made": _made(done),
        "sheets": choices(request.boat, sent.book, sent.plans),
        "counts": {count.index: count for count in done.sheets},
        "faults_at": _page(request, "import-faults", sent.file.key),
    }


def _made(done: Checked) -> list[tuple[str, int, str]]:
    """Return what will be made: how many of what, and the first names."""
    rows: list[tuple[str, Sequence[str]]] = [
        ("order", [order.bill.first.get("supplier") for order in done.orders]),
        ("supplier", [row.name for row in done.world.new[NewSupplier]]),
        ("system", [row.name for row in done.world.new[NewSystem]]),
        ("place", [str(row) for row in done.world.new[NewPlace]]),
        ("part", [row.name for row in done.world.new[NewPart]]),
        ("number of a part", [number for _, (_, number, _) in done.numbers]),
        ("job", [row.title for row in done.world.new[NewJob]]),
        ("thing in its place", [""] * len(done.stock)),
        ("budget", [str(getattr(system, "name", "")) for system, _ in done.budgets]),
        ("refund", [""] * len(done.refunds)),
    ]
    found = []
    for word, names in rows:
        if names:
            few = [name for name in dict.fromkeys(names) if name]
            more = f" and {len(few) - MOST_NAMES} more" if len(few) > MOST_NAMES else ""
            plural = PLURALS.get(word, f"{word}s")
            found.append(
                (word if len(names) == 1 else plural, len(names), ", ".join(few[:MOST_NAMES]) + more)
            )
    return found


def bring_in(request: Any) -> HttpResponse:
    """Write what was shown, in one go."""
    sent = _sent(request, request.POST)
    if sent is None:
        return _gone(request)
    form = WriteForm(request.boat, request.POST)
    if form.is_valid():
        response = act(request, form, lambda: _brought_in(request, sent, form))
        if response:
            return response
    return refused_page(request, "importing/check.html", _looked(request, sent, form))


def _brought_in(request: Any, sent: Sent, form: WriteForm) -> Done:
    if form.cleaned_data["seen"] != sent.digest:
        raise Refused("How the file is read was changed meanwhile. Look again.", code="changed")
    lock(request.boat)  # from the check on: the same file brought in twice at once makes no doubles
    done = check(request.boat, sent.book, sent.plans, request.today)
    if done.faulty and not form.cleaned_data["leave_out"]:
        raise Refused(f"{done.faulty} rows are not right. Put them right, or leave them out.", code="faults")
    try:
        made = write(request.boat, done, by=request.user, today=request.today, name=sent.file.name)
    except NotWritten as refused:
        raise Refused(f"Nothing was brought in. {refused}", code="not_written") from None
    shapes.remember(request.boat, [replace(plan) for plan in sent.plans if plan.kind])
    said = f"Brought in from {sent.file.name}: {made.said}."
    if done.faulty:
        return Done(f"{at(request, 'import')}?{urlencode({'left': sent.file.key})}", said)
    kept.forget(request.boat, sent.file.key)
    return Done(at(request, "today"), said)


def faults(request: Any) -> HttpResponse:
    """Give back the rows that are not right, each with why."""
    sent = _sent(request, request.GET)
    if sent is None:
        raise Http404(GONE)
    done = check(request.boat, sent.book, sent.plans, request.today)
    file = faults_file(request.boat, sent.book, sent.plans, done, request.today)
    return attached(file, f"{request.boat.slug}-rows-left-out.xlsx", XLSX)


def template(request: Any) -> HttpResponse:
    """Give an empty spreadsheet to fill in, of one kind or of all."""
    kind = request.GET.get("kind", "")
    name = f"{request.boat.slug}-{kind if kind in BY_KEY else 'everything'}-to-fill-in.xlsx"
    return attached(template_file(request.boat, kind, request.today), name, XLSX)
