"""Fitted gear: listed by system, found by serial, changed, removed, undone; who may; the same queries for many."""

from datetime import timedelta
from io import BytesIO

import openpyxl
import pytest

from refit.boat.formkeys import new_key
from refit.voyage import actions
from refit.voyage.actions import Fitted
from refit.voyage.models import Gear
from tests.factory import Factory
from tests.pages.undoing import text_of, undo
from tests.refusing import rows

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]
PAGE = "/test-boat/gear/"


def fit(make: Factory, name: str = "Bilge pump", **facts) -> Gear:
    job = facts.pop("job", None)
    system = facts.pop("system", make.system)
    return actions.fit(
        make.boat, Fitted(name=name, system=system, **facts), by=make.owner, today=make.today, job=job
    )


def typed(make: Factory, **facts) -> dict:
    return {"name": "Windlass", "system": make.system.pk, "pieces": "", "serial": "W9", "place": "", **facts}


def test_gear_is_listed_with_what_one_looks_for(make, as_viewer):
    job = make.job("Fit the pump")
    over = make.today - timedelta(days=1)
    fit(make, maker="Maker", model="P-1", serial="A1", where="under the sink", job=job, warranty_until=over)
    said = text_of(as_viewer.get(PAGE))
    assert f"Engine Bilge pump Maker P-1 A1 under the sink {over:%-d %b %Y} over 1 Fit the pump" in said
    assert "Removed" not in text_of(as_viewer.get(PAGE)).partition("Bilge pump")[2]


@pytest.mark.parametrize(
    ("asked", "names"),
    [
        ({}, {"Pump", "Mast"}),
        ({"q": "a1"}, {"Pump"}),
        ({"q": "pump 12"}, {"Pump"}),
        ({"q": "x-100"}, {"Mast"}),  # a number of its part
        ({"state": "removed"}, {"Stove"}),
        ({"state": "all"}, {"Pump", "Mast", "Stove"}),
        ({"system": "yard"}, {"Mast"}),
        ({"q": "nothing like it"}, set()),
    ],
)
def test_the_list_is_narrowed(make, as_owner, asked, names):
    fit(make, "Pump", serial="A1", model="12 V")
    part = make.part("Spar", numbers=[("maker", "X-100", "")])
    fit(make, "Mast", part=part, system=make.other_system)
    actions.take_out(fit(make, "Stove"), on=make.today, today=make.today)
    if asked.get("system"):
        asked = {"system": make.other_system.pk}
    assert {row.name for row in as_owner.get(PAGE, asked).context["rows"]} == names


def test_gear_is_added_changed_removed_and_each_is_undone(make, as_crew):
    page = as_crew.post(f"{PAGE}new/", typed(make), follow=True)
    gear = Gear.objects.get()
    assert (gear.name, gear.serial, gear.quantity) == ("Windlass", "W9", 1)
    undo(as_crew, page)
    assert not Gear.objects.exists()
    gear = fit(make, serial="A1", part=make.part(), place=make.place("S3"), fitted_on=make.today)
    before = rows()["voyage.Gear"]
    page = as_crew.post(f"{PAGE}{gear.pk}/change/", typed(make, pieces="2"), follow=True)
    gear.refresh_from_db()
    assert (gear.name, gear.serial, gear.quantity, gear.place) == ("Windlass", "W9", 2, None)
    undo(as_crew, page)
    assert rows()["voyage.Gear"] == before
    page = as_crew.post(f"{PAGE}{gear.pk}/removed/", follow=True)
    assert Gear.objects.get().removed_on == make.today
    page = undo(as_crew, page)
    assert Gear.objects.get().removed_on is None
    undo(as_crew, page)
    assert Gear.objects.get().removed_on == make.today


@pytest.mark.parametrize(
    "wrong",
    [
        {"name": ""},
        {"name": "x" * 121},
        {"system": ""},
        {"system": "999999"},
        {"pieces": "0"},
        {"place": "Nowhere"},
        {"fitted_on": "2999-01-01"},
        {"warranty_until": "2999-01-01"},
    ],
)
def test_bad_gear_changes_nothing(make, as_crew, wrong):
    gear = fit(make)
    before = rows()
    for address in (f"{PAGE}new/", f"{PAGE}{gear.pk}/change/"):
        assert as_crew.post(address, typed(make, **wrong)).status_code == 422
    assert rows() == before


def test_the_same_form_twice_acts_once(make, as_crew):
    sent = typed(make, form_key=new_key())
    for _ in range(2):
        as_crew.post(f"{PAGE}new/", sent)
    assert Gear.objects.count() == 1


def test_the_list_leaves_as_a_file(make, as_viewer):
    fit(make, "=1+1", serial="A1", job=make.job())
    book = openpyxl.load_workbook(BytesIO(as_viewer.get(PAGE, {"export": "xlsx"}).content))
    heading, line = list(book.active.iter_rows(values_only=True))[:2]
    assert dict(zip(heading, line, strict=True)) | {"What": "=1+1", "Serial number": "A1", "Job": 1} == dict(
        zip(heading, line, strict=True)
    )


@pytest.mark.parametrize("rest", ["new/", "1/change/", "1/removed/", "1/fitted/", "1/remove/"])
def test_who_may_and_how(make, as_viewer, as_outsider, as_trade, as_owner, rest):
    fit(make)
    before = rows()
    for client, sees, changes in ((as_viewer, 200, 403), (as_trade, 403, 403), (as_outsider, 404, 404)):
        assert client.get(PAGE).status_code == sees
        assert client.post(f"{PAGE}{rest}").status_code == changes
    assert as_owner.post(PAGE).status_code == 405
    if rest not in ("new/", "1/change/"):
        assert as_owner.get(f"{PAGE}{rest}").status_code == 405
    if rest != "new/":
        for pk in ("0", "987654", "9" * 30):
            assert as_owner.post(f"{PAGE}{rest.replace('1/', pk + '/')}").status_code == 404
    assert rows() == before


def test_another_boats_gear_is_not_found(make, as_owner):
    other = Factory.start(name="Other", prefix="other-")
    theirs = fit(other, "Their pump")
    assert as_owner.get(f"{PAGE}{theirs.pk}/change/").status_code == 404
    assert as_owner.post(f"{PAGE}{theirs.pk}/remove/").status_code == 404
    assert "Their" not in text_of(as_owner.get(PAGE, {"state": "all"}))


def test_the_list_takes_the_same_queries_with_few_and_many(make, as_owner, django_assert_num_queries):
    def more(count: int) -> None:
        for _ in range(count):
            fit(make, part=make.part(), place=make.place(), job=make.job())

    more(2)
    with django_assert_num_queries(6):
        as_owner.get(PAGE)
    more(45)
    with django_assert_num_queries(6):
        assert as_owner.get(PAGE).status_code == 200


def test_names_that_would_run_stay_words(make, as_owner):
    evil = "<script>alert(1)</script>"
    fit(make, evil, maker=evil, note=evil, where=evil)
    assert "<script>alert" not in as_owner.get(PAGE).content.decode()
