"""What an order's form may choose from, read once however many lines there are; and the fields that choose.

Decides what a typed job, system or currency means. Decides nothing about what an order must have.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.forms.utils import flatatt
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from refit.boat.models import Boat, Location, System
from refit.buying.models import Supplier
from refit.calc.money import minor_digits
from refit.calc.problems import Problem
from refit.calc.text import clean, fold
from refit.pages.fields import TextField
from refit.stores.models import Part, PartNumber
from refit.work.models import OPEN_STATES, Job

FIELD = "order_form/_field.html"
COMMON = (
    "GBP",
    "EUR",
    "USD",
    "SEK",
    "NOK",
    "DKK",
    "CHF",
    "AUD",
    "NZD",
    "CAD",
    "PLN",
    "JPY",
    "CLP",
    "ARS",
    "ZAR",
)


@dataclass
class Choices:
    """The boat's places, jobs, systems and suppliers, and the parts that the lines name."""

    boat: Boat
    places: list[Location]
    jobs: list[Job]
    systems: list[System]
    suppliers: list[Supplier]
    parts: dict[int, Part] = field(default_factory=dict)

    @classmethod
    def read(cls, boat: Boat) -> "Choices":
        """Read what may be chosen, in four queries."""
        return cls(
            boat,
            list(Location.objects.stowable().filter(boat=boat).select_related("area").by_mark()),
            list(Job.objects.filter(boat=boat).select_related("system").defer("note")),
            list(System.objects.filter(boat=boat, retired_at=None)),
            list(Supplier.objects.filter(boat=boat)),
        )

    def read_parts(self, ids: Iterable[str]) -> None:
        """Read the parts of these ids (as sent by a form), of this boat only."""
        wanted = {int(text) for text in ids if text.isascii() and text.isdecimal() and len(text) < 19}
        missing = wanted - self.parts.keys()
        if missing:
            found = Part.objects.in_use().filter(boat=self.boat, pk__in=missing).select_related("usual_place")
            self.parts |= {part.pk: part for part in found}

    @property
    def open_jobs(self) -> list[Job]:
        return [job for job in self.jobs if job.state in OPEN_STATES]

    def supplier(self, name: str) -> Supplier | None:
        """Return the supplier of this name, whatever its case and accents."""
        wanted = fold(name)
        return next((supplier for supplier in self.suppliers if supplier.folded == wanted), None)

    def job(self, text: str) -> Job | None:
        """Return the job that a person means: by its number, its number and title, or its title."""
        wanted = fold(text)
        if wanted.isdecimal():
            return next((job for job in self.jobs if str(job.number) == wanted), None)
        hits = [job for job in self.jobs if wanted in (job.folded, fold(job.title), fold(str(job)))]
        return hits[0] if len(hits) == 1 else None

    def known_parts(self, texts: Iterable[str]) -> dict[str, Part]:
        """Return, for each text that is exactly one part's name or number, that part; by the folded text."""
        wanted = {fold(text)[:120]: text for text in map(readable, texts) if fold(text)}
        found: dict[str, set[int]] = {key: set() for key in wanted}
        named = Part.objects.in_use().filter(boat=self.boat, name__in=list(wanted.values()))
        for pk, name in named.values_list("pk", "name"):
            found[fold(name)[:120]].add(pk)
        numbered = PartNumber.objects.filter(boat=self.boat, folded__in=list(wanted), part__retired_at=None)
        for pk, folded in numbered.values_list("part_id", "folded"):
            found[folded].add(pk)
        single = {key: next(iter(pks)) for key, pks in found.items() if len(pks) == 1}
        self.read_parts(str(pk) for pk in single.values())
        return {key: self.parts[pk] for key, pk in single.items() if pk in self.parts}


class JobField(TextField):
    """A job by its number or title; gives a `Job`, the title of a job to be made, or None."""

    choices: Choices

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=120, required=False, **kwargs)
        self.widget.attrs.update({"autocomplete": "off", "list": "jobs"})

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        if not text:
            return None
        found = self.choices.job(text)
        if found is None and sum(letter.isalpha() for letter in text) < 3:
            raise ValidationError(
                f"No job “{text[:40]}”. Pick one, or type a title for a new job.", code="no_job"
            )
        return found or text


class PlainSelect(forms.Select):
    """A select drawn in one go: two hundred lines with a template for each option would take seconds."""

    def render(self, name: str, value: Any, attrs: Any = None, renderer: Any = None) -> SafeString:
        chosen = "" if value is None else str(value)
        parts = [
            _option(key, label, chosen) if isinstance(label, str) else _group(key, label, chosen)
            for key, label in self.choices
        ]
        every = self.build_attrs(self.attrs, attrs)
        return format_html('<select name="{}"{}>{}</select>', name, flatatt(every), mark_safe("".join(parts)))


def _option(key: Any, label: Any, chosen: str) -> SafeString:
    mark = mark_safe(" selected") if key == chosen else ""
    return format_html('<option value="{}"{}>{}</option>', key, mark, label)


def _group(name: Any, rows: Iterable[Any], chosen: str) -> SafeString:
    options = mark_safe("".join(_option(key, label, chosen) for key, label in rows))
    return format_html('<optgroup label="{}">{}</optgroup>', name, options)


class SystemField(forms.ChoiceField):
    """One of the boat's systems, or None."""

    widget = PlainSelect

    systems: dict[str, System]

    def __init__(self, *, none: str, **kwargs: Any) -> None:
        super().__init__(required=False, **kwargs)
        self.none = none

    def offer(self, systems: list[System]) -> None:
        """Offer these systems, by group."""
        self.systems = {str(system.pk): system for system in systems}
        groups: dict[str, list[tuple[str, str]]] = {}
        for system in systems:
            groups.setdefault(system.get_group_display(), []).append((str(system.pk), system.name))
        self.choices = [("", self.none), *groups.items()]

    def clean(self, value: Any) -> System | None:
        text = str(value or "")
        if not text:
            return None
        if text not in self.systems:
            raise ValidationError("Choose one of the boat's systems.", code="no_system")
        return self.systems[text]


class CurrencyField(TextField):
    """A currency of ISO 4217, by its three letters."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=3, **kwargs)
        self.widget.attrs.update(
            {
                "autocomplete": "off",
                "autocapitalize": "characters",
                "spellcheck": "false",
                "list": "currencies",
                "size": 3,
            }
        )

    def clean(self, value: Any) -> str:
        code = super().clean(value).upper()
        if code:
            try:
                minor_digits(code)
            except ValueError as problem:
                raise ValidationError(str(problem), code="currency") from None
        return code


def readable(text: str) -> str:
    """Return typed words fit to look up; nothing where the field is going to refuse them."""
    try:
        return clean(text[:200])
    except Problem:
        return ""


def digits_of(code: str, otherwise: str) -> int:
    """Return how many decimals an amount of a typed currency has; of another one while it is not yet right."""
    try:
        return minor_digits(code.strip().upper() or otherwise)
    except ValueError:
        return minor_digits(otherwise)
