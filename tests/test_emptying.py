"""After a test whose deeds were committed nothing is left of them, and every guard stands."""

import pytest
from django.apps import apps
from django.contrib.auth.models import Permission
from django.contrib.contenttypes.models import ContentType
from django.contrib.sessions.models import Session
from django.db import DatabaseError, connection, transaction

from refit.boat import guards
from refit.stores.models import Entry, Movement
from tests.boat.whole import fill
from tests.conftest import signed_in
from tests.emptying import empty


def held() -> set[str]:
    """Return the names of the models of which there are rows."""
    return {model.__name__ for model in apps.get_models() if model._default_manager.exists()}


def test_nothing_is_left_but_what_migrate_made(make):
    made_by_migrate = (ContentType.objects.count(), Permission.objects.count())
    fill(make)
    signed_in(make.owner)
    assert Session.objects.exists()
    assert len(held()) > 40
    empty(connection)
    assert held() == {"ContentType", "Permission"}
    assert (ContentType.objects.count(), Permission.objects.count()) == made_by_migrate


def test_the_ledger_is_guarded_again(make):
    make.stock(make.part(), make.place(), 3)
    empty(connection)
    assert guards.missing(connection) == []
    make = make.start(name="Another", prefix="another-")
    make.stock(make.part(), make.place(), 3)
    for model in (Movement, Entry):
        with pytest.raises(DatabaseError, match="never changed or deleted"), transaction.atomic():
            model.objects.all()._raw_delete("default")
        assert model.objects.count() == 1


def test_a_guard_that_a_test_took_away_is_put_back(db):
    guards.lift(connection)
    empty(connection)
    assert guards.missing(connection) == []
