"""The plan in dates: worked examples, and laws on random plans; critical path and a day-by-day search as oracles."""

from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise
from time import process_time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from refit.calc.plan import (
    Booked,
    Held,
    Task,
    WorkingDays,
    chain,
    compare,
    plan,
)
from refit.calc.problems import Problem
from refit.calc.schedule import Activity, schedule

MONDAY = date(2026, 3, 2)
WEEK = WorkingDays(frozenset(range(5)))
ALWAYS = WorkingDays(frozenset(range(7)))


def march(day):
    return date(2026, 3, day)


def april(day):
    return date(2026, 4, day)


def dates(made, key):
    return made.placed[key].start, made.placed[key].finish


def planned(*tasks, working=WEEK, start=MONDAY, targets=None, **more):
    return plan(tasks, working, start, targets or {}, **more)


MAST = (
    Task("plate", 2, parts_on=march(20), parts_words="mast base plate"),
    Task("step", 1, after=("plate",)),
    Task("tune", 2, after=("step",)),
    Task("paint", 3),
    Task("launch", 0, after=("tune", "paint"), milestone=True),
)


def test_work_falls_on_working_days_and_a_milestone_on_the_next():
    made = planned(
        Task("sand", 4), Task("paint", 3, ("sand",)), Task("launch", 0, ("paint",), milestone=True)
    )
    assert dates(made, "sand") == (march(2), march(5))
    assert dates(made, "paint") == (march(6), march(10))
    assert dates(made, "launch") == (march(11), march(11))
    assert made.end == march(11)


def test_what_the_launch_hangs_on():
    made = planned(*MAST)
    assert [(link.key, link.kind, link.words, link.start) for link in chain(made, "launch")] == [
        (None, Held.PARTS, "mast base plate", march(20)),
        ("plate", Held.PARTS, "mast base plate", march(20)),
        ("step", Held.AFTER, None, march(24)),
        ("tune", Held.AFTER, None, march(25)),
        ("launch", Held.AFTER, None, march(27)),
    ]
    assert made.placed["plate"].total_float == 0
    assert (made.placed["paint"].total_float, made.placed["paint"].free_float) == (16, 16)


def test_its_part_a_week_sooner_moves_the_launch_by_a_week():
    before = planned(*MAST)
    sooner = planned(replace(MAST[0], parts_on=march(13)), *MAST[1:])
    changed = compare(before, sooner)
    assert changed.milestones == {"launch": -7}
    assert [(one.key, one.start_days, one.finish_days) for one in changed.moved] == [
        (key, -7, -7) for key in ("plate", "step", "tune", "launch")
    ]
    assert (changed.gone, changed.new, changed.clashes) == ((), (), ())


def test_parts_are_wanted_when_work_without_them_must_start_for_the_target():
    wanted = planned(replace(MAST[0], parts_on=None), *MAST[1:], targets={"launch": march(20)})
    assert (wanted.placed["plate"].start, wanted.placed["plate"].late_start) == (march(2), march(13))
    late = planned(*MAST, targets={"launch": march(20)})
    assert (late.placed["plate"].late_start, late.placed["plate"].total_float) == (march(13), -5)
    assert (late.placed["launch"].total_float, late.placed["paint"].total_float) == (-5, 11)


def test_what_leads_to_several_milestones_is_due_for_the_earliest():
    tasks = (
        Task("keel", 1),
        Task("galley", 1),
        Task("launch", 0, ("keel",), milestone=True),
        Task("leave", 0, ("launch", "galley"), milestone=True),
    )
    made = planned(*tasks, targets={"launch": march(10), "leave": march(20), "reached long ago": march(1)})
    assert (made.placed["keel"].late_finish, made.placed["galley"].late_finish) == (march(9), march(19))
    assert made.targets == {"launch": march(10), "leave": march(20)}
    alone = planned(*tasks, targets={"leave": march(20)})
    assert alone.placed["launch"].late_finish == march(20)
    assert planned(*tasks).placed["launch"].late_finish == march(3)


def test_a_target_on_a_day_not_worked_is_met_on_that_day():
    tasks = (Task("paint", 5), Task("launch", 0, ("paint",), milestone=True))
    made = planned(*tasks, targets={"launch": march(8)})
    assert (made.placed["launch"].finish, made.placed["launch"].total_float) == (march(8), 0)
    over = planned(tasks[0], replace(tasks[1], not_before=march(9)), targets={"launch": march(8)})
    assert (over.placed["launch"].finish, over.placed["launch"].total_float) == (march(9), -1)
    missed = planned(replace(tasks[0], days=6), tasks[1], targets={"launch": march(8)})
    assert (missed.placed["launch"].finish, missed.placed["launch"].total_float) == (march(10), -1)


def test_a_milestone_without_a_target_is_due_on_its_own_day_whatever_else_goes_on():
    made = planned(Task("paint", 1), Task("launch", 0, ("paint",), milestone=True), Task("dinghy", 9))
    assert (made.placed["launch"].total_float, made.placed["paint"].total_float) == (0, 0)


def test_slack_is_told_in_the_order_of_a_space():
    made = planned(
        Task("pump", 1, space="engine", priority=1),
        Task("mount", 5, space="engine", priority=1),
        Task("filter", 1, space="engine"),
    )
    days = {key: (one.start, one.total_float, one.free_float) for key, one in made.placed.items()}
    assert days == {"mount": (march(2), 0, 0), "pump": (march(9), 0, 0), "filter": (march(10), 0, 0)}


def hold_of(*tasks, working=WEEK):
    return planned(*tasks, working=working).placed["x"].held_by


AWAY = WorkingDays(frozenset(range(5)), ((march(9), march(20)), march(2)))


@pytest.mark.parametrize(
    ("tasks", "working", "kind", "key", "on"),
    [
        ((Task("x", 1),), WEEK, Held.TODAY, None, march(2)),
        ((Task("x", 1),), AWAY, Held.AWAY, None, march(3)),
        ((Task("x", 1, not_before=march(4)),), WEEK, Held.NOT_BEFORE, None, march(4)),
        ((Task("x", 1, not_before=date(2026, 2, 4)),), WEEK, Held.TODAY, None, march(2)),
        ((Task("x", 1, parts_on=march(12)),), AWAY, Held.AWAY, None, march(23)),
        ((Task("x", 1, parts_on=march(7)),), WEEK, Held.PARTS, None, march(7)),
        ((Task("a", 4), Task("x", 1, ("a",), parts_on=march(12))), AWAY, Held.AFTER, "a", march(7)),
        ((Task("a", 1), Task("x", 1, ("a",), not_before=march(2))), WEEK, Held.AFTER, "a", march(3)),
        ((Task("a", 1, cure_days=4), Task("x", 1, ("a",))), WEEK, Held.CURE, "a", march(7)),
        ((Task("a", 5, cure_days=2), Task("x", 1, ("a",))), WEEK, Held.AFTER, "a", march(7)),
        ((Task("x", 1, booked=(Booked(march(5), 2, "rigger"),)),), WEEK, Held.BOOKED, None, march(5)),
        (
            (Task("a", 2, space="engine", priority=1), Task("x", 1, space="engine")),
            WEEK,
            Held.SPACE,
            "a",
            march(4),
        ),
    ],
)
def test_what_binds_a_start(tasks, working, kind, key, on):
    hold = hold_of(*tasks, working=working)
    assert (hold.kind, hold.key, hold.on) == (kind, key, on)


def test_a_booked_visit_happens_on_its_days_worked_or_not_and_all_of_them_are_spanned():
    visits = (Booked(march(14), 2, "rigger"), Booked(march(7), 1, "joiner"))
    made = planned(Task("mast", 9, booked=visits), Task("tune", 1, ("mast",)))
    assert dates(made, "mast") == (march(7), march(15))
    assert made.placed["mast"].held_by.words == "joiner"
    assert (dates(made, "tune"), made.clashes) == ((march(16), march(16)), ())


VISIT = Booked(march(5), 2, "rigger")


@pytest.mark.parametrize(
    ("tasks", "kind", "cause", "possible"),
    [
        ((Task("a", 5), Task("x", 0, ("a",), booked=(VISIT,))), Held.AFTER, "a", march(9)),
        ((Task("a", 2, cure_days=7), Task("x", 0, ("a",), booked=(VISIT,))), Held.CURE, "a", march(11)),
        ((Task("x", 0, parts_on=march(6), parts_words="turnbuckles", booked=(VISIT,)),), Held.PARTS, None, march(6)),
        ((Task("x", 0, not_before=march(9), booked=(VISIT,)),), Held.NOT_BEFORE, None, march(9)),
        ((Task("x", 0, booked=(Booked(date(2026, 2, 27), 3, "rigger"),)),), Held.TODAY, None, march(2)),
        (
            (Task("a", 9, space="mast", begun_on=date(2026, 2, 26)), Task("x", 0, space="mast", booked=(VISIT,))),
            Held.SPACE,
            "a",
            march(11),
        ),
        (
            (
                Task("a", 0, space="mast", booked=(Booked(march(4), 3, "welder"),)),
                Task("x", 0, space="mast", booked=(VISIT,)),
            ),
            Held.BOOKED,
            "a",
            march(9),
        ),
    ],
)  # fmt: skip
def test_a_booking_that_cannot_be_met_is_named_with_its_cause(tasks, kind, cause, possible):
    made = planned(*tasks)
    (clash,) = made.clashes
    assert (clash.key, clash.kind, clash.cause, clash.possible) == ("x", kind, cause, possible)
    assert clash.words == ("turnbuckles" if kind is Held.PARTS else None)
    assert made.placed["x"].start == possible
    assert made.placed["x"].held_by.kind is (Held.SPACE if kind is Held.BOOKED else kind)
    assert made.placed["x"].total_float < 0


def test_a_booking_that_is_past_is_told_as_that_whatever_else_is_in_the_way():
    made = planned(Task("a", 3), Task("x", 0, ("a",), booked=(Booked(date(2026, 2, 27)),)))
    assert [(clash.kind, clash.cause, clash.possible) for clash in made.clashes] == [
        (Held.TODAY, None, march(5))
    ]
    assert made.placed["x"].held_by.key == "a"


def test_whoever_comes_does_not_mind_that_the_owner_is_away():
    parts = Task("x", 0, parts_on=march(12), parts_words="shroud", booked=(Booked(march(10)),))
    met = Task("y", 0, booked=(Booked(march(11)),))
    made = planned(parts, met, working=AWAY)
    assert [(clash.key, clash.kind, clash.possible) for clash in made.clashes] == [
        ("x", Held.PARTS, march(23))
    ]
    assert (made.placed["x"].held_by.kind, dates(made, "y")[0]) == (Held.AWAY, march(11))


def test_a_booking_that_fails_gives_its_days_free_for_others():
    made = planned(
        Task("b", 3, space="engine", priority=1),
        Task("a", 2, space="engine", priority=2),
        Task("x", 0, ("a",), space="mast", booked=(Booked(march(5), 1, "rigger"),)),
        Task("c", 1, space="mast", not_before=march(5)),
        Task("y", 0, space="engine", booked=(Booked(march(2), 2, "fitter"),)),
    )
    assert [(clash.key, clash.kind, clash.cause) for clash in made.clashes] == [("x", Held.AFTER, "a")]
    assert (dates(made, "y")[0], dates(made, "c")[0]) == (march(2), march(5))


def test_work_fits_into_a_gap_that_is_just_long_enough():
    visit = Task("visit", 0, space="engine", booked=(Booked(march(4), 2, "fitter"),))
    made = planned(Task("a", 2, space="engine"), Task("b", 1, space="engine"), visit)
    assert (dates(made, "a"), dates(made, "b")) == ((march(2), march(3)), (march(6), march(6)))


def test_a_second_visit_keeps_its_day_when_the_first_cannot():
    visits = (Booked(march(5), 2, "rigger"), Booked(march(26), 1, "rigger"))
    made = planned(Task("a", 10), Task("x", 0, ("a",), booked=visits))
    assert (dates(made, "x"), len(made.clashes)) == ((march(16), march(26)), 1)


def test_a_booking_holds_its_space_against_work_that_would_be_placed_sooner():
    made = planned(
        Task("engine", 6, space="engine", priority=1),
        Task("survey", 0, space="engine", booked=(Booked(march(4), 2, "surveyor"),)),
    )
    assert (dates(made, "engine"), made.clashes) == ((march(6), march(13)), ())
    assert [link.key for link in chain(made, "engine")] == [None, "survey", "engine"]


def test_what_is_in_hand_goes_on_with_what_is_left_of_it():
    made = planned(Task("a", 5, begun_on=date(2026, 2, 26)), Task("b", 2, begun_on=date(2026, 2, 16)))
    assert dates(made, "a") == (date(2026, 2, 26), march(4))
    assert (dates(made, "b"), made.placed["b"].works_from) == ((date(2026, 2, 16), march(2)), march(2))
    assert made.placed["b"].free_from == march(3)
    visit = planned(Task("c", 0, booked=(Booked(date(2026, 2, 27), 5, "welder"),)))
    assert (dates(visit, "c"), visit.clashes) == ((date(2026, 2, 27), march(3)), ())


def test_a_cure_takes_calendar_days_no_hands_and_the_space():
    made = planned(
        Task("resin", 1, space="cabin", cure_days=3, priority=1),
        Task("sole", 1, space="cabin"),
        Task("launch", 0, ("resin",), milestone=True),
    )
    assert (made.placed["resin"].finish, made.placed["resin"].free_from) == (march(2), march(6))
    assert (dates(made, "sole")[0], dates(made, "launch")[0]) == (march(6), march(6))


def test_ten_thousand_days_are_no_trouble():
    made = planned(
        Task("a", 1, parts_on=MONDAY + timedelta(10_000)),
        Task("b", 10_000, ("a",), cure_days=10_000),
        Task("c", 1, ("b",)),
    )
    assert made.placed["a"].start == WEEK.next(MONDAY + timedelta(10_000))
    assert WEEK.count(made.placed["b"].start, made.placed["b"].finish + timedelta(1)) == 10_000
    assert (made.placed["c"].start - made.placed["b"].finish).days in (10_001, 10_002, 10_003)


@pytest.mark.parametrize(
    ("tasks", "code", "names"),
    [
        ((Task("a", 1, ("b",)), Task("b", 1, ("c",)), Task("c", 1, ("a",))), "circle", {"a", "b", "c"}),
        ((Task("a", 1, ("a",)),), "itself", {"a"}),
        ((Task("a", 1, ("b",)),), "unknown", {"a", "b"}),
        ((Task("a", 1), Task("a", 1)), "twice", {"a"}),
        ((Task("a", -1),), "days", {"a"}),
        ((Task("a", 1, cure_days=10_001),), "days", {"a"}),
        ((Task("a", 1, booked=(Booked(MONDAY, 0),)),), "days", {"a"}),
        (tuple(Task(f"{n}", 9_999, (f"{n - 1}",) if n else ()) for n in range(12)), "too-far", {"5"}),
        ((Task("a", 1, not_before=date.max),), "too-far", {"a"}),
    ],
)
def test_a_plan_that_cannot_be_is_refused_by_name(tasks, code, names):
    with pytest.raises(Problem) as refused:
        planned(*tasks)
    assert (refused.value.code, set(refused.value.names)) == (code, names)
    assert all(name in str(refused.value) for name in names)


# Laws on random plans


@st.composite
def plans(draw, *, spaces=(None,), cure=3, booked=False, parts=True):
    """Return tasks with arrows from earlier to later ones."""
    tasks = []
    for number in range(draw(st.integers(2, 9))):
        day = draw(st.none() | st.integers(0, 40)) if parts else None
        visits = ()
        if booked and draw(st.booleans()):
            visits = (Booked(MONDAY + timedelta(draw(st.integers(-3, 30))), draw(st.integers(1, 3))),)
        tasks.append(
            Task(
                str(number),
                draw(st.integers(0, 5)),
                tuple(str(other) for other in sorted(draw(st.sets(st.integers(0, number - 1), max_size=3))))
                if number
                else (),
                parts_on=None if day is None else MONDAY + timedelta(day),
                booked=visits,
                cure_days=draw(st.integers(0, cure)),
                space=draw(st.sampled_from(spaces)),
                priority=draw(st.integers(1, 3)),
            )
        )
    return tasks


weeks = st.frozensets(st.integers(0, 6), min_size=1).map(WorkingDays)


@given(plans(cure=0, parts=False))
@settings(max_examples=60)
def test_with_every_day_worked_it_is_the_critical_path(tasks):
    """The published tables prove `schedule`; here it proves the plan."""
    made = plan(tasks, ALWAYS, MONDAY, {}).placed
    for key, time in schedule([Activity(task.key, task.days, task.after) for task in tasks]).items():
        one = made[key]
        assert ((one.works_from - MONDAY).days, (one.free_from - MONDAY).days) == (
            time.early_start,
            time.early_finish,
        )
        assert (one.total_float, one.free_float) == (time.total_float, time.free_float)
        assert (one.late_start - MONDAY).days == time.late_start


@given(plans(), weeks, st.data())
@settings(max_examples=60)
def test_a_part_a_week_later_moves_the_end_by_a_week_at_most_and_by_that_on_its_chain(tasks, week, data):
    launch = Task("launch", 0, tuple(task.key for task in tasks), milestone=True)
    which = data.draw(st.integers(0, len(tasks) - 1))
    late = replace(tasks[which], parts_on=(tasks[which].parts_on or MONDAY) + timedelta(7))
    before = plan([*tasks, launch], week, MONDAY, {})
    after = plan([*tasks[:which], late, *tasks[which + 1 :], launch], week, MONDAY, {})
    moved = compare(before, after).milestones["launch"]
    assert 0 <= moved <= 7
    root, first, *_rest = chain(before, "launch")
    if root.kind is Held.PARTS and first.key == tasks[which].key:
        assert moved == 7


@given(plans(), weeks)
@settings(max_examples=60)
def test_a_task_may_slip_by_its_floats_and_no_more(tasks, week):
    """Slipped by its total float the end stays; by its free float nothing else moves; by a day more something does."""
    launch = Task("launch", 0, tuple(task.key for task in tasks), milestone=True)
    before = plan([*tasks, launch], week, MONDAY, {})

    def slipped(task, days):
        later = replace(task, not_before=week.add(before.placed[task.key].works_from, days))
        return compare(
            before, plan([*(later if one is task else one for one in tasks), launch], week, MONDAY, {})
        )

    for task in tasks[:3]:
        one = before.placed[task.key]
        assert 0 <= one.free_float <= one.total_float
        assert slipped(task, one.total_float).milestones["launch"] == 0
        assert slipped(task, one.total_float + 1).milestones["launch"] > 0
        assert {other.key for other in slipped(task, one.free_float).moved} <= {task.key}
        assert len(slipped(task, one.free_float + 1).moved) > 1


def day_by_day(tasks, week):
    """Place tasks as the rule says, trying one day after the other; return first and last day taken of each."""
    late = {
        key: one.late_start
        for key, one in plan([replace(t, space=None) for t in tasks], week, MONDAY, {}).placed.items()
    }
    found, taken = {}, {}
    while len(found) < len(tasks):
        ready = [t for t in tasks if t.key not in found and all(key in found for key in t.after)]
        task = min(ready, key=lambda t: (late[t.key], t.priority, t.key))
        day = max([MONDAY, task.parts_on or MONDAY, *(found[key][1] for key in task.after)])
        while True:
            days, end = 0, day
            while days < max(1, task.days):
                days += week.works(end)
                end += timedelta(1)
            free = (end if task.days else day) + timedelta(task.cure_days)
            mine = {day + timedelta(n) for n in range((free - day).days)}
            others = taken.setdefault(task.space, set())
            if week.works(day) and not (task.space and mine & others):
                break
            day += timedelta(1)
        others |= mine
        found[task.key] = (day, free)
    return found


@given(plans(spaces=("engine", "mast", None)), weeks)
@settings(max_examples=60)
def test_a_search_day_by_day_finds_the_same_days_in_spaces(tasks, week):
    made = plan(tasks, week, MONDAY, {}).placed
    assert {key: (one.works_from, one.free_from) for key, one in made.items()} == day_by_day(tasks, week)


@given(plans(spaces=("engine", "mast"), booked=True), weeks)
@settings(max_examples=60)
def test_bookings_are_kept_or_named_and_no_space_is_taken_twice(tasks, week):
    made = plan(tasks, week, MONDAY, {})
    clashing = {clash.key: clash for clash in made.clashes}
    for task in tasks:
        one = made.placed[task.key]
        ready = max([MONDAY, task.parts_on or MONDAY, *(made.placed[key].free_from for key in task.after)])
        assert one.works_from >= ready
        for visit in task.booked:
            if task.key in clashing:
                cause = clashing[task.key].cause
                assert one.start > visit.day
                assert cause is None or made.placed[cause].free_from > visit.day
            else:
                assert one.start == visit.day
    for space in ("engine", "mast"):
        taken = sorted(
            (made.placed[task.key].works_from, made.placed[task.key].free_from)
            for task in tasks
            if task.space == space and made.placed[task.key].works_from < made.placed[task.key].free_from
        )
        assert all(first[1] <= then[0] for first, then in pairwise(taken))


def test_two_thousand_jobs_with_five_thousand_arrows_are_planned_fast():
    """The bound is several times what it takes; only the test asks the clock."""
    tasks = [
        Task(
            str(number),
            1 + number % 4,
            tuple({str(number - back) for back in (1 + number * 7 % 90, 2 + number * 11 % 120, 3 + number % 5) if number >= back}),
            parts_on=MONDAY + timedelta(number % 10_000 * 3),
            space=(None, "engine", "mast", "cabin")[number % 4],
            cure_days=number % 3,
        )
        for number in range(2_000)
    ]  # fmt: skip
    assert sum(len(task.after) for task in tasks) > 5_000
    began = process_time()
    made = plan(tasks, AWAY, MONDAY, {})
    wanted = plan([replace(task, parts_on=None) for task in tasks], AWAY, MONDAY, {})
    assert process_time() - began < 2
    assert len(made.placed) == len(wanted.placed) == 2_000
