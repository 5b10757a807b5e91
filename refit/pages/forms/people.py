"""What is typed about the boat's people, and about the boat herself."""

import zoneinfo
from decimal import Decimal
from typing import Any

from django import forms
from django.contrib.auth.models import User
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from refit.boat.models import Boat, Units
from refit.boat.rights import Role
from refit.pages.fields import BoatForm, DayField, NumberField, TextField

FOOT = Decimal("0.3048")  # exact, by the international yard and pound agreement of 1959
ROLES_SAID = (
    (Role.OWNER, "Owner: everything, the boat and its people too"),
    (Role.CREW, "Crew: everything but the boat and its people"),
    (Role.TRADE, "Trade: the jobs given to them, their parts and places; no prices"),
    (Role.VIEWER, "Viewer: sees everything, changes nothing"),
)


class PersonForm(BoatForm):
    """A person to add: by a new sign-in name with a first password, or one who signs in here already."""

    name = TextField(label="Name", max_length=60, required=False)
    sign_in = TextField(
        label="Sign-in name", max_length=60, help_text="What they type to sign in; no blanks."
    )
    password = forms.CharField(
        label="First password",
        required=False,
        strip=False,
        max_length=200,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="10 characters or more; they can change it. Leave it empty for somebody who signs in here already.",
    )
    role = forms.ChoiceField(choices=ROLES_SAID, widget=forms.RadioSelect)

    def __init__(self, boat: Boat, *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        self.fields["sign_in"].widget.attrs.update(
            {"autocomplete": "off", "autocapitalize": "none", "spellcheck": "false"}
        )

    def clean_sign_in(self) -> str:
        name = User.normalize_username(self.cleaned_data["sign_in"])
        try:
            User.username_validator(name)
        except ValidationError:
            raise ValidationError(
                "A sign-in name has letters, figures and @ . + - _ only, and no blanks.", code="letters"
            ) from None
        return name

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if given.get("password"):
            person = User(username=given.get("sign_in", ""), first_name=given.get("name", ""))
            try:
                validate_password(given["password"], person)
            except ValidationError as weak:
                self.add_error("password", weak)
        return given


class RoleForm(BoatForm):
    """Another role for a person."""

    role = forms.ChoiceField(choices=Role.choices)


class BoatFactsForm(BoatForm):
    """What is known of the boat. Lengths are typed in the units that the boat is kept in."""

    name = TextField(label="Name of the boat", max_length=80)
    builder = TextField(max_length=80, required=False)
    year_built = NumberField(label="Year built", places=0, low=1700, high=2100, required=False)
    material = TextField(max_length=40, required=False)
    hull_number = TextField(max_length=20, required=False)
    official_number = TextField(max_length=20, required=False)
    flag = TextField(max_length=40, required=False)
    port_of_registry = TextField(max_length=60, required=False)
    call_sign = TextField(max_length=12, required=False)
    length_m = NumberField(label="Length", places=2, low=Decimal("0.5"), high=500, required=False)
    beam_m = NumberField(label="Beam", places=2, low=Decimal("0.1"), high=300, required=False)
    draught_m = NumberField(label="Draught", places=2, low=Decimal("0.05"), high=300, required=False)
    units = forms.ChoiceField(choices=Units.choices)
    time_zone = forms.CharField(
        label="Time zone",
        max_length=40,
        help_text="Type a town, such as Europe/London. Days begin and end by it.",
    )
    bought_on = DayField(
        label="Ours since",
        required=False,
        help_text="Optional. A day of work before it is taken for a slip and refused.",
    )
    deducts_tax = forms.BooleanField(
        required=False,
        label="We are registered for tax and get it back on purchases",
        help_text="Then a bill's tax can be marked as no cost. Everybody else pays it; what comes back later is "
        "money back on the order.",
    )
    LENGTHS = ("length_m", "beam_m", "draught_m")

    def __init__(self, boat: Boat, *args: Any, **kwargs: Any) -> None:
        super().__init__(boat, *args, **kwargs)
        self.feet = boat.units == Units.IMPERIAL
        self.initial = {name: getattr(boat, name) for name in self.fields if name != "form_key"}
        for name in self.LENGTHS:
            self.fields[name].label = f"{self.fields[name].label}, {'ft' if self.feet else 'm'}"
            if self.feet and self.initial[name] is not None:
                self.initial[name] = (self.initial[name] / FOOT).quantize(Decimal("0.01"))
        if boat.year_built:
            self.initial["year_built"] = str(boat.year_built)
        self.fields["time_zone"].widget.attrs.update({"list": "zones", "autocomplete": "off"})

    @property
    def zones(self) -> list[str]:
        """Return the time zones that this machine knows."""
        return sorted(zone for zone in zoneinfo.available_timezones() if "/" in zone or zone == "UTC")

    def clean_time_zone(self) -> str:
        wanted = self.cleaned_data["time_zone"].strip().replace(" ", "_").casefold()
        known = {zone.casefold(): zone for zone in zoneinfo.available_timezones()}
        towns = [zone for folded, zone in known.items() if folded.rpartition("/")[2] == wanted]
        found = known.get(wanted) or (towns[0] if len(towns) == 1 else None)
        if found is None or len(found) > 40:
            raise ValidationError(
                "No time zone of that name is known here; type one like Europe/London.", code="no_zone"
            )
        return found

    def facts(self) -> dict[str, Any]:
        """Return the boat's facts as the actions take them, lengths in metres."""
        found = {name: value for name, value in self.cleaned_data.items() if name != "form_key"}
        if self.feet:
            for name in self.LENGTHS:
                if found[name] is not None:
                    found[name] = (found[name] * FOOT).quantize(Decimal("0.01"))
        if found["year_built"] is not None:
            found["year_built"] = int(found["year_built"])
        return found
