"""What is typed at the door and when a boat is set up."""

import os
import zoneinfo
from decimal import Decimal
from pathlib import Path
from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.models import User
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from refit.boat.models import Units, Where
from refit.boat.usual import USUAL_SYSTEMS
from refit.calc.money import minor_digits
from refit.calc.text import expand_marks, fold
from refit.pages.fields import BoatForm, NumberField, TextField
from refit.pages.forms.people import FOOT, BoatFactsForm

LONGEST_NAME = 150  # of a user, in the database

# name, where it is, the quick list offered; common practice, no source
USUAL_AREAS: tuple[tuple[str, str, str], ...] = (
    ("Forepeak", Where.ABOARD, "F1-F4"),
    ("Saloon", Where.ABOARD, "P1-P6, S1-S6"),
    ("Galley", Where.ABOARD, "G1-G4"),
    ("Engine space", Where.ABOARD, "E1-E3"),
    ("Cockpit", Where.ABOARD, "C1, C2"),
    ("Lazarette", Where.ABOARD, "L1, L2"),
    ("Store ashore", Where.ASHORE, "A1-A4"),
)


class SignInForm(AuthenticationForm):
    """Name and password. A phone's capital letter at the start of a name does not shut anybody out."""

    error_messages = {
        "invalid_login": "That name and password do not fit. Both are told apart from others letter by letter.",
        "inactive": "This name is no longer in use.",
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["username"].label = "Name"
        self.fields["username"].widget.attrs.update({"autocapitalize": "none", "spellcheck": "false"})

    def clean_username(self) -> str:
        typed = self.cleaned_data["username"]
        if len(typed) > LONGEST_NAME:
            raise self.get_invalid_login_error()
        same = list(User.objects.filter(username__iexact=typed).values_list("username", flat=True)[:2])
        return same[0] if len(same) == 1 else typed


class FirstOwnerForm(forms.Form):
    """Who owns the installation: a name to sign in with, and a password twice."""

    name = TextField(label="Name", max_length=60, help_text="What you type to sign in; no blanks.")
    password = forms.CharField(
        strip=False,
        max_length=200,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="10 characters or more. Three plain words are good.",
    )
    again = forms.CharField(
        label="Password again",
        strip=False,
        max_length=200,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["name"].widget.attrs.update(
            {"autocomplete": "username", "autocapitalize": "none", "spellcheck": "false"}
        )

    def clean_name(self) -> str:
        name = User.normalize_username(self.cleaned_data["name"])
        try:
            User.username_validator(name)
        except ValidationError:
            raise ValidationError(
                "A name to sign in with has letters, figures and @ . + - _ only, and no blanks.",
                code="letters",
            ) from None
        return name

    def clean_password(self) -> str:
        password = self.cleaned_data["password"]
        validate_password(password)
        return password

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if "password" in given and "again" in given and given["password"] != given["again"]:
            self.add_error(
                "again", ValidationError("The two passwords differ; type both again.", code="differ")
            )
        return given


class FirstBoatForm(BoatForm):
    """The boat: only what labels and money need."""

    name = TextField(label="Name of the boat", max_length=80)
    currency = TextField(
        max_length=3,
        help_text="Three letters, such as GBP, EUR or USD. All sums are kept in it; it cannot change later.",
    )
    units = forms.ChoiceField(choices=Units.choices, widget=forms.RadioSelect, initial=Units.METRIC)
    length = NumberField(
        places=2, low=1, high=500, required=False, help_text="In metres, or in feet if you chose feet."
    )
    time_zone = forms.CharField(
        label="Time zone",
        max_length=40,
        help_text="Type a town, such as Europe/London. Days begin and end by it.",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(None, *args, **kwargs)  # type: ignore[arg-type]  # there is no boat yet
        self.fields["time_zone"].initial = zone_of_this_machine()
        self.fields["currency"].widget.attrs.update({"autocapitalize": "characters", "list": "currencies"})
        self.fields["time_zone"].widget.attrs.update({"list": "zones", "autocomplete": "off"})

    clean_time_zone = BoatFactsForm.clean_time_zone
    zones = BoatFactsForm.zones

    def clean_currency(self) -> str:
        currency = self.cleaned_data["currency"].upper()
        try:
            minor_digits(currency)
        except ValueError as problem:
            raise ValidationError(str(problem), code="currency") from None
        return currency

    def facts(self) -> dict[str, Any]:
        """Return the boat's facts as the action takes them, the length in metres."""
        data = self.cleaned_data
        length = data["length"]
        if length is not None and data["units"] == Units.IMPERIAL:
            length = (length * FOOT).quantize(Decimal("0.01"))
        return {
            "name": data["name"],
            "currency": data["currency"],
            "units": data["units"],
            "length_m": length,
            "time_zone": data["time_zone"],
        }


class FirstSystemsForm(BoatForm):
    """Which of the usual systems this boat has."""

    systems = forms.MultipleChoiceField(
        label="This boat has",
        choices=[(name, name) for name, *_ in USUAL_SYSTEMS],
        initial=[name for name, _, _, ticked in USUAL_SYSTEMS if ticked],
        widget=forms.CheckboxSelectMultiple,
        error_messages={
            "required": "Tick at least one; every job and every line of an order belongs to one."
        },
    )

    def rows(self) -> list[tuple[str, str, bool]]:
        """Return the ticked systems as the action takes them."""
        ticked = set(self.cleaned_data["systems"])
        return [(name, group, ours) for name, group, ours, _ in USUAL_SYSTEMS if name in ticked]


class FirstLockersForm(BoatForm):
    """A quick list of lockers for each area; what is left empty is not made."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for number, (name, _, offered) in enumerate(USUAL_AREAS):
            box = TextField(label=name, max_length=400, required=False, initial=offered)
            box.widget.attrs.update(
                {"autocapitalize": "characters", "autocomplete": "off", "spellcheck": "false"}
            )
            self.fields[f"area_{number}"] = box

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        seen: dict[str, str] = {}
        for key, name, _, words in self.lists():
            for mark in self._marks(key, words):
                if mark in seen:
                    sentence = f"{mark.upper()} stands in {seen[mark]} already; each mark is used once."
                    self.add_error(key, ValidationError(sentence, code="taken"))
                    break
                seen[mark] = name
        if not self.errors and not self.lists():
            self.add_error(None, ValidationError("Type at least one locker, such as P1-P6.", code="nothing"))
        return given

    def _marks(self, key: str, words: str) -> list[str]:
        try:
            return [fold(mark) for mark, name in expand_marks(words) if not name]
        except ValueError as problem:
            self.add_error(key, ValidationError(str(problem), code="quick_list"))
            return []

    def lists(self) -> list[tuple[str, str, str, str]]:
        """Return field, area, where it is and the quick list, for each area that has one."""
        return [
            (f"area_{number}", name, where, self.cleaned_data[f"area_{number}"])
            for number, (name, where, _) in enumerate(USUAL_AREAS)
            if self.cleaned_data.get(f"area_{number}")
        ]


def zone_of_this_machine() -> str:
    """Return the time zone that this machine is set to, as far as it says."""
    for said in (_from_file(Path("/etc/timezone")), _from_link(Path("/etc/localtime"))):
        if said in zoneinfo.available_timezones():
            return said
    return "UTC"


def _from_file(path: Path) -> str:
    try:
        return path.read_text().strip()
    except (OSError, ValueError):
        return ""


def _from_link(path: Path) -> str:
    try:
        return os.readlink(path).rpartition("zoneinfo/")[2]
    except OSError:
        return ""
