"""What a milestone hangs on, and what would come of a part later, jobs dropped or moved: worked examples."""

from datetime import timedelta

import pytest

from refit.buying.actions.chasing import promise
from refit.buying.hanging import Deed, contradiction_of, hanging
from refit.buying.models import Order
from refit.buying.netted import netted
from refit.buying.trying import Suppose, Trial, saved, tried
from refit.work.actions.putting_off import put_off
from refit.work.models import After, Booking, Estimate, EstimateAmount, Job, Milestone, WorkTerms
from refit.work.planning import milestone_key
from tests.factory import D
from tests.planned import need, refit_with_a_late_part

pytestmark = pytest.mark.django_db


def net_of(make):
    return netted(make.boat, make.today)


def launch_of(net):
    return net.plan.placed[milestone_key(Milestone.objects.get(boat=net.boat, kind="launch"))].finish


def test_the_launch_hangs_on_the_late_part_and_the_jobs_after_it(make):
    yard = refit_with_a_late_part(make)
    promise(yard.order, yard.due, who="Desk", said_on=make.today, by=make.owner, today=make.today)
    (found,) = hanging(net_of(make))
    assert found.root.line.order == yard.order
    assert [step.name for step in found.steps] == ["Step the mast", "Tune the rig"]
    assert found.links[0] == (
        f"Mast step, {found.root.need.met.late_days} days late from Maker (order {yard.order.number}, promised by Desk)"
    )
    assert found.sentence.startswith(f"Launch {found.day:%-d %b %Y} hangs on: Mast step, ")
    assert (found.helps[0].deed, found.helps[0].order) == (Deed.CHASE, yard.order.number)


def test_the_day_is_told_against_its_target(make):
    refit_with_a_late_part(make)
    day = launch_of(net_of(make))
    for late, words in ((3, "3 days late for"), (-1, "1 day in hand before"), (0, "on the day that was set")):
        Milestone.objects.update(target=day - timedelta(days=late))
        (found,) = hanging(net_of(make))
        assert found.late == late
        assert words in found.lateness


def test_a_part_not_ordered_yet_is_the_root_and_the_help_is_to_order_it(make):
    part, job = make.part("Bobstay"), make.job("Rig the bowsprit")
    make.supplier("Chandler", lead_days=12)
    make.order(make.line(part), supplier=make.supplier("Smith", lead_days=9))
    Order.objects.update(state="cancelled")
    need(make, job, part)
    Milestone.objects.create(boat=make.boat, kind="launch", name="Launch")
    (found,) = hanging(net_of(make))
    assert found.root.to_order
    assert "not ordered yet" in found.links[0]
    assert (found.helps[0].deed, found.helps[0].part) == (Deed.ORDER, part.pk)


def test_a_booking_is_the_root_where_somebody_comes(make):
    job = make.job("Lift in")
    Booking.objects.create(boat=make.boat, job=job, day=make.today + timedelta(days=30), who="Crane")
    Milestone.objects.create(boat=make.boat, kind="launch", name="Launch", job=job)
    (found,) = hanging(net_of(make))
    assert found.links[0].startswith("Crane, booked for ")
    assert found.helps[0].deed == Deed.MOVE


def test_who_promised_is_read_in_one_query_more(make, django_assert_num_queries):
    refit_with_a_late_part(make)
    net = net_of(make)
    with django_assert_num_queries(1):
        hanging(net)


def test_a_contradiction_is_told_by_the_names_of_jobs_and_milestones(make):
    afloat, job = make.job("Swing the compass", before="afloat"), make.job("Fit the compass")
    After.objects.create(boat=make.boat, job=job, after=afloat)
    Milestone.objects.create(boat=make.boat, kind="launch", name="Launch")
    words, jobs = contradiction_of(net_of(make))
    assert set(jobs) == {afloat, job}
    for name in ("Launch", f"job {job.number}, Fit the compass"):
        assert name in words
    assert "“m" not in words


# Later and sooner


@pytest.mark.parametrize("days", [-21, -8, -1, 1, 2, 7, 30])
def test_the_delay_of_the_late_part_moves_the_launch_by_the_right_number_of_days(make, days):
    """Every day is worked, so the launch moves with the part, day by day, and sooner down to what else it hangs on."""
    yard = refit_with_a_late_part(make)
    before = net_of(make)
    for suppose in (Suppose(orders={yard.order.number: days}), Suppose(parts={yard.part.pk: days})):
        found = tried(make.boat, before, Trial(suppose))
        (launch,) = found.milestones
        floor = launch_of_others(make, yard)
        assert launch.now == max(launch.was + timedelta(days=days), floor)
        assert launch.was == launch_of(before)


def launch_of_others(make, yard):
    """Return the day of the launch with the part here: mast and rig from today, or the long job beside them."""
    chain, beside = yard.mast.days + yard.rig.days, yard.long.days
    return make.today + timedelta(days=int(max(chain, beside)))


def test_over_a_weekend_it_moves_to_the_next_working_day(make):
    yard = refit_with_a_late_part(make)
    WorkTerms.objects.filter(boat=make.boat).update(weekdays="1111100")
    for days in range(1, 9):
        before = net_of(make)
        found = tried(make.boat, before, Trial(Suppose(orders={yard.order.number: days})))
        Order.objects.filter(pk=yard.order.pk).update(expected_on=yard.due + timedelta(days=days))
        assert found.milestones[0].now == launch_of(net_of(make))
        Order.objects.filter(pk=yard.order.pk).update(expected_on=yard.due)


def test_a_trial_is_what_comes_of_it_when_it_comes_true(make):
    yard = refit_with_a_late_part(make)
    Booking.objects.create(
        boat=make.boat, job=yard.rig, day=launch_of(net_of(make)) - timedelta(days=1), who="Rigger"
    )
    found = tried(make.boat, net_of(make), Trial(Suppose(orders={yard.order.number: 9})))
    Order.objects.filter(pk=yard.order.pk).update(expected_on=yard.due + timedelta(days=9))
    after = net_of(make)
    assert found.after.plan == after.plan
    assert [clash.booked.who for clash in found.missed] == ["Rigger"]
    assert {job for job, _ in found.moved} == {yard.mast, yard.rig}


# Jobs dropped and moved


def test_a_dropped_job_sets_its_parts_free_for_another(make):
    part = make.part("Toggle")
    make.stock(part, make.place("S1"), 1)
    first, second = make.job("Forestay"), make.job("Backstay")
    need(make, first, part)
    need(make, second, part)
    make.order(make.line(part), expected_on=make.today + timedelta(days=20))
    Milestone.objects.create(boat=make.boat, kind="launch", name="Launch")
    found = tried(make.boat, net_of(make), Trial(dropped=frozenset({first.number})))
    assert found.milestones[0].days < 0
    assert found.after.by_job[second.pk][0].met.verdict == "here"


def test_what_came_before_a_dropped_job_still_comes_before_what_came_after(make):
    first, gone, last = make.job("Sand"), make.job("Prime"), make.job("Paint")
    After.objects.create(boat=make.boat, job=gone, after=first)
    After.objects.create(boat=make.boat, job=last, after=gone)
    found = tried(make.boat, net_of(make), Trial(dropped=frozenset({gone.number})))
    assert found.after.plan.placed[str(last.number)].start > found.after.plan.placed[str(first.number)].finish


def test_a_job_moved_past_the_launch_takes_along_what_comes_after_it(make):
    yard = refit_with_a_late_part(make)
    found = tried(make.boat, net_of(make), Trial(moved=frozenset({yard.mast.number})))
    assert (found.past, found.along) == ((yard.mast,), (yard.rig,))
    launch = found.milestones[0]
    assert launch.now == make.today + timedelta(days=int(yard.long.days))
    assert found.after.plan.placed[str(yard.mast.number)].start >= launch.now


@pytest.mark.parametrize("kind", ["dropped", "another", "afloat", "departure"])
def test_what_is_kept_is_what_was_tried(make, kind):
    yard = refit_with_a_late_part(make)
    extra = make.job("Bend on sails")
    After.objects.create(boat=make.boat, job=extra, after=yard.rig)
    numbers = frozenset({yard.mast.number})
    trial = Trial(dropped=numbers) if kind in ("dropped", "another") else Trial(moved=numbers, put=kind)
    found = tried(make.boat, net_of(make), trial)
    jobs = [*found.past, *found.along]
    put = {job.pk: kind for job in jobs} | {
        job.pk: "later" if kind == "dropped" else "another" for job in found.dropped
    }
    put_off(make.boat, put, today=make.today)
    assert net_of(make).plan == found.after.plan


def test_a_trial_keeps_nothing(make):
    yard = refit_with_a_late_part(make)
    before = list(Job.objects.order_by("pk").values()), list(Order.objects.order_by("pk").values())
    trial = Trial(
        Suppose(orders={yard.order.number: 9}), frozenset({yard.long.number}), frozenset({yard.mast.number})
    )
    net = net_of(make)
    tried(make.boat, net, trial)
    assert (list(Job.objects.order_by("pk").values()), list(Order.objects.order_by("pk").values())) == before
    assert {job.before for job in net.work.jobs} == {"launch"}


# Money


def saved_by_dropping(make, *jobs):
    return saved(tried(make.boat, net_of(make), Trial(dropped=frozenset(job.number for job in jobs))))


def test_dropping_saves_what_is_not_bought_yet_and_says_what_is_spent(make):
    job, other, part = make.job("Autopilot"), make.job("Radar"), make.part("Ram")
    need(make, job, part, 2, guess=300_00)
    need(make, other, part, 1, guess=77_00)
    need(make, job, None, 1, words="Nobody knows")
    estimate = Estimate.objects.create(boat=make.boat, job=job, words="Fitting")
    EstimateAmount.objects.create(
        boat=make.boat, estimate=estimate, amount=120_00, set_on=make.today, by=make.owner
    )
    make.order(make.line(make.part(), job=job, price=D("45.00")))
    found = saved_by_dropping(make, job)
    assert (found.wanted, found.estimates, found.total) == (300_00, 120_00, 420_00)
    assert (found.unknown, found.spent) == (1, 45_00)
    assert saved_by_dropping(make).total == 0


def test_what_was_bought_for_a_dropped_job_would_be_left_over(make):
    job, part = make.job("Autopilot"), make.part("Ram")
    need(make, job, part, 1)
    make.order(make.line(part, job=job))
    (row,) = saved_by_dropping(make, job).left
    assert (row.need.part, row.wanted.on_order) == (part, 1)
    need(make, make.job("Radar"), part, 1)
    assert saved_by_dropping(make, job).left == ()  # another would use it
