"""What is tried on the plan, read from its address: what comes later or sooner, jobs left out or moved. Also its keeping."""

import re
from collections.abc import Iterable, Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from refit.boat.models import Boat
from refit.buying.netted import Netted
from refit.buying.supposing import Suppose
from refit.buying.trying import Trial
from refit.calc.netting import Source, Verdict
from refit.pages.fields import BoatForm, TextField
from refit.work.models import Before, State

MOST_JOBS = 60
MOST_DAYS = 730
MOST_OFFERED = 150
A_WEEK = 7
NUMBERS = re.compile(r"[\s,;]+")
SOONER, LATER = "sooner", "later"
WAYS = ((LATER, "later"), (SOONER, "sooner"))
PUT = ((Before.AFLOAT.value, "to be done afloat"), (Before.DEPARTURE.value, "before departure"))
DROP = ((State.LATER.value, "left for later"), (Before.ANOTHER_YEAR.value, "for another year"))


class TryForm(forms.Form):
    """What is tried. `thing` is an order by number (o12) or a part by its key (p34)."""

    thing = forms.ChoiceField(label="What if this came", required=False)
    days = forms.IntegerField(
        label="Days",
        required=False,
        min_value=1,
        max_value=MOST_DAYS,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
        error_messages={
            "invalid": "Days are a whole number, such as 7.",
            "min_value": "From 1 day on.",
            "max_value": f"At most {MOST_DAYS} days.",
        },
    )
    way = forms.ChoiceField(label="Sooner or later", choices=WAYS, required=False)
    drop = TextField(
        label="Jobs left out",
        required=False,
        max_length=400,
        help_text="Numbers of jobs, such as 12, 31",
    )
    drop_to = forms.ChoiceField(label="Left out means", choices=DROP, required=False)
    past = TextField(
        label="Jobs moved past the launch",
        required=False,
        max_length=400,
        help_text="Numbers of jobs, such as 12, 31",
    )
    past_to = forms.ChoiceField(label="Moved means", choices=PUT, required=False)

    def __init__(self, net: Netted, *args: Any, first: Sequence[str] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.net = net
        self.fields["thing"].choices = [("", "Nothing"), *things(net, first)]  # type: ignore[attr-defined]
        self.known = {job.number for job in net.work.jobs}
        if not self.is_bound:
            offered = self.fields["thing"].choices  # type: ignore[attr-defined]
            self.initial = {"days": A_WEEK, "thing": offered[1][0] if first and len(offered) > 1 else ""}

    def clean_drop(self) -> frozenset[int]:
        return self._jobs("drop")

    def clean_past(self) -> frozenset[int]:
        return self._jobs("past")

    def _jobs(self, name: str) -> frozenset[int]:
        """Return the jobs named."""
        words = [word for word in NUMBERS.split(self.cleaned_data[name] or "") if word]
        if len(words) > MOST_JOBS:
            raise ValidationError(f"At most {MOST_JOBS} jobs at a time.", code="many")
        wrong = [word for word in words if not (word.isascii() and word.isdigit() and len(word) < 8)]
        numbers = {int(word) for word in words if word not in wrong}
        missing = [*wrong, *(str(number) for number in sorted(numbers - self.known))]
        if missing:
            raise ValidationError(
                f"No job to be done has the number {missing[0][:20]}; write numbers such as 12, 31.",
                code="no_job",
            )
        return frozenset(numbers)

    @property
    def trial(self) -> Trial:
        """Return what is tried."""
        given = self.cleaned_data
        days = (given.get("days") or A_WEEK) * (-1 if given.get("way") == SOONER else 1)
        thing = given.get("thing") or ""
        suppose = Suppose()
        if thing[:1] == "o":
            suppose = Suppose(orders={int(thing[1:]): days})
        elif thing[:1] == "p":
            suppose = Suppose(parts={int(thing[1:]): days})
        return Trial(
            suppose=suppose,
            dropped=given["drop"],
            moved=given["past"] - given["drop"],
            put=given.get("past_to") or Before.AFLOAT.value,
        )

    @property
    def drop_where(self) -> str:
        return self.cleaned_data.get("drop_to") or State.LATER.value


def things(net: Netted, first: Iterable[str]) -> list[tuple[str, str]]:
    """Return what may come later or sooner: orders to come, then parts; those that a milestone hangs on first."""
    orders: dict[str, str] = {}
    parts: dict[str, str] = {}
    for row in net.rows:
        if row.met is None or row.need.part is None or row.met.verdict is Verdict.HERE:
            continue
        for line in row.lines:
            key = f"o{line.order.number}"
            there = orders.setdefault(
                key, f"order {line.order.number}, {line.order.supplier}: {row.need.part.name}"
            )
            if row.need.part.name not in there and len(there) < 90:
                orders[key] = f"{there}, {row.need.part.name}"
        coming = any(take.supply.source in (Source.ON_ORDER, Source.AWAY) for take in row.met.takes)
        if row.met.fresh_on or coming:
            for pk in {row.met.buy, *(take.supply.part for take in row.met.takes)}:
                parts.setdefault(f"p{pk}", net.parts[pk].name)
    every = {**orders, **dict(sorted(parts.items(), key=lambda pair: pair[1].casefold()))}
    leading = [key for key in dict.fromkeys(first) if key in every]
    keys = [*leading, *(key for key in every if key not in leading)]
    return [(key, every[key]) for key in keys[:MOST_OFFERED]]


class KeepForm(BoatForm):
    """What is kept of a trial: who promised the new day of the order, if it is to be written down."""

    promise = forms.BooleanField(required=False)
    who = TextField(label="Who said so", required=False, max_length=80)

    def __init__(self, boat: Boat, *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
