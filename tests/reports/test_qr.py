"""The QR code against ISO/IEC 18004 and the capacities that two makers publish."""

import numpy as np
import pytest
import zxingcpp

from refit.reports import qr
from refit.reports.sheets import STOCKS

# Alphanumeric characters at error correction Q: the inventor's tables (DENSO WAVE) and a Panasonic manual.
CAPACITY_Q = [(1, 16), (2, 29), (3, 47), (4, 67)]


@pytest.mark.parametrize(("version", "most"), CAPACITY_Q)
def test_the_smallest_version_that_holds_the_address(version, most):
    full, over = qr.matrix("A" * most), qr.matrix("A" * (most + 1))
    assert qr.version(full) == version
    assert qr.version(over) == version + 1
    # ISO/IEC 18004: 17 + 4v modules a side, and four of white on both sides.
    assert len(full) == 17 + 4 * version
    assert all(len(row) == 17 + 4 * version for row in full)
    assert qr.modules_with_quiet(full) == 17 + 4 * version + 8


def test_finder_patterns_stand_in_three_corners():
    squares = np.array(qr.matrix("HTTP://BOAT.LOCAL:8000/L/AB3K"))
    finder = np.ones((7, 7), bool)
    finder[1:6, 1:6] = False
    finder[2:5, 2:5] = True
    for corner in (squares[:7, :7], squares[:7, -7:], squares[-7:, :7]):
        assert (corner == finder).all()


@pytest.mark.parametrize(
    "address", ["http://boat.local:8000/L/AB3K", "HTTPS://KITTIWAKE-OF-MYLOR.LOCAL/L/7K29"]
)
def test_reads_back_in_capitals_with_correction_q(address):
    squares = np.array(qr.matrix(address))
    picture = np.kron(np.pad(~squares, 4, constant_values=True), np.ones((6, 6))).astype(np.uint8) * 255
    (code,) = zxingcpp.read_barcodes(picture)
    assert code.text == address.upper()
    assert code.ec_level == "Q"


@pytest.mark.parametrize(
    "address", ["", "HTTP://MY_BOAT/L/AB3K", "http://[fe80::1]/L/AB3K", "http://ø/L/AB3K"]
)
def test_refuses_what_needs_the_larger_encoding(address):
    with pytest.raises(qr.AddressProblem, match="can't go on a label"):
        qr.matrix(address)


def test_refuses_an_endless_address():
    with pytest.raises(qr.AddressProblem, match="5000 characters"):
        qr.matrix("A" * 5000)


def test_runs_draw_every_dark_square_once():
    squares = np.array(qr.matrix("HTTP://BOAT.LOCAL:8000/L/AB3K"))
    drawn = np.zeros(squares.shape, int)
    for row, col, length in qr.runs(squares.tolist()):
        drawn[row, col : col + length] += 1
    assert (drawn == squares).all()


@pytest.mark.parametrize("stock", STOCKS.values(), ids=list(STOCKS))
@pytest.mark.parametrize("side", [21, 25, 29, 33])
def test_the_module_is_as_large_as_fits(stock, side):
    module = qr.best_module_mm(stock, side)

    def fits(size):
        tile = (side + 8) * size
        return (
            tile <= stock.label_h_mm - 2 * qr.GUARD_MM
            and side * size <= stock.label_h_mm - 2 * stock.edge_mm
            and max(tile + qr.GUARD_MM, stock.edge_mm + (side + 4) * size)
            <= stock.label_w_mm - stock.edge_mm - stock.text_mm
        )

    assert fits(module - 1e-6)
    assert not fits(module + 0.011)
