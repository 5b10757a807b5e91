import random
from itertools import pairwise, product

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_2

from refit.calc import codes
from refit.calc.codes import ALPHABET, canonical, check_character, code_in, is_mintable, mint, mintable_count

SIGNS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*"
# Vectors of ISO/IEC 7064, MOD 37-2: the first ships with python-stdnum 2.2, the others were computed with it.
VECTORS = {
    "G123489654321": "Y",
    **{"AB3": "J", "7K2": "9", "F0R": "C", "000": "1", "ZZZ": "T", "AFT": "P", "P04": "F", "4XH": "P"},
    **{"9Q7": "X", "AB3K": "Y", "Z9Y8": "V", "00A": "I"},
}


def fits_the_standard(code):
    """Say whether the weighted sum of a code is 1 modulo 37, as ISO/IEC 7064 defines a valid string."""
    weighted = (SIGNS.index(letter) << place for place, letter in enumerate(reversed(code)))
    return sum(weighted) % 37 == 1


@pytest.fixture(scope="module")
def accepted():
    """Every string of four characters of the alphabet that `canonical` takes."""
    taken = set()
    for letters in product(ALPHABET, repeat=4):
        code = "".join(letters)
        try:
            taken.add(canonical(code))
        except ValueError:
            continue
    return taken


def test_the_alphabet_is_crockfords():
    assert set(SIGNS[:-1]) - set(ALPHABET) == set("ILOU")
    assert len(ALPHABET) == 32


@pytest.mark.parametrize(("payload", "check"), VECTORS.items())
def test_check_characters_are_those_of_the_standard(payload, check):
    assert check_character(payload) == check
    assert fits_the_standard(payload + check)


def test_what_is_accepted_is_what_the_standard_accepts(accepted):
    # 28,341 of the 32,768 payloads have a check character in the alphabet.
    assert len(accepted) == 28_341
    assert all(mod_37_2.is_valid(code) and fits_the_standard(code) for code in accepted)


# ISO/IEC 7064:2003 promises every single substitution; the counts below were found with python-stdnum 2.2.
def test_every_single_wrong_character_is_refused(accepted):
    tried = missed = 0
    for code in accepted:
        for place, right in enumerate(code):
            before, after = code[:place], code[place + 1 :]
            for wrong in ALPHABET:
                if wrong != right:
                    tried += 1
                    missed += before + wrong + after in accepted
    assert (tried, missed) == (3_514_284, 0)


@pytest.mark.parametrize(("distance", "swaps"), [(1, 82_363), (2, 54_912), (3, 27_456)])
def test_every_swap_is_refused(accepted, distance, swaps):
    tried = missed = 0
    for code in accepted:
        for place in range(4 - distance):
            if code[place] != code[place + distance]:
                swapped = list(code)
                swapped[place], swapped[place + distance] = code[place + distance], code[place]
                tried += 1
                missed += "".join(swapped) in accepted
    assert (tried, missed) == (swaps, 0)


def test_every_change_of_twins_is_refused(accepted):
    tried = missed = 0
    for code in accepted:
        for place, (left, right) in enumerate(pairwise(code)):
            if left == right:
                for wrong in ALPHABET:
                    if wrong != left:
                        tried += 1
                        missed += code[:place] + wrong * 2 + code[place + 2 :] in accepted
    assert (tried, missed) == (82_460, 0)


@pytest.mark.parametrize(
    ("typed", "code"),
    [
        ("f0rc", "F0RC"),
        ("FORC", "F0RC"),
        (" f o-r c ", "F0RC"),
        ("F0\u2011RC", "F0RC"),
        ("AB3KY", "AB3KY"),
        ("oool", "0001"),
        ("OOOi", "0001"),
        ("0-0-0-1", "0001"),
        ("z9y8v", "Z9Y8V"),
    ],
)
def test_look_alikes_case_and_blanks_fold(typed, code):
    assert canonical(typed) == code


@pytest.mark.parametrize(
    "typed",
    [
        "",
        "F0R",
        "F0RD",
        "FUR*",
        "F0R*",
        "00AI",
        "00A1",
        "F0RCC0",
        "ſ0RC",
        "\uff26\uff10\uff32\uff23",
        "F0R\0",
        "ı001",
        "F0RC" * 1000,
        "\ud800F0RC",
        "F/RC",
    ],
)
def test_what_is_no_code_is_refused_in_a_sentence(typed):
    with pytest.raises(ValueError, match="is not a label code") as refused:
        canonical(typed)
    assert len(str(refused.value)) < 150
    assert str(refused.value).encode()


@given(st.text(max_size=12))
def test_canonical_is_its_own_result_or_a_value_error(text):
    try:
        code = canonical(text)
    except ValueError:
        return
    assert canonical(code) == code
    assert mod_37_2.is_valid(code)


@pytest.mark.parametrize(
    ("payload", "allowed"),
    [("F0R", True), ("AB3K", True), ("000", False), ("00A", False), ("U00", False), ("ASS", False)],
)
def test_payloads_that_may_be_printed(payload, allowed):
    assert is_mintable(payload + check_character(payload)) is allowed


def mangled(code):
    """Say whether a code looks like a whole number or a number with an exponent."""
    try:
        float(code)
    except ValueError:
        return False
    return True


def test_every_code_that_may_be_made_is_plain_and_safe_in_a_spreadsheet(accepted):
    made = {code for code in accepted if is_mintable(code)}
    assert len(made) == mintable_count(3) == codes.FOUR_CHARACTER_CODES
    assert not any(mangled(code) for code in made)
    assert any(mangled(code) for code in accepted)
    assert not any(set(code) & set("ILOU*") for code in made)
    months = {code for code in accepted if code[:3] in ("MAR", "MAY") or code[1:] in ("MAR", "DEC")}
    assert not {code for code in months if any(letter.isdigit() for letter in code)} & made
    # Next to nothing is given up for it.
    assert len(made) > 0.98 * len(accepted)


def test_codes_grow_once_half_of_the_short_ones_are_used():
    half = mintable_count(3) / 2
    assert codes.payload_length_for(0) == 3
    assert codes.payload_length_for(int(half) - 1) == 3
    assert codes.payload_length_for(int(half) + 1) == 4


@pytest.mark.parametrize("payload_length", [3, 4])
def test_new_codes_are_mintable_and_new(payload_length):
    below, taken = random.Random(4).randrange, set()
    for _ in range(300):
        code = mint(below, taken, payload_length)
        assert is_mintable(code)
        assert len(code) == payload_length + 1
        assert code not in taken
        assert canonical(code.lower()) == code
        taken.add(code)


def test_the_last_free_code_is_found_and_then_none(accepted):
    taken = {code for code in accepted if is_mintable(code)} - {"F0RC"}
    below = random.Random(4).randrange
    assert mint(below, taken, 3) == "F0RC"
    with pytest.raises(ValueError, match="All label codes of 4 characters are used"):
        mint(below, taken | {"F0RC"}, 3)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("HTTP://BOAT.LOCAL:8000/L/F0RC", "F0RC"),
        ("https://other.example/l/f0rc/", "F0RC"),
        ("http://192.168.1.7:8000/L/F0RC?x=1#top", "F0RC"),
        ("http://boat.local/deep/down/L/for-c", "F0RC"),
        ("/L/F0RC", "F0RC"),
        ("  F0RC\n", "F0RC"),
        ("L/AB3KY", "AB3KY"),
        ("http://boat.local/L/F%30RC", "F0RC"),
        ("http://boat.local/L/F0RD", None),
        ("http://boat.local/L/", None),
        ("http://boat.local/kittiwake/parts/7/", None),
        ("http://boat.local/accounts/login/?next=/L/F0RC", None),
        ("http://[boat/L/F0RC", "F0RC"),
        ("4006381333931", None),
        ("", None),
        ("/L/" * 40_000, None),
    ],
)
def test_codes_are_found_in_what_a_scanner_gives(text, code):
    assert code_in(text) == code


@given(st.text())
def test_any_text_gives_a_code_or_none(text):
    code = code_in(text)
    assert code is None or canonical(code) == code
