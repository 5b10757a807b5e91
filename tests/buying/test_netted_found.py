"""What a reader found that the netting said of real refits and that was not so: one example each."""

import pytest

from refit.boat.actions import places
from refit.boat.models import Where
from refit.boat.refusals import Refused
from refit.buying.actions import deliveries
from refit.buying.actions.deliveries import Arrival
from refit.buying.fetching import fetch_list
from refit.buying.hanging import hanging
from refit.buying.models import Order
from refit.buying.netted import netted
from refit.buying.to_buy import to_buy
from refit.buying.trying import Suppose, Trial, tried
from refit.calc.netting import Verdict
from refit.stores.actions import keeping, stow
from refit.stores.actions.parts import close_need
from refit.stores.kept import kept_for
from refit.work.actions import set_state
from refit.work.models import After, Job, Milestone, WorkTerms
from tests.buying.test_netted import in_days, need, row_of
from tests.factory import D

pytestmark = pytest.mark.django_db


def starts(make, job):
    return netted(make.boat, make.today).plan.placed[str(job.number)].works_from


@pytest.fixture
def replaced(make):
    """An old part, the new one that took its place, and a job that wants two of the old."""
    new = make.part("Impeller, new shape")
    job = make.job()
    return new, job, need(make, job, make.part("Impeller", superseded_by=new), 2)


# A part replaced half way


def test_what_took_its_place_is_fetched_and_taken_for_the_job_and_wanted_no_more(make, replaced):
    new, job, _ = replaced
    line = make.order(make.line(new, packs=D(2), job=job)).lines.get()
    arrival = Arrival(line, D(2), place=make.place("S1"))
    deliveries.book_in(make.boat, [arrival], by=make.owner, on=make.today, today=make.today)
    (stop,) = fetch_list(make.boat, [job], make.today).stops
    assert [(row.part, row.quantity) for row in stop.lines] == [(new, 2)]
    stow.take(new.holdings.get(), D(2), by=make.owner, on=make.today, today=make.today, job=job)
    assert netted(make.boat, make.today).rows == ()
    assert to_buy(make.boat, make.today).rows == []


def test_a_draft_of_the_old_or_of_the_new_part_is_not_bought_again(make, replaced):
    new, job, want = replaced
    make.draft(make.line(new, job=job))
    make.draft(make.line(want.part, job=job))
    assert row_of(make, want).to_buy == 0
    assert to_buy(make.boat, make.today).rows == []


def test_what_was_taken_of_the_new_part_uses_up_what_was_kept_of_the_old(make, replaced):
    new, job, want = replaced
    make.stock(want.part, make.place("S1"), 2)
    held = make.stock(new, make.place("S2"), 2)
    keeping.keep(want, D(2), today=make.today)
    stow.take(held, D(2), by=make.owner, on=make.today, today=make.today, job=job)
    assert kept_for(make.boat, [want.part_id]) == {}


def test_what_took_the_place_of_a_spare_counts_for_it(make):
    new = make.part("Belt, new number")
    make.stock(make.part("Belt", superseded_by=new, is_spare=True, minimum=D(2)), make.place("S1"), 1)
    assert [row.to_buy for row in to_buy(make.boat, make.today).rows] == [1]
    make.stock(new, make.place("S2"), 1)
    assert to_buy(make.boat, make.today).rows == []


# Reserved and kept


def test_a_need_that_is_ticked_off_has_what_was_taken_and_the_next_has_not(make):
    part, job = make.part(), make.job()
    one, two = need(make, job, part, 2), need(make, job, part, 2)
    held = make.stock(part, make.place("S1"), 2)
    stow.take(held, D(2), by=make.owner, on=make.today, today=make.today, job=job)
    close_need(one)
    assert row_of(make, two).met.short == 2


@pytest.mark.parametrize("lasts", [-3, 3], ids=["out of date", "soon out of date"])
def test_what_is_reserved_is_good_when_it_is_wanted(make, lasts):
    part, urgent = make.part(has_expiry=True), make.job()
    make.stock(part, make.place("S1"), 1, expires_on=in_days(make, lasts))
    make.stock(part, make.place("S2"), 1, expires_on=in_days(make, 300))
    mine = need(make, make.job(), part, wanted_by=in_days(make, 30))
    keeping.keep(mine, D(1), today=make.today)
    Job.objects.filter(pk=urgent.pk).update(priority=1)
    need(make, urgent, part)
    assert row_of(make, mine).met.verdict == Verdict.HERE


def test_of_a_piece_only_what_is_kept_is_kept(make):
    rope = make.part(unit="m", in_pieces=True)
    make.stock(rope, make.place("S1"), 30)
    first, second, third = (need(make, make.job(), rope, each, one_piece=True) for each in (8, 10, 12))
    keeping.keep(second, D(10), today=make.today)
    keeping.keep(third, D(12), today=make.today)
    assert [row_of(make, each).met.verdict for each in (first, second, third)] == [Verdict.HERE] * 3


def test_what_is_kept_of_pieces_that_may_be_joined_is_not_offered_to_others(make):
    rope, urgent = make.part(unit="m", in_pieces=True), make.job()
    make.stock(rope, make.place("S1"), 30)
    mine = need(make, make.job(), rope, 10)
    keeping.keep(mine, D(10), today=make.today)
    Job.objects.filter(pk=urgent.pk).update(priority=1)
    other = need(make, urgent, rope, 25)
    assert row_of(make, mine).met.verdict == Verdict.HERE
    assert row_of(make, other).met.short == 5


def test_a_job_left_for_another_year_keeps_nothing(make):
    part, gone = make.part(), make.job()
    make.stock(part, make.place("S1"), 1)
    want = need(make, gone, part)
    keeping.keep(want, D(1), today=make.today)
    Job.objects.filter(pk=gone.pk).update(before="another")
    job = make.job()
    need(make, job, part)
    assert fetch_list(make.boat, [job], make.today).things == 1
    with pytest.raises(Refused, match="no longer wants"):
        keeping.keep(want, D(1), today=make.today)


def test_one_tin_on_a_draft_is_enough_of_what_is_not_counted(make):
    part, job = make.part(kept="level"), make.job()
    want = need(make, job, part, 40)
    make.draft(make.line(part, job=job))
    assert row_of(make, want).to_buy == 0
    assert to_buy(make.boat, make.today).rows == []


# Dates


def test_of_two_orders_the_one_with_a_day_holds_the_job_and_the_other_is_told(make):
    part, job = make.part(), make.job()
    want = need(make, job, part, 2)
    make.order(make.line(part, job=job), expected_on=in_days(make, 40))
    make.order(make.line(part, job=job))
    assert starts(make, job) >= in_days(make, 40)
    assert [row.need for row in netted(make.boat, make.today).unsure] == [want]


def test_a_job_waits_for_what_it_wants_in_words_and_the_launch_hangs_on_it(make):
    job = make.job()
    order = make.order(make.line(words="A sheet of plywood", job=job), expected_on=in_days(make, 30))
    order.lines.update(need=need(make, job))
    Milestone.objects.create(boat=make.boat, kind="launch", name="Launch")
    before = netted(make.boat, make.today)
    (found,) = hanging(before)
    assert found.root.line.order == order
    assert f"from {order.supplier} (order {order.number})" in found.sentence
    after = tried(make.boat, before, Trial(Suppose(orders={order.number: 9}))).after
    assert after.by_job[job.pk][0].here_on == in_days(make, 39)


def test_an_order_whose_day_has_passed_is_said_to_have_not_come(make):
    part, job, maker = make.part("Mast step"), make.job(), make.supplier("Maker", lead_days=9)
    need(make, job, part)
    order = make.order(make.line(part, job=job), supplier=maker)
    Order.objects.filter(pk=order.pk).update(ordered_on=in_days(make, -9), expected_on=in_days(make, -2))
    Milestone.objects.create(boat=make.boat, kind="launch", name="Launch")
    assert (
        f"from Maker and not come (order {order.number})"
        in hanging(netted(make.boat, make.today))[0].sentence
    )


def test_what_lies_away_is_named_with_its_own_place(make):
    area = places.add_place(
        make.boat, kind="area", parent=None, name="Forwarder", where=Where.AWAY, days_away=6
    )
    part = make.part("Bolt")
    make.stock(part, make.place("S1"), 1)
    make.stock(part, make.place("F1", parent=area), 1)
    need(make, make.job(), part, 2)
    Milestone.objects.create(boat=make.boat, kind="launch", name="Launch")
    assert "Bolt, away at F1" in hanging(netted(make.boat, make.today))[0].sentence


def test_what_is_done_today_and_need_not_cure_lets_others_begin_today(make):
    first, then = make.job(), make.job()
    After.objects.create(boat=make.boat, job=then, after=first)
    WorkTerms.objects.create(boat=make.boat, weekdays="1111111")
    set_state(first, "done", today=make.today)
    assert starts(make, then) == make.today
