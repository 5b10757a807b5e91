import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from refit.calc.problems import shown
from refit.calc.text import TextProblem, clean, clean_multiline, expand_marks, fold, natural_key

everything = st.text(alphabet=st.characters())


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("  Forepeak  ", "Forepeak"),
        ("two   blanks", "two blanks"),
        ("a\u00a0\u2009b", "a b"),
        ("line\n", "line"),
        ("A\u030angstro\u0308m", "Ångström"),
        ("abc\u202egpj.exe", "abcgpj.exe"),
        ("\u2067שלום\u2069", "שלום"),
        ("", ""),
        (" \u200b ", ""),
        ("Кубрик", "Кубрик"),
        ("00123", "00123"),
        ("<script>", "<script>"),
        ("👨‍🔧", "👨‍🔧"),
        ("\t=1", "=1"),
        ("\r=1", "=1"),
        ("\n=1", "=1"),
    ],  # openings of the OWASP page on CSV injection
)
def test_one_line_of_text_is_cleaned(text, kept):
    assert clean(text) == kept


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("a\0b", "nul"),
        ("\0", "nul"),
        ("a\x07b", "control"),
        ("a\x9fb", "control"),
        ("a\tb", "control"),
        ("a\nb", "control"),
        ("a\u2028b", "control"),
        ("\ud800", "surrogate"),
        ("a\udfff", "surrogate"),
        ("a\uffffb", "control"),
    ],
)
def test_what_cannot_be_kept_is_refused(text, code):
    with pytest.raises(TextProblem) as refused:
        clean(text)
    assert refused.value.code == code


def test_several_lines_keep_their_lines_and_tabs():
    assert (
        clean_multiline("\r\none\ttwo  \r\n\r\n  three\rfour\u2028five\n\n")
        == "one\ttwo\n\n  three\nfour\nfive"
    )
    for text, code in [("a\0", "nul"), ("a\x0b", "control"), ("\udc00", "surrogate")]:
        with pytest.raises(TextProblem) as refused:
            clean_multiline(text)
        assert refused.value.code == code


@given(everything)
def test_cleaning_twice_is_cleaning_once(text):
    for cleaning in (clean, clean_multiline):
        try:
            kept = cleaning(text)
        except TextProblem:
            continue
        assert cleaning(kept) == kept
        assert unicodedata.is_normalized("NFC", kept)
        assert kept.encode().decode() == kept


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("M8x40", "M8 × 40"),
        ("M8*40", "m8X40"),
        ("Ångström", "angstrom"),
        ("Ø 12", "o12"),
        ("Straße", "STRASSE"),
        ("læ", "LAE"),
        ("AB-12 34", "ab1234"),
        ("AB_12", "ab12"),
        ("3\u201130", "330"),
        ("ﬁlter", "FILTER"),
        ("Καθρέφτης", "ΚΑΘΡΕΦΤΗΣ"),
        ("10×20×30", "10x20x30"),
        ("1*2*3", "1x2x3"),
        ("Łódź", "lodz"),
    ],
)
def test_finding_sees_these_as_the_same(one, other):
    assert fold(one) == fold(other)


@pytest.mark.parametrize(
    ("one", "other"), [("AB1.2", "AB12"), ("1/2", "12"), ("00123", "123"), ("a*b", "axb"), ("S1", "S10")]
)
def test_finding_keeps_these_apart(one, other):
    assert fold(one) != fold(other)


@given(everything)
def test_folding_twice_is_folding_once(text):
    assert fold(fold(text)) == fold(text)


@given(everything)
def test_case_does_not_matter_to_finding(text):
    assert fold(text.casefold()) == fold(text)


def test_marks_sort_as_people_count():
    wanted = ["10", "P1", "S1", "s2", "S9a", "S10", "S10a", "S100", "S100000000", "Z"]
    assert sorted(reversed(wanted), key=natural_key) == wanted
    assert natural_key("S02") == natural_key(" s2 ")
    assert natural_key("S0") < natural_key("S1")


@given(st.integers(0, 10**8 - 1), st.integers(0, 10**8 - 1))
def test_numbers_in_marks_sort_by_size(one, other):
    assert (natural_key(f"S{one}a") < natural_key(f"S{other}a")) == (one < other)


@pytest.mark.parametrize(
    ("text", "places"),
    [
        ("P1-P3", [("P1", ""), ("P2", ""), ("P3", "")]),
        ("P1–3; S10a", [("P1", ""), ("P2", ""), ("P3", ""), ("S10a", "")]),
        ("S09-S11", [("S09", ""), ("S10", ""), ("S11", "")]),
        ("Forepeak, Lazarette", [("FOR", "Forepeak"), ("LAZ", "Lazarette")]),
        ("Forepeak\nFore hatch, Forward", [("FOR", "Forepeak"), ("FH", "Fore hatch"), ("FOR2", "Forward")]),
        ("Chart table, CT1, Cabin top", [("CT", "Chart table"), ("CT1", ""), ("CT2", "Cabin top")]),
        ("Cabin top, CT2, Chart table", [("CT", "Cabin top"), ("CT2", ""), ("CT3", "Chart table")]),
        ("S3 Saloon seat", [("S3", "Saloon seat")]),
        ("Cabin 2 locker", [("CL", "Cabin 2 locker")]),
        ("Port-side", [("POR", "Port-side")]),
        ("Øvre skap, Ящик", [("ØS", "Øvre skap"), ("ЯЩИ", "Ящик")]),
        (" , ;\n", []),
        ("", []),
        ("7", [("7", "")]),
    ],
)
def test_the_quick_list_becomes_places(text, places):
    assert expand_marks(text) == places


def test_the_usual_quick_list():
    places = expand_marks("P1-P6, S1-S6, Forepeak, Lazarette")
    assert [mark for mark, _ in places[:12]] == [f"{side}{number}" for side in "PS" for number in range(1, 7)]
    assert [name for _, name in places[12:]] == ["Forepeak", "Lazarette"]
    assert len(expand_marks("A1-A200")) == 200


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("P6-P1", "“P6-P1” runs backwards"),
        ("P1-S6", "“P1-S6” starts and ends with different letters"),
        ("P1-P201", "more than 200"),
        ("P1-P150, S1-S51", "more than 200"),
        ("P1-P99999999999", "too long"),
        ("P1-P3, p2", "“p2” is in the list twice"),
        ("P1, P1", "twice"),
        ("12345678", "no letters"),
        ("a\0b", "NUL"),
    ],
)
def test_a_quick_list_that_is_not_clear_is_refused_by_name(text, said):
    with pytest.raises(ValueError, match=said):
        expand_marks(text)


@given(st.lists(st.text(alphabet="abcØя 12-", max_size=9), max_size=20))
def test_marks_of_a_quick_list_are_unique(items):
    try:
        places = expand_marks(",".join(items))
    except ValueError:
        return
    marks = [mark.casefold() for mark, _ in places]
    assert len(set(marks)) == len(marks)
    assert all(marks)


def test_a_refused_value_is_shown_safely():
    assert shown("a\ud800\u202e\0b\u00a0c") == "“a\ufffd\ufffd\ufffdb c”"
    assert shown("x" * 41) == "“" + "x" * 40 + "…”"
