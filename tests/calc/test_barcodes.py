"""Numbers of barcodes, on the worked example of GS1 (6291041500213) and on its rule for the check figure
(GS1 General Specifications, section 7.9), written out here a second time.
"""

import pytest

from refit.calc.barcodes import BarcodeProblem, gtin, is_gtin


def check_figure(figures: str) -> str:
    """Weigh from the right by 3 and 1 and fill up to ten (GS1 General Specifications, 7.9)."""
    total = sum(int(figure) * (3 if at % 2 == 0 else 1) for at, figure in enumerate(reversed(figures)))
    return str(-total % 10)


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("6291041500213", "6291041500213"),
        ("629 1041-500213", "6291041500213"),
        ("614141123452", "0614141123452"),
        ("0614141123452", "0614141123452"),
        ("12345670", "12345670"),
    ],
)
def test_a_barcode_is_kept_in_one_form(typed, kept):
    assert gtin(typed) == kept
    assert is_gtin(typed)


@pytest.mark.parametrize("payload", ["1234567", "61414112345", "629104150021", "1629104150021"])
def test_every_wrong_last_figure_is_refused(payload):
    right = check_figure(payload)
    for figure in "0123456789":
        assert is_gtin(payload + figure) == (figure == right)


@pytest.mark.parametrize(
    ("typed", "code"),
    [
        ("6291041500214", "check"),
        ("", "length"),
        ("629104150021", "check"),
        ("12345", "length"),
        ("629104150021X", "length"),
        ("６２９１０４１５００２１３", "length"),
        ("9" * 100_000, "length"),
    ],
)
def test_what_is_no_barcode_is_said_kindly(typed, code):
    with pytest.raises(BarcodeProblem) as refused:
        gtin(typed)
    assert refused.value.code == code
    assert "barcode number" in str(refused.value)
    assert len(str(refused.value)) < 200
