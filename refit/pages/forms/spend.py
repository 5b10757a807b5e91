"""What spend is narrowed to: days, job, supplier, group, system. Read from the address, so that it can be kept."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from refit.boat.models import Boat, Group, System
from refit.buying.models import Supplier
from refit.buying.spend import Filters
from refit.pages.fields import DayField
from refit.reports.spend import NO_JOB
from refit.work.models import Job

NONE = "none"


class SpendForm(forms.Form):
    """The sieve of spend. Jobs go by their numbers; `none` is what belongs to no job."""

    since = DayField(label="Ordered from", required=False)
    until = DayField(label="Ordered to", required=False)
    group = forms.ChoiceField(required=False)
    system = forms.ChoiceField(required=False)
    job = forms.ChoiceField(required=False)
    supplier = forms.ChoiceField(required=False)

    def __init__(self, boat: Boat, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        jobs = Job.objects.filter(boat=boat).order_by("number").values_list("pk", "number", "title")
        self.jobs = {str(number): pk for pk, number, _ in jobs}
        systems = System.objects.filter(boat=boat).order_by("name").values_list("pk", "name")
        suppliers = Supplier.objects.filter(boat=boat).order_by("name").values_list("pk", "name")
        self._offer("group", "All groups", Group.choices)
        self._offer("system", "All systems", systems)
        named = [(number, f"{number} {title}") for _, number, title in jobs]
        self._offer("job", "All jobs", [*named, (NONE, NO_JOB)])
        self._offer("supplier", "All suppliers", suppliers)

    def _offer(self, name: str, everything: str, choices: Any) -> None:
        field = self.fields[name]
        field.choices = [("", everything), *((str(value), word) for value, word in choices)]  # type: ignore[attr-defined]
        sentence = f"This boat has no such {name}; choose one from the list."
        field.error_messages["invalid_choice"] = sentence

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        if found.get("since") and found.get("until") and found["until"] < found["since"]:
            raise ValidationError("The last day lies before the first; swap them.", code="days")
        return found

    def filters(self) -> Filters:
        """Return what the sieve lets through."""
        given = self.cleaned_data
        job = given["job"]
        return Filters(
            since=given["since"],
            until=given["until"],
            job=self.jobs.get(job),
            no_job=job == NONE,
            supplier=int(given["supplier"]) if given["supplier"] else None,
            group=given["group"],
            system=int(given["system"]) if given["system"] else None,
        )

    def words(self) -> str:
        """Say in words what the sieve lets through; empty for everything."""
        said = []
        for name, word in (("since", "ordered from"), ("until", "ordered to")):
            if self.cleaned_data[name]:
                said.append(f"{word} {self.cleaned_data[name]:%-d %b %Y}")
        for name in ("group", "system", "job", "supplier"):
            chosen = self.cleaned_data[name]
            if chosen == NONE:
                said.append(NO_JOB)
            elif chosen:
                label = dict(self.fields[name].choices)[chosen]  # type: ignore[attr-defined]
                said.append(f"{name} {label}")
        return ", ".join(said)
