"""What the plan is narrowed to, read from its address; what cannot be right is passed over and the whole plan shown."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django import forms

from refit.pages.fields import DayField
from refit.work.models import Job

BY = (("milestone", "milestone"), ("system", "system"))
WEEKS = (4, 8, 12, 26, 52)
USUAL_WEEKS = 12
FURTHEST = timedelta(days=3660)


@dataclass(frozen=True)
class PlanView:
    """What of the plan is looked at: the days from `first` to `last`, both among them, and which jobs."""

    by: str
    first: date
    weeks: int
    system: int | None = None
    space: int | None = None
    critical: bool = False
    booked: bool = False

    @property
    def last(self) -> date:
        return self.first + timedelta(days=7 * self.weeks - 1)

    @property
    def earlier(self) -> date:
        return self.first - timedelta(days=7 * max(self.weeks // 2, 1))

    @property
    def later(self) -> date:
        return self.first + timedelta(days=7 * max(self.weeks // 2, 1))


class PlanSieve(forms.Form):
    """The sieve of the plan."""

    by = forms.ChoiceField(label="Group by", choices=BY, required=False)
    weeks = forms.TypedChoiceField(
        label="Weeks shown", choices=[(n, f"{n} weeks") for n in WEEKS], coerce=int, required=False
    )
    start = DayField(label="From", required=False)
    system = forms.TypedChoiceField(coerce=int, required=False, empty_value=None)
    space = forms.TypedChoiceField(label="Where", coerce=int, required=False, empty_value=None)
    critical = forms.BooleanField(label="Critical or late only", required=False)
    booked = forms.BooleanField(label="With a booking only", required=False)

    def __init__(self, jobs: Iterable[Job], today: date, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today
        systems = {job.system_id: job.system.name for job in jobs}
        spaces = {job.space_id: str(job.space) for job in jobs if job.space}
        self._offer("system", "All systems", systems)
        self._offer("space", "Anywhere", spaces)
        self.initial = {"by": "milestone", "weeks": USUAL_WEEKS, **self.initial}

    def _offer(self, name: str, everything: str, choices: dict[Any, str]) -> None:
        named = sorted(choices.items(), key=lambda row: row[1].casefold())
        self.fields[name].choices = [("", everything), *named]  # type: ignore[attr-defined]

    def view(self) -> PlanView:
        """Return what is looked at; from this week's Monday on where no day is given."""
        self.is_valid()
        given = self.cleaned_data
        monday = self.today - timedelta(days=self.today.weekday())
        first = given.get("start") or monday
        if abs(first - self.today) > FURTHEST:
            first = monday
        return PlanView(
            by=given.get("by") or "milestone",
            first=first,
            weeks=given.get("weeks") or USUAL_WEEKS,
            system=given.get("system"),
            space=given.get("space"),
            critical=bool(given.get("critical")),
            booked=bool(given.get("booked")),
        )

    @property
    def narrows(self) -> bool:
        """Return whether jobs are left out."""
        given = getattr(self, "cleaned_data", {})
        return any(given.get(name) for name in ("system", "space", "critical", "booked"))
