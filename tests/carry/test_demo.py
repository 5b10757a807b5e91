"""The demo boat: whole, clean, the same on every day; and never made where something else lies."""

import os
import subprocess
import sys
import tempfile
from datetime import date, timedelta
from pathlib import Path

import pytest
from django.conf import settings
from django.contrib.auth import authenticate
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import connection
from django.db.models import F, Sum
from django.test import RequestFactory, TestCase, override_settings

from refit.boat import guards
from refit.boat.models import Boat, Budget, Kind, Label, Location, Member, Paper, System
from refit.boat.rights import Role
from refit.buying.models import Charge, Line, Order, OrderState
from refit.calc.codes import canonical
from refit.carry import demo
from refit.carry.demo_files import BadFile, Files
from refit.carry.ledger import differences
from refit.stores.models import Entry, Holding, Lot, Missing, Movement, Need, Part, PartNumber
from refit.work.models import Job, State

# Minor units of a pound, for whatever day the demo is made; changed only with the data.
TOTAL_LANDED = 71_743_25
TOTAL_DELIVERED = 63_405_12
LANDED_BY_CURRENCY = {"EUR": 13_139_12, "GBP": 41_924_94, "SEK": 9_148_52, "USD": 7_530_67}
A_DAY = date(2026, 3, 9)
ANOTHER_DAY = date(2024, 2, 29)


def totals() -> dict[str, object]:
    """Return the sums of what is bought, as far as it counts."""
    counted = Line.objects.filter(counted=True)
    sums = counted.aggregate(landed=Sum("landed"), delivered=Sum("delivered"))
    by_currency = counted.values_list("order__currency").annotate(Sum("landed")).order_by("order__currency")
    return {**sums, "by_currency": dict(by_currency)}


PINNED = {"landed": TOTAL_LANDED, "delivered": TOTAL_DELIVERED, "by_currency": LANDED_BY_CURRENCY}


class TheDemo(TestCase):
    """Built once, looked at from many sides."""

    @classmethod
    def setUpClass(cls):
        folder = cls.enterClassContext(tempfile.TemporaryDirectory())
        cls.enterClassContext(override_settings(PAPERS_DIR=Path(folder)))
        super().setUpClass()

    @classmethod
    def setUpTestData(cls):
        cls.said = []
        cls.boat = demo.build(Files(A_DAY), cls.said.append)

    def test_the_ledger_is_clean(self):
        assert list(differences()) == []

    def test_the_totals_are_those_of_the_data(self):
        assert totals() == PINNED

    def test_it_is_the_boat_of_the_contract_and_marked_as_the_demo(self):
        assert (self.boat.slug, self.boat.is_demo, self.boat.currency) == ("kittiwake", True, "GBP")
        assert demo.existing() == self.boat

    def test_it_says_what_it_does(self):
        assert len(self.said) >= 8

    def test_it_is_as_large_as_a_real_refit(self):
        lockers = Location.objects.filter(kind__in=[Kind.LOCKER, Kind.BOX, Kind.BAG])
        assert System.objects.count() == 24
        assert Budget.objects.count() == 24
        assert 55 <= lockers.count() <= 70
        assert lockers.filter(kind__in=[Kind.BOX, Kind.BAG]).count() >= 12
        assert 295 <= Part.objects.count() <= 310
        assert PartNumber.objects.count() >= 580
        assert 88 <= Job.objects.count() <= 95
        assert Order.objects.count() == 140

    def test_every_state_of_a_job_and_of_an_order_occurs(self):
        assert set(Job.objects.values_list("state", flat=True)) == set(State.values)
        assert set(Order.objects.values_list("state", flat=True)) == set(OrderState.values)

    def test_orders_are_in_four_currencies_over_nine_months(self):
        assert set(Order.objects.values_list("currency", flat=True)) == {"GBP", "EUR", "USD", "SEK"}
        first = Order.objects.exclude(ordered_on=None).order_by("ordered_on").first()
        assert 255 <= (A_DAY - first.ordered_on).days <= 280

    def test_every_kind_of_charge_and_way_of_sharing_occurs(self):
        assert set(Charge.objects.values_list("kind", flat=True)) >= {"freight", "duty", "tax", "handling"}
        assert Charge.objects.filter(kind="discount").exists()
        assert set(Charge.objects.values_list("basis", flat=True)) == {"value", "weight", "count"}
        assert Charge.objects.filter(kind="tax", reclaimable=True).exists()
        assert Charge.objects.filter(kind="duty", expected=True).exists()

    def test_one_system_is_over_its_budget(self):
        over = [
            budget.system.name
            for budget in Budget.objects.select_related("system")
            if (Line.objects.filter(system=budget.system, counted=True).aggregate(s=Sum("landed"))["s"] or 0)
            > budget.amount
        ]
        assert over == ["Engine and shaft"]

    def test_the_mast_step_is_late_and_jobs_wait(self):
        line = Line.objects.get(part__name="Mast step, cast")
        assert line.arrived == 0
        assert line.order.expected_on < A_DAY
        assert line.job.state == State.WAITING

    def test_flares_are_out_of_date(self):
        old = Holding.objects.there().filter(part__name="Hand flare, red", lot__expires_on__lt=A_DAY)
        assert [holding.quantity for holding in old] == [4]

    def test_a_parcel_of_three_orders_came_together(self):
        parcels = {}
        for line in Line.objects.filter(deliveries__isnull=False).values("order", "deliveries__delivery"):
            parcels.setdefault(line["deliveries__delivery"], set()).add(line["order"])
        assert [len(orders) for orders in parcels.values() if len(orders) > 1] == [3]

    def test_a_wrong_part_came_and_went_back(self):
        part = Part.objects.get(name="Alternator belt, narrow")
        assert Entry.objects.filter(movements__part=part, said__contains="the wrong belt came").count() == 1
        assert not Holding.objects.there().filter(part=part).exists()

    def test_some_lines_came_in_part_and_some_never_will(self):
        assert Order.objects.filter(state=OrderState.PART_ARRIVED).count() >= 4
        assert Line.objects.filter(wont_come__gt=0).exists()
        assert Line.objects.filter(arrived__gt=0, arrived__lt=F("quantity")).exists()

    def test_rope_came_by_the_drum_and_a_tin_is_half_used(self):
        drum = Line.objects.get(part__name="Braid on braid 12 mm")
        assert (drum.packs, drum.pack_size, drum.quantity) == (1, 200, 200)
        left = sum(h.quantity for h in Holding.objects.filter(part=drum.part))
        assert 0 < left < 200
        tin = Holding.objects.get(part__name="Epoxy primer")
        assert tin.quantity % 1 != 0

    def test_lockers_were_counted_wrong_things_are_missing_and_others_not_stowed_yet(self):
        assert Movement.objects.filter(reason="lost", entry__kind="count").count() == 2
        assert [missing.part.name for missing in Missing.objects.all()] == ["Hand-bearing compass"]
        assert 5 <= Holding.objects.there().filter(place__kind=Kind.UNSTOWED).count() <= 40

    def test_things_are_kept_in_all_three_ways_and_some_run_low(self):
        assert set(Part.objects.values_list("kept", flat=True)) == {"counted", "level", "here"}
        assert set(Holding.objects.values_list("level", flat=True)) == {"", "fine", "low", "gone", "here"}

    def test_needs_are_met_and_unmet(self):
        assert Need.objects.open().exists()
        assert Need.objects.exclude(met_at=None).exists()
        assert Need.objects.filter(part=None).exists()

    def test_the_tray_holds_receipts_and_some_are_with_their_orders(self):
        assert Paper.objects.filter(in_tray=True).count() == 3
        assert Paper.objects.filter(order_papers__isnull=False, in_tray=False).count() == 4

    def test_there_are_blank_labels_and_every_code_is_a_code(self):
        assert Label.objects.filter(location=None).count() == 21
        assert all(canonical(code) == code for code in Label.objects.values_list("code", flat=True))

    def test_everybody_signs_in_with_the_password_that_is_shown(self):
        request = RequestFactory().post("/")
        for person in demo.people(Files(A_DAY)):
            user = authenticate(request, username=person["name"], password=person["password"])
            assert user is not None, person["name"]
            assert Member.objects.get(user=user).role == person["role"]
            assert user.is_superuser == (person["role"] == Role.OWNER)
            assert len(person["password"]) >= 12

    def test_a_contractor_has_jobs(self):
        assert Job.objects.open().filter(given_to__role=Role.TRADE).count() >= 4

    def test_dates_run_from_the_day_it_is_made(self):
        assert Lot.objects.filter(expires_on=A_DAY - timedelta(days=46)).exists()
        assert not Entry.objects.filter(happened_on__gt=A_DAY).exists()


def test_made_on_another_day_it_comes_to_the_same(db):
    demo.build(Files(ANOTHER_DAY), lambda what: None)
    assert totals() == PINNED
    assert list(differences()) == []


def test_it_refuses_a_database_that_holds_another_boat(make):
    for arguments in (["--no-serve"], ["--no-serve", "--fresh"]):
        with pytest.raises(CommandError, match="holds a boat of its own, Test Boat"):
            call_command("demo", *arguments)
    assert list(Boat.objects.values_list("name", flat=True)) == ["Test Boat"]


def test_it_refuses_a_database_with_people_and_no_demo(db, django_user_model):
    django_user_model.objects.create_user("somebody")
    with pytest.raises(demo.NotForDemo, match="people in it"):
        demo.check_database()


@pytest.mark.django_db(transaction=True)
def test_emptying_takes_the_demo_only_and_puts_the_guards_back(make):
    make.stock(make.part(), make.place(), 3)
    with pytest.raises(demo.NotForDemo):
        demo.empty()
    assert Movement.objects.count() == 1
    Boat.objects.update(is_demo=True)
    demo.empty()
    assert not Boat.objects.exists()
    assert not Movement.objects.exists()
    assert guards.missing(connection) == []


def test_the_command_makes_it_once_and_uses_it_again(tmp_path):
    environment = {**os.environ, "REFIT_DATA": str(tmp_path)}
    environment.pop("DATABASE_URL", None)

    def run(*arguments: str) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "manage.py", *arguments]
        return subprocess.run(
            command, cwd=settings.BASE_DIR, env=environment, capture_output=True, text=True, timeout=400
        )

    first = run("demo", "--no-serve")
    assert (first.returncode, first.stderr) == (0, "")
    for person in demo.people(Files(A_DAY)):
        assert person["password"] in first.stdout
    again = run("demo", "--no-serve")
    assert (again.returncode, again.stderr) == (0, "")
    assert "is here already" in again.stdout
    proof = run("check_ledger")
    assert (proof.returncode, proof.stderr) == (0, "")


def test_a_wrong_cell_is_named_by_file_and_row(tmp_path):
    (tmp_path / "places.csv").write_text("code,days_away\nA1B2,three\n")
    (row,) = Files(A_DAY, tmp_path).rows("places.csv")
    with pytest.raises(
        BadFile, match=r"places\.csv, row 2, says 'three' under days_away, which is no number"
    ):
        row.whole("days_away")
    with pytest.raises(BadFile, match="has no column mark"):
        row.text("mark")


def test_a_row_with_too_few_cells_is_named(tmp_path):
    (tmp_path / "jobs.csv").write_text("job,title,system\n1,Paint\n")
    with pytest.raises(BadFile, match=r"jobs\.csv, row 2, has not as many cells"):
        list(Files(A_DAY, tmp_path).rows("jobs.csv"))
