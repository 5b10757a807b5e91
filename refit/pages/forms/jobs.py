"""What is typed about jobs: the job itself, what it wants, and the sieve of the work list."""

from decimal import Decimal
from typing import Any

import django_filters
from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils import timezone

from refit.boat.models import Boat, Kind, Location, Member, System
from refit.buying.reading import wanted
from refit.calc.text import fold
from refit.pages import seeing
from refit.pages.fields import (
    BoatForm,
    DayField,
    NumberField,
    PlaceField,
    QuantityField,
    TextField,
    WorkDaysField,
)
from refit.pages.lists import FoldedFilter
from refit.stores.models import Part
from refit.stores.reading import parts_named
from refit.work.models import Before, Booking, Job, Priority, State, Trait

EVERY = "all"
WANTING = "wanting"
BOOKED, FREE = "booked", "free"
PLANNING = (
    "days",
    "priority",
    "not_before",
    "space",
    "sole_use",
    "dry",
    "above_celsius",
    "cure_days",
    "traits",
)


def systems_in_use(boat: Boat) -> "QuerySet[System]":
    """Return the systems that may be chosen."""
    return System.objects.filter(boat=boat, retired_at=None).order_by("name")


class JobForm(BoatForm):
    """A job: what is to be done, to which system, before what, by whom."""

    title = TextField(label="What is to be done", max_length=120)
    system = forms.ModelChoiceField(
        queryset=System.objects.none(),
        empty_label="choose a system",
        help_text="What it costs is counted under this system.",
    )
    before = forms.ChoiceField(label="To be done", choices=Before.choices)
    given_to = forms.ModelChoiceField(
        label="Given to",
        queryset=Member.objects.none(),
        required=False,
        empty_label="nobody in particular",
        help_text="A trade sees the jobs given to them, and no prices.",
    )
    note = TextField(label="Notes", max_length=4000, lines=True, required=False)
    found_on_the_way = forms.BooleanField(
        label="Found on the way",
        required=False,
        help_text="Not on the first list: it showed while something else was done. Counted apart in the forecast.",
    )

    days = WorkDaysField(
        label="Days of work",
        required=False,
        help_text="3, 0.5 or 4 hours. A day has eight hours.",
    )
    priority = forms.ChoiceField(
        label="What comes first",
        choices=Priority.choices,
        required=False,
        help_text="Parts and places go to what comes first.",
    )
    not_before = DayField(label="Not before", required=False)
    cure_days = NumberField(
        label="Days to cure after it",
        places=0,
        low=0,
        high=365,
        required=False,
        help_text="Nobody works then; what comes after waits.",
    )
    space = PlaceField(
        label="Where on the boat", required=False, help_text="An area or a place: Engine space, S3."
    )
    sole_use = forms.BooleanField(label="Nobody else can work there meanwhile", required=False)
    dry = forms.BooleanField(label="Needs dry weather", required=False)
    above_celsius = NumberField(label="Needs more than, °C", places=0, low=-30, high=60, required=False)
    traits = forms.MultipleChoiceField(
        label="What it brings with it",
        choices=Trait.choices,
        widget=forms.CheckboxSelectMultiple,
        required=False,
        help_text="For cautions, and for what cannot be done beside it.",
    )

    def __init__(self, boat: Boat, *args: Any, job: Job | None = None, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        self._offer_spaces(job)
        system, given_to = self.fields["system"], self.fields["given_to"]
        choices = systems_in_use(boat)
        if job:  # a retired system stays on the jobs that have it
            choices = System.objects.filter(Q(boat=boat, retired_at=None) | Q(pk=job.system_id)).order_by(
                "name"
            )
        system.queryset = choices  # type: ignore[attr-defined]
        given_to.queryset = (  # type: ignore[attr-defined]
            Member.objects.filter(boat=boat).select_related("user").order_by("user__first_name", "pk")
        )
        system.error_messages["invalid_choice"] = "This boat has no such system; choose one from the list."
        given_to.error_messages["invalid_choice"] = (
            "Nobody of that name is on this boat; choose from the list."
        )
        if job:
            self.initial = {
                "title": job.title,
                "system": job.system_id,
                "before": job.before,
                "given_to": job.given_to_id,
                "note": job.note,
                "found_on_the_way": job.found_on_the_way,
                **_planned(job),
            }

    def _offer_spaces(self, job: Job | None) -> None:
        """Let a job be done in any place in use, areas first; a place out of use stays on the jobs that have it."""
        rows = Location.objects.filter(boat=self.boat).exclude(kind=Kind.UNSTOWED).select_related("area")
        stays = job.space_id if job else None
        rows = rows.filter(Q(retired_at=None) | Q(pk=stays))
        every = sorted(rows.by_mark(), key=lambda place: place.kind != Kind.AREA)
        space: Any = self.fields["space"]
        space.places = every
        space.widget.attrs["list"] = "spaces"
        self.space_options = every

    @property
    def folded(self) -> bool:
        """Return whether dates and conditions may stay folded away: nothing is said of them."""
        return not any(self[name].errors or self[name].value() for name in PLANNING if name != "priority")

    @property
    def planning(self) -> list[Any]:
        """Return the short fields of dates and conditions, in their order."""
        return [self[name] for name in ("days", "priority", "not_before", "cure_days")]

    def plan(self) -> dict[str, Any]:
        """Return what the form says of dates and conditions, as the action takes it."""
        given = self.cleaned_data
        celsius = given["above_celsius"]
        return {
            name: given[name] for name in ("days", "not_before", "space", "sole_use", "dry", "traits")
        } | {
            "priority": int(given["priority"] or Priority.NORMAL),
            "above_celsius": None if celsius is None else int(celsius),
            "cure_days": int(given["cure_days"] or 0),
        }

    def facts(self) -> dict[str, Any]:
        """Return the job as the actions take it."""
        names = ("title", "system", "before", "given_to", "note", "found_on_the_way")
        return {name: self.cleaned_data[name] for name in names}


def _planned(job: Job) -> dict[str, Any]:
    """Return what a job says of dates and conditions, as it is typed."""
    return {
        "days": job.days,
        "priority": job.priority,
        "not_before": job.not_before,
        "cure_days": job.cure_days or None,
        "space": str(job.space) if job.space else None,
        "sole_use": job.sole_use,
        "dry": job.dry,
        "above_celsius": job.above_celsius,
        "traits": [row.trait for row in job.traits.all()],
    }


class NeedForm(BoatForm):
    """What a job wants: a part, by name or any of its numbers, or something in words."""

    words = TextField(label="Part, number, or in words", max_length=200, required=False)
    part = forms.CharField(widget=forms.HiddenInput, required=False, max_length=20)
    quantity = QuantityField(label="How many", initial=Decimal(1))
    pick = forms.CharField(widget=forms.HiddenInput, required=False, max_length=20)
    as_words = forms.CharField(widget=forms.HiddenInput, required=False, max_length=4)

    def __init__(self, boat: Boat, *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        self.choices: list[Part] = []
        self.fields["words"].widget.attrs.update({"autocomplete": "off", "spellcheck": "false"})

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        words = given.get("words", "")
        given["thing"] = None
        chosen = given.get("pick") or given.get("part")
        if chosen:
            found = self._part(chosen)
            # Words typed after a choice was made mean something else again.
            if given.get("pick") or not words or fold(words) == fold(found.name):
                given["thing"] = found
                return given
        if not words:
            raise ValidationError("What does it want? Type a part, a number, or a few words.", code="empty")
        if not given.get("as_words"):
            given["thing"] = self._meant(words)
        return given

    def _part(self, text: str) -> Part:
        found = Part.objects.in_use().filter(boat=self.boat, pk=int(text)) if text.isdecimal() else None
        part = found.first() if found is not None and int(text) < 2**63 else None
        if part is None:
            raise ValidationError("There is no such part on this boat.", code="no_part")
        return part

    def _meant(self, words: str) -> Part | None:
        """Return the one part of this name or number; if several come near, ask which."""
        whole = fold(words)
        numbered = Part.objects.in_use().filter(boat=self.boat, numbers__folded=whole).distinct()
        near = parts_named(self.boat, words)
        same = {part.pk: part for part in [*numbered[:2], *(p for p in near if fold(p.name) == whole)]}
        if len(same) == 1:
            return next(iter(same.values()))
        if near:
            self.choices = near
            raise ValidationError("Which of these? Choose one, or keep it in words.", code="which")
        return None


def _systems(request: Any) -> "QuerySet[System]":
    jobs = seeing.jobs(request.member).values("system")
    return System.objects.filter(boat=request.boat, pk__in=jobs).order_by("name")


def _members(request: Any) -> "QuerySet[Member]":
    return Member.objects.filter(boat=request.boat).select_related("user").order_by("user__first_name", "pk")


class JobSieve(django_filters.FilterSet):
    """The sieve of the work list: what is open, unless another state is asked for."""

    q = FoldedFilter("folded")
    state = django_filters.ChoiceFilter(
        label="State", choices=[*State.choices, (EVERY, "All")], empty_label="Open", method="passed"
    )
    before = django_filters.ChoiceFilter(label="To be done", choices=Before.choices, empty_label="Any time")
    system = django_filters.ModelChoiceFilter(label="System", queryset=_systems, empty_label="All systems")
    given_to = django_filters.ModelChoiceFilter(label="Given to", queryset=_members, empty_label="Anybody")

    priority = django_filters.ChoiceFilter(label="Comes first", choices=Priority.choices, empty_label="Any")
    booked = django_filters.ChoiceFilter(
        label="Booked",
        choices=[(BOOKED, "Somebody comes"), (FREE, "Nobody yet")],
        empty_label="Any",
        method="coming",
    )
    parts = django_filters.ChoiceFilter(
        label="Parts", choices=[(WANTING, "Still wants some")], empty_label="Any", method="wanting"
    )

    class Meta:
        model = Job
        fields: list[str] = []

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.request is not None and not seeing.sees_all(self.request.member):
            del self.filters["given_to"]  # a trade has only its own

    def passed(self, jobs: Any, _: str, value: str) -> Any:
        """Keep the jobs of one state, or all."""
        return jobs if value == EVERY else jobs.filter(state=value)

    def coming(self, jobs: Any, _: str, value: str) -> Any:
        """Keep the jobs for which somebody comes from today on, or those for which nobody is booked."""
        here = Booking.objects.filter(job=OuterRef("pk"), cancelled_at=None)
        still = here.filter(day__gte=timezone.localdate())
        return jobs.filter(Exists(still) if value == BOOKED else ~Exists(here))

    def wanting(self, jobs: Any, _: str, value: str) -> Any:
        """Keep the jobs that still want something which is neither taken nor on order."""
        hungry = [pk for pk, wants in wanted(jobs).items() if any(want.unmet > 0 for want in wants)]
        return jobs.filter(pk__in=hungry)

    def filter_queryset(self, queryset: Any) -> Any:
        found = super().filter_queryset(queryset)
        return found if self.form.cleaned_data.get("state") else found.open()
