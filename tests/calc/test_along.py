"""Areas told by their names run from bow to stern."""

import pytest

from refit.calc.along import AMIDSHIPS, along


def test_the_areas_of_a_boat_stand_from_bow_to_stern():
    names = ["Lazarette", "Galley", "Cockpit", "Forepeak", "Engine space", "Deck", "Saloon", "Fore cabin"]
    assert sorted(names, key=along) == [
        "Forepeak",
        "Fore cabin",
        "Saloon",
        "Galley",
        "Engine space",
        "Cockpit",
        "Lazarette",
        "Deck",
    ]


@pytest.mark.parametrize("name", ["", "Saatkammer", "Room 3", "<script>"])
def test_what_is_called_otherwise_stands_amidships(name):
    assert along(name) == AMIDSHIPS


@pytest.mark.parametrize(
    ("name", "same"), [("AFT CABIN", "aft-cabin"), ("Fo’c’sle", "focsle"), ("Fore-peak", "Forepeak")]
)
def test_case_hyphens_and_apostrophes_do_not_matter(name, same):
    assert along(name) == along(same) != AMIDSHIPS


def test_the_aft_cabin_lies_aft_of_the_fore_cabin_and_the_heads_lie_forward():
    assert along("Fore cabin") < along("Heads") < along("Saloon") < along("Aft cabin")
