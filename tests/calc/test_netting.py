from datetime import date, timedelta
from decimal import Decimal

import pytest

from refit.calc.lead import Terms
from refit.calc.netting import (
    NettingProblem,
    Source,
    Supply,
    Verdict,
    Want,
    day_of,
    net,
)

TODAY = date(2026, 3, 2)
BOLT, NEW_BOLT, ROPE = 1, 2, 3


def day(days):
    """So many days from today; None stays None."""
    return None if days is None else TODAY + timedelta(days=days)


def supply(key, quantity=1, source=Source.ABOARD, on=0, part=BOLT, **more):
    return Supply(key, part, Decimal(quantity), source, day(on), **more)


def aboard(key, quantity=1, **more):
    return supply(key, quantity, **more)


def ashore(key, quantity=1, **more):
    return supply(key, quantity, Source.ASHORE, **more)


def away(key, on, quantity=1, **more):
    return supply(key, quantity, Source.AWAY, on, **more)


def ordered(key, on, quantity=1, **more):
    return supply(key, quantity, Source.ON_ORDER, on, **more)


def want(key="w", quantity=1, by=10, priority=2, group="job", accepts=(BOLT,), **more):
    return Want(key, group, accepts, Decimal(quantity), day(by), priority, **more)


def piece(key, length, source=Source.ABOARD, **more):
    return supply(key, length, source, part=ROPE, one_piece=True, **more)


def rope(key="w", length=1, **more):
    return want(key, length, accepts=(ROPE,), **{"one_piece": True, **more})


def taken(met):
    """What a want takes, as supply and quantity."""
    return [(take.supply.key, take.quantity) for take in met.takes]


def one(supplies, terms=None, **more):
    """How a single want for a bolt is met."""
    return net([want(**more)], supplies, {BOLT: terms} if terms else {}, TODAY)["w"]


@pytest.mark.parametrize(
    ("supplies", "verdict", "late_days", "ready"),
    [
        ([aboard("a")], Verdict.HERE, 0, 0),
        ([ashore("a")], Verdict.HERE, 0, 0),
        ([away("a", 10)], Verdict.AWAY_IN_TIME, 0, 10),
        ([away("a", 11)], Verdict.LATE, 1, 11),
        ([ordered("a", 10)], Verdict.IN_TIME, 0, 10),
        ([ordered("a", 19)], Verdict.LATE, 9, 19),
        ([ordered("a", 0)], Verdict.IN_TIME, 0, 0),
        ([ordered("a", None)], Verdict.DAY_UNKNOWN, 0, None),
        ([ordered("a", -1)], Verdict.DAY_UNKNOWN, 0, None),  # it was to come yesterday
        ([away("a", None)], Verdict.DAY_UNKNOWN, 0, None),
    ],
)
def test_one_supply_says_when(supplies, verdict, late_days, ready):
    met = one(supplies)
    assert (met.verdict, met.late_days, met.ready_on) == (verdict, late_days, day(ready))
    assert (taken(met), met.short, met.order_by) == ([("a", 1)], 0, None)


@pytest.mark.parametrize(
    ("terms", "verdict", "late_days", "order_by", "ready"),
    [
        (Terms(5, 2), Verdict.TO_ORDER, 0, 3, 5),
        (Terms(8, 2), Verdict.TO_ORDER, 0, 0, 8),
        (Terms(9, 2), Verdict.TO_ORDER, 0, -1, 9),  # into the margin
        (Terms(10, 2), Verdict.TO_ORDER, 0, -2, 10),
        (Terms(11, 2), Verdict.ORDER_LATE, 1, -3, 11),
        (Terms(0), Verdict.TO_ORDER, 0, 10, 0),
        (Terms(5, working=True), Verdict.TO_ORDER, 0, 3, 7),  # a weekend lies between
        (Terms(10_000), Verdict.ORDER_LATE, 9_990, -9_990, 10_000),
        (Terms(None, 2), Verdict.ASK, 0, None, None),
        (None, Verdict.ASK, 0, None, None),
    ],
)
def test_what_is_short_is_ordered_by_a_day_or_asked_for(terms, verdict, late_days, order_by, ready):
    met = one([], terms)
    assert (met.verdict, met.late_days) == (verdict, late_days)
    assert (met.order_by, met.ready_on, met.fresh_on) == (day(order_by), day(ready), day(ready))
    assert (met.short, met.buy, met.takes) == (1, BOLT, ())


def test_a_want_of_yesterday_is_late_by_what_comes_but_not_by_what_is_here():
    assert one([aboard("a")], by=-3).late_days == 0
    late = one([ordered("a", 2)], by=-3)
    assert (late.verdict, late.late_days) == (Verdict.LATE, 5)


def test_the_nearest_is_taken_first():
    everything = [
        ordered("unknown", None),
        ordered("soon", 3),
        ordered("later", 8),
        away("away", 5),
        ashore("ashore"),
        aboard("aboard"),
    ]
    met = one(everything, quantity=6)
    assert [take.supply.key for take in met.takes] == [
        "aboard",
        "ashore",
        "away",
        "soon",
        "later",
        "unknown",
    ]
    assert [take.on for take in met.takes] == [day(on) for on in (0, 0, 5, 3, 8, None)]
    assert met.verdicts == (Verdict.DAY_UNKNOWN, Verdict.IN_TIME, Verdict.AWAY_IN_TIME, Verdict.HERE)


def test_in_time_comes_before_late_and_of_the_late_the_soonest():
    late = [away("far", 30), ordered("soon", 20), ordered("in time", 10)]
    assert taken(one(late, quantity=2)) == [("in time", 1), ("soon", 1)]


@pytest.mark.parametrize(
    ("supplies", "terms", "verdict"),
    [
        ([aboard("a"), ordered("b", 5)], None, Verdict.IN_TIME),
        ([aboard("a"), away("b", 5)], None, Verdict.AWAY_IN_TIME),
        ([aboard("a"), ordered("b", 15)], None, Verdict.LATE),
        ([aboard("a")], Terms(3), Verdict.TO_ORDER),
        ([ordered("a", 15)], Terms(3), Verdict.LATE),
        ([ordered("a", 15)], Terms(30), Verdict.ORDER_LATE),
        ([ordered("a", None)], Terms(30), Verdict.DAY_UNKNOWN),
        ([ordered("a", None)], None, Verdict.ASK),
    ],
)
def test_several_sources_are_as_good_as_the_worst(supplies, terms, verdict):
    met = one(supplies, terms, quantity=2)
    assert met.verdict == met.verdicts[0] == verdict
    assert len(met.verdicts) == 2


def test_what_another_ordered_today_would_do_is_said_of_the_late():
    met = one([ordered("a", 30)], Terms(4))
    assert (met.verdict, met.late_days, met.fresh_on, met.short) == (Verdict.LATE, 20, day(4), 0)
    assert one([ordered("a", 5)], Terms(4)).fresh_on is None


def test_wants_are_served_by_priority_then_day_then_key():
    wants = [want("c", by=1), want("b", by=5), want("a", by=5), want("d", by=9, priority=1)]
    met = net(wants, [aboard("x", 3)], {}, TODAY)
    assert list(met) == ["d", "c", "a", "b"]
    assert [found.short for found in met.values()] == [0, 0, 0, 1]


def test_what_is_reserved_goes_first_to_its_own():
    wants = [want("first", group="rig", priority=1), want("own", group="mast", priority=3)]
    for name in ("own", "mast"):
        met = net(wants, [aboard("x", reserved_for=name)], {}, TODAY)
        assert (met["first"].short, taken(met["own"])) == (1, [("x", 1)])


def test_what_its_own_does_not_need_is_free_unless_set_aside_firmly():
    wants = [want("first", 3, group="rig", priority=1), want("own", 2, group="mast", priority=3)]
    soft = net(wants, [aboard("x", 4, reserved_for="mast")], {}, TODAY)
    firm = net(wants, [aboard("x", 4, reserved_for="mast", firm=True)], {}, TODAY)
    assert (taken(soft["first"]), taken(soft["own"])) == ([("x", 2)], [("x", 2)])
    assert (taken(firm["first"]), taken(firm["own"])) == ([], [("x", 2)])


def test_what_its_own_leaves_goes_to_an_earlier_want_that_is_short():
    # The mast's own comes too late for it and it finds another here; the rig can wait for the late one.
    wants = [
        want("rig", group="rig", by=40, priority=1, accepts=(NEW_BOLT,)),
        want("mast", group="mast", by=5),
    ]
    wants[1] = want("mast", group="mast", by=5, accepts=(BOLT, NEW_BOLT))
    late = ordered("late", 20, part=NEW_BOLT, reserved_for="mast")
    met = net(wants, [late, aboard("here")], {}, TODAY)
    assert (taken(met["mast"]), taken(met["rig"])) == ([("here", 1)], [("late", 1)])


def test_its_own_comes_before_what_is_nearer_if_it_is_in_time():
    both = [aboard("free"), ordered("own", 9, reserved_for="job")]
    assert taken(one(both)) == [("own", 1)]
    assert taken(one([aboard("free"), ordered("own", 11, reserved_for="job")])) == [("free", 1)]


def test_nothing_is_reserved_for_a_name_that_nobody_has():
    assert taken(one([aboard("x", reserved_for="gone")])) == [("x", 1)]
    assert taken(one([aboard("x", reserved_for="gone", firm=True)])) == []
    assert taken(one([aboard("x", firm=True)])) == []


@pytest.mark.parametrize(
    ("supplied", "by", "used"),
    [
        (aboard("a", good_until=day(10)), 10, True),  # good on the day itself
        (aboard("a", good_until=day(9)), 10, False),
        (ordered("a", 20, good_until=day(19)), 10, False),
        (ordered("a", 20, good_until=day(20)), 10, True),
        (ordered("a", None, good_until=day(10)), 10, True),
        (ordered("a", None, good_until=day(9)), 10, False),
        (aboard("a", good_until=day(-1)), -5, False),
    ],
)
def test_what_is_out_of_date_when_used_does_not_count(supplied, by, used):
    assert taken(one([supplied], by=by)) == ([("a", 1)] if used else [])


def test_what_expires_first_is_used_first():
    dated = [aboard("keeps"), aboard("soon", good_until=day(12)), aboard("later", good_until=day(90))]
    assert [key for key, _ in taken(one(dated, quantity=3))] == ["soon", "later", "keeps"]


def test_what_replaced_a_part_will_do_and_is_what_is_bought():
    wants = [want(quantity=3, accepts=(BOLT, NEW_BOLT))]
    supplies = [aboard("new", part=NEW_BOLT), aboard("old")]
    met = net(wants, supplies, {BOLT: Terms(1), NEW_BOLT: Terms(4)}, TODAY)["w"]
    assert taken(met) == [("old", 1), ("new", 1)]
    assert (met.buy, met.order_by, met.short) == (NEW_BOLT, day(6), 1)
    assert net([want()], [aboard("new", part=NEW_BOLT)], {}, TODAY)["w"].short == 1


@pytest.mark.parametrize(
    ("pieces", "length", "cut_from"),
    [
        ([("long", 50), ("right", 20), ("short", 17)], 18, "right"),
        ([("long", 50), ("exact", 18)], 18, "exact"),
        ([("short", 17), ("shorter", 17)], 18, None),
        ([("b", 20), ("a", 20)], 18, "a"),
    ],
)
def test_in_one_piece_is_cut_from_the_shortest_that_will_do(pieces, length, cut_from):
    met = net([rope(length=length)], [piece(*each) for each in pieces], {}, TODAY)["w"]
    assert taken(met) == ([(cut_from, length)] if cut_from else [])
    assert met.short == (0 if cut_from else length)


def test_a_cut_leaves_a_shorter_piece_for_others():
    wants = [rope("a", 18), rope("b", 18), rope("c", 14)]
    met = net(wants, [piece("drum", 50)], {}, TODAY)
    assert [taken(each) for each in met.values()] == [[("drum", 18)], [("drum", 18)], [("drum", 14)]]
    met = net([*wants, rope("d", 1)], [piece("drum", 50)], {}, TODAY)
    assert met["d"].short == 1


def test_metres_that_are_no_piece_do_not_make_one():
    assert net([rope(length=5)], [aboard("bits", 20, part=ROPE)], {}, TODAY)["w"].short == 5
    assert net([rope(length=5)], [aboard("enough", 0, part=ROPE, endless=True)], {}, TODAY)["w"].short == 5


@pytest.mark.parametrize(
    ("pieces", "length", "takes"),
    [
        ([("a", 5), ("b", 3), ("c", 9)], 4, [("a", 4)]),
        ([("a", 5), ("b", 3), ("c", 9)], 11, [("c", 9), ("b", 2)]),
        ([("a", 5), ("b", 3), ("c", 9)], 13, [("c", 9), ("a", 4)]),
        ([("a", 5), ("b", 3), ("c", 9)], 17, [("c", 9), ("a", 5), ("b", 3)]),
    ],
)
def test_with_joins_the_fewest_pieces_make_up_a_length(pieces, length, takes):
    found = net([rope(length=length, one_piece=False)], [piece(*each) for each in pieces], {}, TODAY)["w"]
    assert taken(found) == takes


def test_aboard_comes_before_the_better_length_ashore():
    met = net([rope(length=5)], [piece("long", 30), piece("exact", 5, Source.ASHORE)], {}, TODAY)["w"]
    assert taken(met) == [("long", 5)]


def test_a_piece_held_for_a_job_may_be_cut_behind_what_it_needs():
    wants = [rope("first", 12, priority=1, group="rig"), rope("own", 18, group="mast")]
    for length, short in ((30, 0), (29, 12)):
        met = net(wants, [piece("drum", length, reserved_for="mast")], {}, TODAY)
        assert (met["first"].short, taken(met["own"])) == (short, [("drum", 18)])


def test_what_there_is_enough_of_serves_everybody():
    wants = [want(str(number), 1000) for number in range(20)]
    met = net(wants, [aboard("tin", 0, endless=True)], {}, TODAY)
    assert {each.verdict for each in met.values()} == {Verdict.HERE}
    firm = net(wants, [aboard("tin", 0, endless=True, firm=True, reserved_for="other")], {}, TODAY)
    assert {each.verdict for each in firm.values()} == {Verdict.ASK}


def test_what_is_kept_by_level_needs_no_quantity():
    wants = [want(str(number), quantity, bulk=True) for number, quantity in enumerate((0, 5, 1))]
    met = net(wants, [ordered("line", 4)], {}, TODAY)
    assert {each.verdict for each in met.values()} == {Verdict.IN_TIME}
    gone = net(wants, [], {BOLT: Terms(3)}, TODAY)
    assert [(each.verdict, each.short) for each in gone.values()] == [
        (Verdict.TO_ORDER, 1),
        (Verdict.TO_ORDER, 5),
        (Verdict.TO_ORDER, 1),
    ]


def test_nothing_wanted_is_here():
    met = one([aboard("a")], quantity=0)
    assert (met.verdict, met.takes, met.short, met.ready_on) == (Verdict.HERE, (), 0, TODAY)
    assert net([], [aboard("a")], {}, TODAY) == {}


@pytest.mark.parametrize(
    ("wants", "supplies", "code"),
    [
        ([want(), want()], [], "twice"),
        ([want()], [aboard("a"), aboard("a")], "twice"),
        ([want(quantity=-1)], [], "negative"),
        ([want()], [aboard("a", -1)], "negative"),
        ([want(quantity="NaN")], [], "negative"),
        ([want(accepts=())], [], "no_part"),
    ],
)
def test_what_cannot_be_netted_is_refused(wants, supplies, code):
    with pytest.raises(NettingProblem) as refused:
        net(wants, supplies, {}, TODAY)
    assert refused.value.code == code


def test_the_day_of_a_supply_is_never_in_the_past():
    assert day_of(ashore("a", on=-30), TODAY) == TODAY
    assert day_of(away("a", -2), TODAY) == TODAY
    assert day_of(ordered("a", 0), TODAY) == TODAY
    assert day_of(ordered("a", -1), TODAY) is None


def test_the_number_of_late_wants_is_not_made_the_least():
    # Served in order, both are late, by 1 and by 10; giving the second what comes on the 5th would leave one late, by
    # 16. The greatest lateness is what the rule makes small.
    wants = [want("a", by=4), want("b", by=10)]
    met = net(wants, [ordered("x", 5), ordered("y", 20)], {}, TODAY)
    assert [each.late_days for each in met.values()] == [1, 10]
