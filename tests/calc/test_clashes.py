"""Works that endanger each other: who is beside whom, on which days, and that no caution promises safety."""

import re
from datetime import date
from itertools import product

import pytest

from refit.calc.clashes import ALONE, BESIDE, LINGER, Piece, Trait, cautions


def march(day):
    return date(2026, 3, day)


def piece(key, *traits, days=(2, 2), space="cabin", hands=None):
    return Piece(
        key, frozenset(traits), march(days[0]), march(days[1]), space, None if hands is None else march(hands)
    )


def pairs(*pieces):
    return [
        (one.rule, one.keys, one.first.day, one.last.day) for one in cautions(pieces) if len(one.keys) == 2
    ]


@pytest.mark.parametrize(
    ("one", "other", "rule"),
    [
        *(
            (Trait.HOT, other, "hot-beside-flammable")
            for other in (Trait.SOLVENT, Trait.RESIN, Trait.PAINT, Trait.FUEL, Trait.FOAM, Trait.GAS)
        ),
        (Trait.DUST, Trait.PAINT, "dust-beside-wet"),
        (Trait.DUST, Trait.RESIN, "dust-beside-wet"),
        (Trait.MAINS, Trait.WATER, "mains-beside-water"),
        (Trait.CONFINED, Trait.SOLVENT, "confined-beside-vapour"),
    ],
)
def test_works_that_endanger_each_other_are_named_whichever_comes_first(one, other, rule):
    for first, then in ((one, other), (other, one)):
        found = pairs(piece("a", first, days=(2, 5)), piece("b", then, days=(4, 9)))
        keys = ("a", "b") if first is one else ("b", "a")
        assert found == [(rule, keys, 4, 5)]


@pytest.mark.parametrize(
    "other",
    [
        piece("b", Trait.PAINT, days=(4, 5)),
        piece("b", Trait.PAINT, space="engine"),
        piece("b", Trait.RIGGING),
        piece("b"),
    ],
)
def test_another_day_another_space_or_harmless_work_is_no_pair(other):
    assert pairs(piece("a", Trait.HOT, days=(2, 3)), other) == []


def test_paint_is_wet_until_it_has_cured_but_dust_ends_with_the_hands():
    paint = piece("paint", Trait.PAINT, days=(2, 9), hands=3)
    assert pairs(paint, piece("grind", Trait.DUST, days=(7, 12))) == [
        ("dust-beside-wet", ("grind", "paint"), 7, 9)
    ]
    dusty = piece("sand", Trait.DUST, Trait.PAINT, days=(2, 9), hands=3)
    assert pairs(dusty, piece("lay up", Trait.RESIN, days=(4, 5))) == []
    assert pairs(dusty, piece("lay up", Trait.RESIN, days=(3, 5))) == [
        ("dust-beside-wet", ("sand", "lay up"), 3, 3)
    ]


def test_one_caution_lists_all_that_may_burn():
    (found,) = [
        one
        for one in cautions([piece("weld", Trait.HOT), piece("tank", Trait.FUEL, Trait.FOAM)])
        if len(one.keys) == 2
    ]
    assert found.sentence.startswith("Hot work beside fuel and foam: sparks")
    assert "fire watch" in found.sentence
    assert "from memory" in found.source


def test_each_in_the_way_of_the_other_gives_both():
    found = pairs(piece("a", Trait.HOT, Trait.PAINT), piece("b", Trait.HOT, Trait.PAINT))
    assert [one[1] for one in found] == [("a", "b"), ("b", "a")]


def test_where_nobody_said_where_it_may_be_the_same_space():
    for spaces in ((None, "cabin"), ("cabin", None), (None, None)):
        made = [piece("a", Trait.HOT, space=spaces[0]), piece("b", Trait.FUEL, space=spaces[1])]
        (found,) = [one for one in cautions(made) if len(one.keys) == 2]
        assert not found.place_known
        assert "Nobody said where" in found.sentence
    (known,) = [
        one for one in cautions([piece("a", Trait.HOT), piece("b", Trait.FUEL)]) if len(one.keys) == 2
    ]
    assert known.place_known


def test_one_job_can_endanger_itself():
    found = cautions([piece("a", Trait.HOT, Trait.SOLVENT, days=(2, 6), hands=4)])
    assert ("hot-beside-flammable", ("a",), 4) in [(one.rule, one.keys, one.last.day) for one in found]


@pytest.mark.parametrize(
    ("trait", "word"),
    [
        (Trait.GAS, "competent person"),
        (Trait.MAINS, "competent person"),
        (Trait.LITHIUM, "competent person"),
        (Trait.RIGGING, "competent person"),
        (Trait.STEERING, "competent person"),
        (Trait.LIFTING, "competent person"),
        (Trait.HULL, "competent person"),
        (Trait.CONFINED, "never work in it alone"),
        (Trait.HOT, "fire watch"),
    ],
)
def test_dangerous_by_itself(trait, word):
    (found,) = cautions([piece("a", trait, days=(2, 5), hands=3)])
    assert (found.keys, found.last.day) == (("a",), 5 if trait in LINGER else 3)
    assert word in found.sentence
    assert "makers' instructions and the local rules" in found.sentence


def test_no_caution_promises_safety_and_each_says_where_it_comes_from():
    made = [
        piece(f"{one}-{other}", one, other, space=f"{one}-{other}") for one, other in product(Trait, Trait)
    ]
    for caution in cautions(made):
        assert not re.search(r"\bsafe(ly)?\b|no danger|harmless", caution.sentence)
        assert caution.source.endswith(("(from memory)", "no source"))
        assert caution.first <= caution.last
    assert {rule.rule for rule in BESIDE} | set(ALONE) == {caution.rule for caution in cautions(made)}
