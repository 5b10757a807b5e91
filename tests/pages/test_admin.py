"""Django's admin: for the superuser alone, and no way round the ledger."""

import pytest
from django.contrib import admin
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from refit.boat.models import Boat
from refit.buying.models import Order
from refit.stores.models import Holding, Movement, Part
from tests.conftest import signed_in

OURS = ("boat", "work", "stores", "buying")
REGISTERED = sorted(
    (model for model in admin.site._registry if model._meta.app_label in OURS), key=lambda m: m._meta.label
)
CHANGEABLE = {"boat.Boat", "boat.System", "stores.Part", "buying.Supplier"}
READ_ONLY = [model for model in REGISTERED if model._meta.label not in CHANGEABLE]


def names(models):
    return [model._meta.label for model in models]


def address(model, what, *args):
    return reverse(f"admin:{model._meta.app_label}_{model._meta.model_name}_{what}", args=args)


@pytest.fixture
def boss(make):
    make.owner.is_superuser = make.owner.is_staff = True
    make.owner.save()
    return signed_in(make.owner)


@pytest.fixture
def stocked(make):
    part, place = make.part("Impeller"), make.place("S1")
    make.stock(part, place, 3)
    make.order(make.line(part))
    return make


def test_the_ledger_and_the_sums_are_all_there():
    wanted = {"stores.Entry", "stores.Movement", "stores.Holding", "stores.Count", "buying.Delivery"}
    assert wanted | {"buying.Order", "buying.Line", "buying.Share"} <= set(names(READ_ONLY))


@pytest.mark.parametrize("model", REGISTERED, ids=names(REGISTERED))
def test_every_list_opens_for_the_superuser(stocked, boss, model):
    assert boss.get(address(model, "changelist")).status_code == 200


@pytest.mark.parametrize("model", REGISTERED, ids=names(REGISTERED))
def test_nothing_is_added_or_deleted_here(stocked, boss, model):
    assert boss.post(address(model, "add"), {}).status_code == 403
    row = model.objects.first()
    if row is not None:
        assert boss.post(address(model, "delete", row.pk), {"post": "yes"}).status_code == 403
        assert model.objects.filter(pk=row.pk).exists()


@pytest.mark.parametrize("model", READ_ONLY, ids=names(READ_ONLY))
def test_what_is_read_only_refuses_a_change(stocked, boss, model):
    row = model.objects.first()
    if row is None:
        assert not admin.site._registry[model].has_change_permission(boss.get("/admin/").wsgi_request)
        return
    assert boss.get(address(model, "change", row.pk)).status_code == 200
    assert boss.post(address(model, "change", row.pk), {"quantity": "99"}).status_code == 403


def test_a_holding_stays_as_the_ledger_has_it(stocked, boss, clean_ledger):
    holding = Holding.objects.get(quantity__gt=0)
    boss.post(address(Holding, "change", holding.pk), {"quantity": "99", "_save": "Save"})
    boss.post(address(Holding, "changelist"), {"action": "delete_selected", "_selected_action": [holding.pk]})
    holding.refresh_from_db()
    assert holding.quantity == 3
    assert Movement.objects.count() == 1


def test_facts_of_a_boat_are_put_right_and_its_money_is_not(make, boss):
    form = {"builder": "Ellenquay", "currency": "EUR", "name": "Other", "slug": "other", "year_built": "1979"}
    assert boss.post(address(Boat, "change", make.boat.pk), form).status_code == 302
    boat = Boat.objects.get()
    assert (boat.builder, boat.year_built) == ("Ellenquay", 1979)
    assert (boat.currency, boat.name, boat.slug) == ("GBP", "Test Boat", make.boat.slug)


def test_a_specification_put_right_here_is_found(stocked, boss):
    part = Part.objects.get()
    form = {"specification": "six blades", "weight_kg": "", "hazard": ""}
    assert boss.post(address(Part, "change", part.pk), form).status_code == 302
    part.refresh_from_db()
    assert "sixblades" in part.search


@pytest.mark.parametrize("who", ["owner", "crew", "trade", "viewer", "outsider"])
def test_nobody_else_gets_in(make, who):
    client = signed_in(getattr(make, who))
    for where in ("/admin/", address(Movement, "changelist"), address(Order, "changelist")):
        assert client.get(where).status_code == 302


def test_staff_without_being_superuser_see_nothing_of_the_boat(make):
    make.crew.is_staff = True
    make.crew.save()
    assert signed_in(make.crew).get(address(Movement, "changelist")).status_code == 403


def test_a_list_takes_as_many_queries_with_twelve_rows_as_with_one(stocked, boss):
    counts = []
    for _ in range(2):
        with CaptureQueriesContext(connection) as queries:
            boss.get(address(Movement, "changelist"))
        counts.append(len(queries))
        for number in range(11):
            stocked.stock(stocked.part(), stocked.place(), number + 1)
    assert counts[0] == counts[1]
