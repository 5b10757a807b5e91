"""Estimates: dated and kept, closed when ordered, opened again; a refusal changes nothing."""

from datetime import timedelta

import pytest

from refit.boat.refusals import Refused
from refit.stores.actions import parts
from refit.work import estimates
from refit.work.actions import add_job, change_job
from refit.work.models import Estimate, EstimateAmount
from tests.factory import D, Factory

pytestmark = pytest.mark.django_db


def add(make: Factory, amount: int = 100_00, **facts) -> Estimate:
    facts = {"words": "Crane", "on": make.today, **facts}
    return estimates.add_estimate(make.job(), amount=amount, today=make.today, by=make.owner, **facts)


def kept(estimate: Estimate) -> list[int]:
    return [row.amount for row in estimate.amounts.all()]


def test_amounts_are_dated_and_kept(make: Factory):
    plan = add(make, on=make.today - timedelta(days=3))
    estimates.change_amount(plan, 120_00, on=make.today, today=make.today, by=make.crew)
    assert kept(plan) == [100_00, 120_00]
    assert [row.by for row in plan.amounts.all()] == [make.owner, make.crew]


def test_it_is_closed_and_opened_again(make: Factory):
    plan = add(make)
    assert estimates.close_estimate(plan, on=make.today, today=make.today).closed_on == make.today
    assert estimates.reopen_estimate(plan).closed_on is None


def test_one_that_was_added_by_mistake_is_taken_off(make: Factory):
    plan = add(make)
    estimates.remove_estimate(plan)
    assert not Estimate.objects.exists()
    assert not EstimateAmount.objects.exists()


@pytest.mark.parametrize(
    ("code", "facts"),
    [
        ("empty", {"words": ""}),
        ("amount", {"amount": -1}),
        ("amount", {"amount": 10**12}),
        ("future", {"on": 1}),
    ],
)
def test_a_refused_estimate_leaves_nothing(make: Factory, code, facts):
    if "on" in facts:
        facts = {"on": make.today + timedelta(days=1)}
    with pytest.raises(Refused) as refused:
        add(make, **facts)
    assert refused.value.code == code
    assert not Estimate.objects.exists()


def test_refusals_of_change_close_open_and_remove(make: Factory):
    plan, who = add(make), {"today": make.today, "by": make.owner}

    def refuse(code, deed):
        before = kept(plan), Estimate.objects.get().closed_on
        with pytest.raises(Refused) as refused:
            deed()
        assert refused.value.code == code
        assert (kept(plan), Estimate.objects.get().closed_on) == before

    tomorrow, yesterday = make.today + timedelta(days=1), make.today - timedelta(days=1)
    refuse("future", lambda: estimates.change_amount(plan, 1, on=tomorrow, **who))
    refuse("earlier", lambda: estimates.change_amount(plan, 1, on=yesterday, **who))
    refuse("amount", lambda: estimates.change_amount(plan, -1, on=make.today, **who))
    refuse("open", lambda: estimates.reopen_estimate(plan))
    refuse("future", lambda: estimates.close_estimate(plan, on=tomorrow, today=make.today))
    estimates.change_amount(plan, 5, on=make.today, **who)
    refuse("has_past", lambda: estimates.remove_estimate(plan))
    estimates.close_estimate(plan, on=make.today, today=make.today)
    refuse("closed", lambda: estimates.close_estimate(plan, on=make.today, today=make.today))
    refuse("closed", lambda: estimates.change_amount(plan, 6, on=make.today, **who))


def test_a_job_says_whether_it_was_found_on_the_way(make: Factory):
    job = add_job(make.boat, title="Rot", system=make.system, by=make.owner, found_on_the_way=True)
    facts = {"title": "Rot", "system": make.system, "before": job.before, "note": "", "given_to": None}
    assert change_job(job, **facts).found_on_the_way is True  # nothing was said of it
    assert change_job(job, **facts, found_on_the_way=False).found_on_the_way is False


def test_a_guess_is_set_and_taken_off(make: Factory):
    need = parts.add_need(make.job(), part=None, words="Odds", quantity=D(2))
    assert need.made_on == make.today
    assert parts.guess_need(need, 5_00).guess == 5_00
    assert parts.guess_need(need, None).guess is None
    with pytest.raises(Refused) as refused:
        parts.guess_need(need, -1)
    assert refused.value.code == "amount"
