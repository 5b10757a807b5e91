from itertools import product

import pytest

from refit.calc.cautions import CLASSES, NAMES, caution, segregation

# IMDG Code 7.2.4, general segregation table, as two independent copies print it (older editions); one row a
# class, columns 2.1 2.2 3 4.1 5.1 5.2 6.1 8 9.
PUBLISHED = {
    "2.1": "XX2122X1X",
    "2.2": "XX1XX1XXX",
    "3": "21XX22XXX",
    "4.1": "1XXX12X1X",
    "5.1": "2X21X212X",
    "5.2": "21222X12X",
    "6.1": "XXXX11XXX",
    "8": "1XX122XXX",
    "9": "XXXXXXXXX",
}


def test_the_table_is_the_published_one():
    for a, b in product(CLASSES, repeat=2):
        assert segregation(a, b) == PUBLISHED[a][CLASSES.index(b)]
    assert set(NAMES) == set(CLASSES) == set(PUBLISHED)


def test_the_table_reads_the_same_both_ways():
    for a, b in product(CLASSES, repeat=2):
        assert segregation(a, b) == segregation(b, a)
    assert {segregation(a, a) for a in CLASSES} == {"X"}


def test_hardener_near_resin_gives_a_caution():
    said = caution("5.2", "3")
    assert said.startswith("Organic peroxide (5.2) and flammable liquid (3): stow them well apart")


@pytest.mark.parametrize(("a", "b"), [("7", "3"), ("3", ""), ("", ""), ("4.3", "9"), ("petrol", "8")])
def test_an_unknown_class_is_never_passed_over(a, b):
    assert "no rule known" in caution(a, b)
    with pytest.raises(ValueError, match="no rule known"):
        segregation(a, b)


def test_every_caution_defers_and_none_says_safe():
    for a, b in product([*CLASSES, "7", ""], repeat=2):
        said = caution(a, b)
        assert said.endswith("Follow the makers' safety sheets and the local rules.")
        assert "safe" not in said.replace("does not mean they are safe", "").replace("safety sheets", "")
    assert "check the entry" in caution("9", "9")
