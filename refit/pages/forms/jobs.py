"""What is typed about jobs: the job itself, what it wants, and the sieve of the work list."""

from decimal import Decimal
from typing import Any

import django_filters
from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Q, QuerySet

from refit.boat.models import Boat, Member, System
from refit.buying.reading import wanted
from refit.calc.text import fold
from refit.pages import seeing
from refit.pages.fields import BoatForm, QuantityField, TextField
from refit.pages.lists import FoldedFilter
from refit.stores.models import Part
from refit.stores.reading import parts_named
from refit.work.models import Before, Job, State

EVERY = "all"
WANTING = "wanting"


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

    def __init__(self, boat: Boat, *args: Any, job: Job | None = None, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
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
            }

    def facts(self) -> dict[str, Any]:
        """Return the job as the actions take it."""
        names = ("title", "system", "before", "given_to", "note", "found_on_the_way")
        return {name: self.cleaned_data[name] for name in names}


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

    def wanting(self, jobs: Any, _: str, value: str) -> Any:
        """Keep the jobs that still want something which is neither taken nor on order."""
        hungry = [pk for pk, wants in wanted(jobs).items() if any(want.unmet > 0 for want in wants)]
        return jobs.filter(pk__in=hungry)

    def filter_queryset(self, queryset: Any) -> Any:
        found = super().filter_queryset(queryset)
        return found if self.form.cleaned_data.get("state") else found.open()
