"""The forms of an import: the file that is sent, and how its sheets are to be read.

They turn what was chosen into plans; what a plan means for the boat, `carry.importing` decides.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from refit.boat.models import Boat, System
from refit.calc.money import minor_digits
from refit.carry.importing.fields import BY_KEY, DAY, EXPIRY, KINDS
from refit.carry.importing.guess import Plan, regrouped, with_choices
from refit.carry.sheets.book import MOST_BYTES, Book, words
from refit.pages.fields import BoatForm

SAMPLES = 3
CAME = (("", "as the sheet says, or to come"), ("all", "it has all come"))
DAYS = (
    ("", "as the sheet shows"),
    ("day", "the day first: 3/4 is 3 April"),
    ("month", "the month first: 3/4 is 4 March"),
)


class FileForm(BoatForm):
    """The spreadsheet that is sent."""

    file = forms.FileField(
        label="Your spreadsheet",
        help_text="xlsx, csv or tsv, up to 25 MB",
        widget=forms.ClearableFileInput(attrs={"accept": ".xlsx,.xlsm,.csv,.tsv,.txt"}),
        error_messages={"required": "Choose the file first.", "empty": "The file is empty."},
    )

    def clean_file(self) -> Any:
        file = self.cleaned_data["file"]
        if file.size > MOST_BYTES:
            raise ValidationError(
                "The file is over 25 MB. Split it, or save it without pictures.", code="too_large"
            )
        return file


class WriteForm(BoatForm):
    """Say that it is to be brought in: as it was shown, with or without the rows that are not right."""

    seen = forms.CharField(widget=forms.HiddenInput, max_length=64)
    leave_out = forms.BooleanField(widget=forms.HiddenInput, required=False)


@dataclass(frozen=True)
class ColumnChoice:
    """One column as the page shows it: its heading, some of what stands in it, and what it may be."""

    name: str
    heading: str
    samples: list[str]
    chosen: str
    options: list[tuple[str, str]]

    @property
    def is_taken(self) -> bool:
        return bool(self.chosen)


@dataclass(frozen=True)
class Option:
    """One thing that the rows of a sheet don't say, with what may be chosen."""

    name: str
    label: str
    chosen: str
    options: list[tuple[str, str]]


@dataclass(frozen=True)
class SheetChoice:
    """One sheet as the page shows it."""

    index: int
    title: str
    rows: int
    kind: str
    kind_name: str
    kinds: list[tuple[str, str]]
    columns: list[ColumnChoice]
    options: list[Option]
    remembered: bool


def choices(boat: Boat, book: Book, plans: Sequence[Plan]) -> list[SheetChoice]:
    """Return what can be chosen for each sheet."""
    systems = [
        (name, name)
        for name in System.objects.filter(boat=boat, retired_at=None).values_list("name", flat=True)
    ]
    return [_sheet(boat, book, index, plan, systems) for index, plan in enumerate(plans)]


def _sheet(boat: Boat, book: Book, index: int, plan: Plan, systems: list[tuple[str, str]]) -> SheetChoice:
    sheet = book.sheets[index]
    kind = BY_KEY.get(plan.kind)
    body = sheet.rows[plan.first :]
    options = [("", "Leave out"), *((f.key, f.label) for f in kind.fields)] if kind else []
    columns = []
    for place, heading in enumerate(plan.headings):
        there = (
            words(row.cells[place]) for row in body if place < len(row.cells) and row.cells[place] is not None
        )
        samples = list(dict.fromkeys(word[:40] for _, word in zip(range(50), there, strict=False)))[:SAMPLES]
        if kind and (heading or samples):
            columns.append(
                ColumnChoice(
                    f"col-{index}-{place}", heading or "no heading", samples, plan.columns[place], options
                )
            )
    return SheetChoice(
        index,
        plan.title,
        len(body),
        plan.kind,
        kind.label if kind else "Left out",
        [("", "Leave this sheet out"), *((one.key, one.label) for one in KINDS)],
        columns,
        _options(boat, index, plan, systems),
        plan.remembered,
    )


def _options(boat: Boat, index: int, plan: Plan, systems: list[tuple[str, str]]) -> list[Option]:
    kind = BY_KEY.get(plan.kind)
    if kind is None:
        return []
    rows = []
    if plan.kind in ("orders", "jobs"):
        chosen = plan.options.get("system", "")
        names = systems if not chosen or (chosen, chosen) in systems else [*systems, (chosen, chosen)]
        rows.append(("system", "System, where a row names none", [("", "none: a fault"), *names]))
    if plan.kind == "orders":
        rows.append(("came", "What was ordered", list(CAME)))
        money = list(
            dict.fromkeys([boat.currency, "EUR", "GBP", "USD", "SEK", "NOK", "DKK", "CHF", "AUD", "NZD"])
        )
        if plan.options.get("currency", boat.currency) not in money:
            money.append(plan.options["currency"])
        rows.append(("currency", "Money, where a row names none", [(code, code) for code in money]))
    if any(key and (f := kind.field(key)) and f.type in (DAY, EXPIRY) for key in plan.columns):
        rows.append(("days", "Days", list(DAYS)))
    first = {"currency": boat.currency}
    return [
        Option(f"opt-{index}-{key}", label, plan.options.get(key, first.get(key, "")), some)
        for key, label, some in rows
    ]


def chosen(post: Any, boat: Boat, book: Book, plans: Sequence[Plan]) -> list[Plan]:
    """Return the plans as they were chosen on the page; what was not sent stays as it was."""
    return [_chosen(post, boat, book, index, plan) for index, plan in enumerate(plans)]


def _chosen(post: Any, boat: Boat, book: Book, index: int, plan: Plan) -> Plan:
    kind = post.get(f"kind-{index}", plan.kind)
    if kind != plan.kind:
        return regrouped(plan, book.sheets[index], kind)
    columns = [post.get(f"col-{index}-{place}", key) for place, key in enumerate(plan.columns)]
    options = dict(plan.options)
    for key in ("system", "came", "currency", "days"):
        value = post.get(f"opt-{index}-{key}")
        if value is not None and _fits(key, value, boat):
            options[key] = value
    if options.get("currency") == boat.currency and "currency" not in plan.options:
        options.pop("currency")
    return with_choices(plan, kind, columns, {key: value for key, value in options.items() if value})


def _fits(key: str, value: str, boat: Boat) -> bool:
    """Return whether an option is one that the page offers."""
    if key == "currency":
        try:
            minor_digits(value)
        except ValueError:
            return False
        return True
    if key == "system":
        # Compared here: one of the databases trips over a NUL, even to compare.
        return not value or value in System.objects.filter(boat=boat).values_list("name", flat=True)
    return value in dict(CAME if key == "came" else DAYS)
