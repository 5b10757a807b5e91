"""Critical path against published tables, and against networkx on random graphs.

Source of both tables: Taylor, Introduction to Management Science, chapter 8, solutions of the problems (activities on
arrows, B with a dummy of no length). The free floats are worked out from the tables' own times.
"""

from decimal import Decimal

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from refit.calc.problems import Problem
from refit.calc.schedule import Activity, Unworkable, find_cycle, schedule

TABLE_A = {  # days, early start, early finish, late start, late finish, float
    "1-2": (7, 0, 7, 2, 9, 2),
    "1-3": (10, 0, 10, 0, 10, 0),
    "2-4": (6, 7, 13, 9, 15, 2),
    "3-4": (5, 10, 15, 10, 15, 0),
    "3-5": (4, 10, 14, 14, 18, 4),
    "4-5": (3, 15, 18, 15, 18, 0),
    "5-6": (2, 18, 20, 18, 20, 0),
}
FREE_A = {"2-4": 2, "3-5": 4}
TABLE_B = {
    "1-2": (8, 0, 8, 1, 9, 1),
    "1-3": (10, 0, 10, 0, 10, 0),
    "1-4": (9, 0, 9, 6, 15, 6),
    "2-5": (6, 8, 14, 9, 15, 1),
    "2-6": (4, 8, 12, 16, 20, 8),
    "3-5": (5, 10, 15, 10, 15, 0),
    "4-5": (0, 9, 9, 15, 15, 6),
    "4-7": (7, 9, 16, 20, 27, 11),
    "5-7": (12, 15, 27, 15, 27, 0),
    "5-8": (15, 15, 30, 16, 31, 1),
    "6-9": (18, 12, 30, 20, 38, 8),
    "7-8": (4, 27, 31, 27, 31, 0),
    "8-9": (7, 31, 38, 31, 38, 0),
}
FREE_B = {"2-5": 1, "4-5": 6, "4-7": 11, "5-8": 1, "6-9": 8}


def from_arrows(table):
    """Return activities on arrows: each comes after all that end in the event at which it starts."""
    return [
        Activity(name, row[0], tuple(other for other in table if other.split("-")[1] == name.split("-")[0]))
        for name, row in table.items()
    ]


@pytest.mark.parametrize(("table", "free", "length"), [(TABLE_A, FREE_A, 20), (TABLE_B, FREE_B, 38)])
def test_the_published_tables_in_full(table, free, length):
    times = schedule(from_arrows(table))
    found = {
        name: (
            time.early_finish - time.early_start,
            time.early_start,
            time.early_finish,
            time.late_start,
            time.late_finish,
            time.total_float,
        )
        for name, time in times.items()
    }
    assert found == table
    assert {name: time.free_float for name, time in times.items() if time.free_float} == free
    assert max(time.early_finish for time in times.values()) == length


def test_the_critical_path_of_the_first_table():
    critical = [name for name, time in schedule(from_arrows(TABLE_A)).items() if time.total_float == 0]
    assert critical == ["1-3", "3-4", "4-5", "5-6"]


def test_a_part_that_comes_later_is_a_start_no_earlier():
    activities = [
        Activity(job.name, job.days, job.after, 13 if job.name == "3-4" else 0)
        for job in from_arrows(TABLE_A)
    ]
    times = schedule(activities)
    assert (times["3-4"].early_start, times["5-6"].early_finish) == (13, 23)
    assert times["3-4"].total_float == 0


def test_parts_of_days_stay_exact():
    times = schedule([Activity("a", Decimal("0.1")), Activity("b", Decimal("0.2"), ("a",))])
    assert times["b"].early_finish == Decimal("0.3")


def test_nothing_takes_no_time():
    assert schedule([]) == {}


def ring(*names):
    return [Activity(name, 1, (before,)) for before, name in zip((names[-1], *names), names, strict=False)]


@pytest.mark.parametrize(
    ("activities", "code", "names"),
    [
        (ring("keel", "paint", "mast"), "circle", {"keel", "paint", "mast"}),
        ([*ring("a", "b"), Activity("c", 1, ("b",)), Activity("d", 1)], "circle", {"a", "b"}),
        ([Activity("keel", 1, ("keel",))], "itself", {"keel"}),
        ([Activity("keel", 1, ("rudder",))], "unknown", {"keel", "rudder"}),
        ([Activity("keel", 1), Activity("keel", 2)], "twice", {"keel"}),
        ([Activity("keel", -1)], "days", {"keel"}),
        ([Activity("keel", Decimal("NaN"))], "days", {"keel"}),
    ],
)
def test_what_cannot_be_is_refused_by_name(activities, code, names):
    with pytest.raises(Problem) as refused:
        schedule(activities)
    assert (refused.value.code, set(refused.value.names)) == (code, names)
    assert all(name in str(refused.value) for name in names)
    assert "“c”" not in str(refused.value)


def test_a_circle_is_told_in_order_of_work():
    with pytest.raises(Unworkable) as refused:
        schedule([Activity("a", 1, ("c",)), Activity("b", 1, ("a",)), Activity("c", 1, ("b",))])
    told = "".join(refused.value.names) * 2
    assert "abc" in told
    assert "“b” → “c”" in str(refused.value)


graphs = st.integers(1, 9).flatmap(
    lambda size: st.tuples(
        st.lists(st.tuples(st.integers(0, 20), st.integers(0, 30)), min_size=size, max_size=size),
        st.sets(st.tuples(st.integers(0, size - 1), st.integers(0, size - 1)), max_size=20),
    )
)


def as_graph(jobs, arrows):
    graph = nx.DiGraph()
    for number, (_days, not_before) in enumerate(jobs):
        graph.add_edge("begin", number, weight=not_before)
    for number, (days, _not_before) in enumerate(jobs):
        graph.add_edge(number, "end", weight=days)
    graph.add_weighted_edges_from((first, then, jobs[first][0]) for first, then in arrows)
    return graph


@given(graphs)
@settings(max_examples=60)
def test_networkx_finds_the_same_lengths(graph):
    jobs, arrows = graph
    arrows = {(first, then) for first, then in arrows if first < then}
    times = schedule(
        Activity(str(number), days, tuple(str(first) for first, then in arrows if then == number), not_before)
        for number, (days, not_before) in enumerate(jobs)
    )
    oracle = as_graph(jobs, arrows)
    assert max(time.early_finish for time in times.values()) == nx.dag_longest_path_length(oracle)
    for number in range(len(jobs)):
        leading = oracle.subgraph(nx.ancestors(oracle, number) | {number})
        assert times[str(number)].early_start == nx.dag_longest_path_length(leading)
    for time in times.values():
        assert 0 <= time.free_float <= time.total_float == time.late_finish - time.early_finish


@given(graphs)
@settings(max_examples=60)
def test_networkx_agrees_on_what_is_a_circle(graph):
    arrows = graph[1]
    found = find_cycle(arrows)
    assert bool(found) != nx.is_directed_acyclic_graph(nx.DiGraph(list(arrows)))
    assert set(zip(found, (*found[1:], *found[:1]), strict=True)) <= arrows
    assert len(set(found)) == len(found)


@given(graphs, st.data())
@settings(max_examples=40)
def test_a_later_start_moves_the_end_by_no_more_than_itself_less_the_float(graph, data):
    jobs, arrows = graph
    names = [str(number) for number in range(len(jobs))]
    made = [
        Activity(names[number], days, tuple(names[first] for first, then in arrows if first < then == number))
        for number, (days, _not_before) in enumerate(jobs)
    ]
    which, by = data.draw(st.integers(0, len(jobs) - 1)), data.draw(st.integers(0, 30))
    before = schedule(made)
    one = before[names[which]]
    made[which] = Activity(
        made[which].name, made[which].days, made[which].after, not_before=one.early_start + by
    )
    ends = [max(time.early_finish for time in times.values()) for times in (before, schedule(made))]
    assert ends[1] - ends[0] == max(0, by - one.total_float)
