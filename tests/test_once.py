"""The cast that tests are given is what the program's own actions make, row by row, and nothing more."""

from typing import Any

import pytest
from django.apps import apps
from django.contrib.auth.models import User
from django.db import transaction

from refit.boat.models import Label, Location
from tests.factory import Factory
from tests.once import Cast

pytestmark = pytest.mark.django_db

TIMES = ("date_joined", "made_at", "created_at", "entered_at")


def rows() -> dict[str, list[dict[str, Any]]]:
    """Return every row of the database, with what it points at by its place among its own kind."""
    order = {
        model: {
            pk: place
            for place, pk in enumerate(model._default_manager.order_by("pk").values_list("pk", flat=True))
        }
        for model in apps.get_models()
    }
    found = {}
    for model in apps.get_models():
        found[model._meta.label] = []
        for row in model._default_manager.order_by("pk"):
            values = {}
            for field in model._meta.concrete_fields:
                value = getattr(row, field.attname)
                if field.is_relation and value is not None:
                    value = order[field.related_model][value]
                if not field.primary_key and field.name not in (*TIMES, "code"):
                    values[field.name] = value
            found[model._meta.label].append(values)
    return found


def undone(make) -> tuple[Factory, dict[str, list[dict[str, Any]]]]:
    """Make a boat, read every row, and take it all back."""
    with transaction.atomic():
        made = make()
        seen = rows()
        transaction.set_rollback(True)
    return made, seen


def test_a_cast_written_again_is_what_the_actions_made():
    cast = Cast()
    _, by_actions = undone(Factory.start)
    _, first = undone(cast.make)
    factory, again = undone(cast.make)
    assert by_actions == first == again
    assert len(again["auth.User"]) == 5
    assert len(again["boat.Location"]) == 3
    assert factory.made == 0


def test_the_factory_points_at_its_own_rows():
    cast = Cast()
    undone(cast.make)
    made, by_actions = cast.make(), Factory.start(name="Other", prefix="other-")
    for name in ("owner", "crew", "trade", "viewer", "outsider"):
        assert getattr(made, name) == User.objects.get(username=name)
    for name in ("area", "ashore", "system", "other_system"):
        copy, real = getattr(made, name), getattr(by_actions, name)
        assert (str(copy), copy.boat) == (str(real), made.boat)
        copy.refresh_from_db()
        assert copy.boat_id == made.boat.pk
    assert (str(made.boat), made.boat.slug, made.boat.currency) == ("Test Boat", "test-boat", "GBP")
    assert made.member(made.trade).role == "trade"


def test_labels_lead_to_their_places_under_codes_that_differ_from_test_to_test():
    cast, seen = Cast(), set()
    for _ in range(6):
        with transaction.atomic():
            boat = cast.make().boat
            places = dict(Location.objects.filter(boat=boat).values_list("code", "pk"))
            assert dict(Label.objects.filter(boat=boat).values_list("code", "location_id")) == places
            seen |= set(places)
            transaction.set_rollback(True)
    assert len(seen) > 12
