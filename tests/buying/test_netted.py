"""What each need of a boat can count on: from the tables to the calculation, and back."""

import random
from datetime import timedelta
from itertools import pairwise

import pytest

from refit.boat.actions import places
from refit.boat.models import Where
from refit.buying.actions import deliveries
from refit.buying.actions.deliveries import Arrival
from refit.buying.models import Order
from refit.buying.netted import netted
from refit.calc.netting import Verdict
from refit.stores.actions import stow
from refit.stores.models import Lot, Need, Part
from refit.work.models import After, Job, Milestone
from tests.factory import D

pytestmark = pytest.mark.django_db


def need(make, job, part=None, quantity=1, **facts):
    facts.setdefault("words", "" if part else "A sheet of plywood")
    return Need.objects.create(boat=make.boat, job=job, part=part, quantity=D(quantity), **facts)


def row_of(make, need):
    return next(row for row in netted(make.boat, make.today).rows if row.need.pk == need.pk)


def in_days(make, days):
    return make.today + timedelta(days=days)


def expected(order, day):
    Order.objects.filter(pk=order.pk).update(expected_on=day)


def test_what_lies_aboard_is_here(make):
    part, place = make.part(), make.place("S1")
    make.stock(part, place, 3)
    row = row_of(make, need(make, make.job(), part, 2))
    assert (row.met.verdict, row.to_buy) == (Verdict.HERE, 0)
    assert [holding.place for holding in row.holdings] == [place]


def test_what_was_taken_for_the_job_is_wanted_no_more(make):
    part, place, job = make.part(), make.place("S1"), make.job()
    held = make.stock(part, place, 3)
    wanted = need(make, job, part, 3)
    stow.take(held, D(2), by=make.owner, on=make.today, today=make.today, job=job)
    assert row_of(make, wanted).met.want.quantity == 1
    stow.take(held, D(1), by=make.owner, on=make.today, today=make.today, job=job)
    assert netted(make.boat, make.today).rows == ()


def test_of_two_jobs_the_first_by_priority_has_it(make):
    part, place = make.part(), make.place("S1")
    make.stock(part, place, 1)
    first, second = need(make, make.job(), part), need(make, make.job(), part)
    assert row_of(make, first).met.verdict == Verdict.HERE
    assert row_of(make, second).met.verdict == Verdict.ASK
    Job.objects.filter(pk=second.job_id).update(priority=1)
    assert row_of(make, first).met.verdict == Verdict.ASK
    assert row_of(make, second).met.verdict == Verdict.HERE


def test_what_is_reserved_is_not_offered_to_another(make):
    part, place = make.part(), make.place("S1")
    make.stock(part, place, 2)
    first, second = need(make, make.job(), part, 2), need(make, make.job(), part, 1, reserved=D(1))
    assert row_of(make, second).met.verdict == Verdict.HERE
    assert row_of(make, first).met.short == 1


def test_a_line_goes_to_the_job_it_was_bought_for_first(make):
    part, early, late = make.part(), make.job(), make.job()
    first, second = (
        need(make, early, part, wanted_by=make.today),
        need(make, late, part, wanted_by=in_days(make, 9)),
    )
    order = make.order(make.line(part, job=late))
    expected(order, in_days(make, 4))
    assert row_of(make, second).met.verdict == Verdict.IN_TIME
    assert row_of(make, first).met.verdict == Verdict.ASK
    expected(order, in_days(make, 12))
    late_row = row_of(make, second)
    assert (late_row.met.verdict, late_row.met.late_days) == (Verdict.LATE, 3)
    assert [line.order for line in late_row.lines] == [order]


def test_what_came_for_a_job_is_kept_for_it(make):

    part, place, early, late = make.part(), make.place("S1"), make.job(), make.job()
    first, second = need(make, early, part), need(make, late, part)
    line = make.order(make.line(part, job=late)).lines.get()
    arrival = Arrival(line, D(1), place=place)
    deliveries.book_in(make.boat, [arrival], by=make.owner, on=make.today, today=make.today)
    assert row_of(make, second).met.verdict == Verdict.HERE
    assert row_of(make, first).met.verdict == Verdict.ASK


def test_what_lies_away_takes_its_days(make):

    area = places.add_place(
        make.boat, kind="area", parent=None, name="Forwarder", where=Where.AWAY, days_away=6
    )
    part = make.part()
    make.stock(part, make.place("F1", parent=area), 1)
    wanted = need(make, make.job(), part, wanted_by=in_days(make, 6))
    assert row_of(make, wanted).met.verdict == Verdict.AWAY_IN_TIME
    Need.objects.filter(pk=wanted.pk).update(wanted_by=in_days(make, 4))
    row = row_of(make, wanted)
    assert (row.met.verdict, row.met.late_days, row.met.ready_on) == (Verdict.LATE, 2, in_days(make, 6))


def test_what_is_to_scrap_or_goes_back_is_no_supply(make):
    part, place = make.part(), make.place("S1")
    held = make.stock(part, place, 1, serial="A")
    Lot.objects.filter(pk=held.lot_id).update(number=1, condition="overhaul")
    assert row_of(make, need(make, make.job(), part)).met.short == 1


def test_what_replaced_a_part_is_bought_and_what_is_left_of_the_old_still_counts(make):
    new = make.part("Impeller, new shape")
    old = make.part("Impeller", superseded_by=new)
    make.stock(old, make.place("S1"), 1)
    wanted = need(make, make.job(), old, 2)
    row = row_of(make, wanted)
    assert (row.met.short, row.met.buy) == (1, new.pk)
    make.stock(new, make.place("S2"), 1)
    assert row_of(make, wanted).met.verdict == Verdict.HERE


def test_what_is_kept_by_level_is_enough_while_there_is_some(make):
    part, place = make.part(kept="level"), make.place("S1")
    wanted = need(make, make.job(), part, 40)
    assert row_of(make, wanted).met.verdict == Verdict.ASK
    stow.say_level(part, place, "low", by=make.owner, on=make.today, today=make.today)
    assert row_of(make, wanted).met.verdict == Verdict.HERE


def test_eighteen_metres_in_one_piece_are_met_only_by_such_a_piece(make):
    part, place = make.part(unit="m"), make.place("S1")
    Part.objects.filter(pk=part.pk).update(in_pieces=True)
    for number, length in enumerate((10, 12), start=1):
        held = make.stock(part, place, length, serial=f"x{number}")
        Lot.objects.filter(pk=held.lot_id).update(number=number, serial="")
    wanted = need(make, make.job(), part, 18, one_piece=True)
    assert row_of(make, wanted).met.short == 18
    Need.objects.filter(pk=wanted.pk).update(one_piece=False)
    assert row_of(make, wanted).met.verdict == Verdict.HERE


def test_each_drum_to_come_is_a_piece(make):
    part = make.part(unit="m")
    Part.objects.filter(pk=part.pk).update(in_pieces=True)
    order = make.order(make.line(part, packs=D(2), pack_size=D(100)))
    expected(order, make.today)
    job = make.job()
    assert row_of(make, need(make, job, part, 100, one_piece=True)).met.verdict == Verdict.IN_TIME
    assert row_of(make, need(make, job, part, 101, one_piece=True)).met.short == 101


def test_what_stands_on_an_order_not_placed_is_not_bought_twice(make):
    part, job = make.part(), make.job()
    wanted = need(make, job, part, 3)
    make.draft(make.line(part, packs=D(2), job=job))
    row = row_of(make, wanted)
    assert (row.met.short, row.wanted.drafted, row.to_buy) == (3, 2, 1)


def test_a_need_in_words_is_to_buy_until_a_line_was_written_for_it(make):
    wanted = need(make, make.job(), quantity=2)
    assert (row_of(make, wanted).met, row_of(make, wanted).to_buy) == (None, 2)
    order = make.order(make.line(words="A sheet of plywood", packs=D(2)))
    order.lines.update(need=wanted)
    row = row_of(make, wanted)
    assert (row.to_buy, [line.order for line in row.lines]) == (0, [order])


def test_a_need_is_wanted_when_its_job_must_start_at_the_latest_unless_a_day_is_typed(make):
    part = make.part()
    first, then = make.job(), make.job()
    Job.objects.update(days=D(2))
    After.objects.create(boat=make.boat, job=then, after=first)
    Milestone.objects.create(boat=make.boat, kind="launch", name="Launch", target=in_days(make, 60))
    wanted, typed = need(make, first, part), need(make, first, part, wanted_by=in_days(make, 5))
    found = netted(make.boat, make.today)
    by = {row.need.pk: row.wanted_by for row in found.rows}
    assert by[wanted.pk] == found.bare.placed[str(first.number)].late_start > in_days(make, 50)
    assert by[typed.pk] == in_days(make, 5)


def test_the_plan_waits_for_the_last_part(make):
    part, job = make.part("Mast step"), make.job()
    need(make, job, part)
    order = make.order(make.line(part, job=job))
    expected(order, in_days(make, 30))
    placed = netted(make.boat, make.today).plan.placed[str(job.number)]
    assert placed.works_from >= in_days(make, 30)
    assert (placed.held_by.kind, placed.held_by.words) == ("parts", "Mast step")


def test_a_part_of_which_nobody_knows_the_day_is_told_and_holds_nothing_up(make):
    part, job = make.part(), make.job()
    wanted = need(make, job, part)
    make.order(make.line(part, job=job))
    found = netted(make.boat, make.today)
    assert [row.need.pk for row in found.unsure] == [wanted.pk]
    assert found.plan.placed[str(job.number)].held_by.kind != "parts"


def test_a_contradiction_is_told_and_the_jobs_are_still_planned(make):
    afloat, job = make.job(before="afloat"), make.job()
    After.objects.create(boat=make.boat, job=job, after=afloat)
    Milestone.objects.create(boat=make.boat, kind="launch", name="Launch")
    found = netted(make.boat, make.today)
    assert str(job.number) in found.contradiction
    assert set(found.plan.placed) == {str(afloat.number), str(job.number)}


def test_days_beyond_all_calendars_are_told_and_every_job_still_has_a_day(make):
    jobs = [make.job() for _ in range(90)]
    Job.objects.filter(boat=make.boat).update(days=D(1000), cure_days=365)
    After.objects.bulk_create(After(boat=make.boat, job=then, after=first) for first, then in pairwise(jobs))
    found = netted(make.boat, make.today)
    assert "would end after the year" in found.contradiction
    assert {key: placed.works_from for key, placed in found.plan.placed.items()} == {
        str(job.number): found.work.working.next(make.today) for job in jobs
    }


def many(make, jobs, arrows, needs, parts):
    """Fill a boat with jobs, arrows and needs, some of them met from stores, some from orders."""
    seed = random.Random(4)
    boat, system, by = make.boat, make.system, make.owner
    first = Job.objects.filter(boat=boat).count() + 1
    made = Job.objects.bulk_create(
        Job(
            boat=boat,
            number=first + at,
            title=f"Job {at}",
            folded=f"job {at}",
            system=system,
            made_by=by,
            days=D(2),
        )
        for at in range(jobs)
    )
    pairs = set()
    while len(pairs) < arrows:
        one, two = sorted(seed.sample(range(jobs), 2))
        if two - one < 200:
            pairs.add((one, two))
    After.objects.bulk_create(After(boat=boat, job=made[two], after=made[one]) for one, two in pairs)
    things = Part.objects.bulk_create(
        Part(boat=boat, name=f"Part {at}", search=f"part{at}") for at in range(parts)
    )
    Need.objects.bulk_create(
        Need(boat=boat, job=seed.choice(made), part=seed.choice(things), quantity=D(seed.randint(1, 4)))
        for _ in range(needs)
    )
    place = make.place(f"Z{first}")
    counted = [(thing, D(5)) for thing in things[::5]]
    for thing, quantity in counted[:20]:
        make.stock(thing, place, quantity)
    lines = [make.line(thing, packs=D(9)) for thing in things[1::10][:40]]
    expected(make.order(*lines), in_days(make, 20))


def test_it_is_read_in_a_constant_number_of_queries(make, django_assert_max_num_queries):
    many(make, 6, 5, 12, 8)
    with django_assert_max_num_queries(22) as few:
        netted(make.boat, make.today)
    many(make, 30, 40, 60, 40)
    with django_assert_max_num_queries(22) as more:
        netted(make.boat, make.today)
    assert len(few.captured_queries) == len(more.captured_queries)
