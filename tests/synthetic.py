"""Sheets turned into pixels, and made-up photos of them, for the tests that must read what was printed.

A photo is a label lying on a mottled ground, seen at a slant, unevenly lit, blurred, noisy and squeezed into
a JPEG. The same seed gives the same photo.
"""

import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from refit.reports.labels import LabelRow, label_sheets, module_mm
from refit.reports.sheets import STOCKS
from tests.tools import need

LABEL_DPI = 300


def pages_of(pdf: bytes, dpi: int) -> list[np.ndarray]:
    """Render every page in greys with pdftoppm."""
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "sheet.pdf"
        source.write_bytes(pdf)
        target = Path(folder) / "page"
        subprocess.run([need("pdftoppm"), "-gray", "-r", str(dpi), str(source), str(target)], check=True)
        found = []
        for path in sorted(Path(folder).glob("page*.pgm")):
            with Image.open(path) as page:
                found.append(np.asarray(page).copy())
        return found


def text_of(pdf: bytes) -> str:
    """Take the words out of a PDF with pdftotext."""
    done = subprocess.run(
        [need("pdftotext"), "-layout", "-", "-"], input=pdf, capture_output=True, check=True
    )
    return done.stdout.decode()


def cell_of(page: np.ndarray, stock_key: str, place: int, dpi: int) -> np.ndarray:
    """Cut one label, counted from 0, out of a rendered sheet."""
    stock = STOCKS[stock_key]
    x, y = stock.cell(place)
    left, top = round(x / 25.4 * dpi), round(y / 25.4 * dpi)
    right, bottom = round((x + stock.label_w_mm) / 25.4 * dpi), round((y + stock.label_h_mm) / 25.4 * dpi)
    return page[top:bottom, left:right]


def label_pixels(row: LabelRow, stock_key: str = "a4-21") -> np.ndarray:
    """Print one label and cut it out at 300 dots to the inch."""
    return cell_of(pages_of(label_sheets([row], stock_key), LABEL_DPI)[0], stock_key, 0, LABEL_DPI)


@dataclass(frozen=True)
class Shot:
    """How a photo is taken. Lengths in the code's own squares as they come out in the photo."""

    megapixels: float = 2.0
    square_px: float = 6.0  # how many pixels of the photo one square of the code takes
    tilt: float = 20.0  # degrees out of square to the camera
    turn: float = 10.0  # degrees about the line of sight
    light: float = 0.6  # 1 is bright, 0.2 the inside of a locker
    noise: float = 5.0  # spread of the noise, of 255
    blur: float = 0.15  # spread of the blur, in squares
    quality: int = 85


def any_shot(rng: np.random.Generator) -> Shot:
    """Draw a photo such as people take: small or large, slanted, dim, noisy, a little blurred."""
    return Shot(
        megapixels=float(rng.choice([2, 2, 2, 3, 5, 8, 12])),
        square_px=float(rng.uniform(4, 10)),
        tilt=float(rng.uniform(0, 40)),
        turn=float(rng.uniform(-180, 180)),
        light=float(rng.uniform(0.2, 1)),
        noise=float(rng.uniform(2, 12)),
        blur=float(rng.uniform(0, 0.25)),
        quality=int(rng.integers(70, 92)),
    )


def photo_of(row: LabelRow, shot: Shot, seed: int, stock_key: str = "a4-21") -> bytes:
    """Photograph one label; gives a JPEG."""
    square = module_mm(stock_key, row.address) / 25.4 * LABEL_DPI
    return photo(label_pixels(row, stock_key), square, shot, seed)


def photo(label: np.ndarray, square: float, shot: Shot, seed: int) -> bytes:
    """Photograph a rendered label whose squares measure so many pixels; gives a JPEG."""
    rng = np.random.default_rng(seed)
    width = round((shot.megapixels * 1e6 * 4 / 3) ** 0.5)
    height = round(width * 3 / 4)
    scale = shot.square_px / square
    small = cv2.resize(label, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    onto = _seen(small.shape[1], small.shape[0], shot, rng, width, height)
    mottle = cv2.resize(rng.uniform(50, 130, (12, 16)).astype(np.float32), (width, height))
    scene = cv2.warpPerspective(
        small.astype(np.float32), onto, (width, height), mottle, borderMode=cv2.BORDER_TRANSPARENT
    )
    slope = rng.uniform(-0.3, 0.3, 2)
    across = 1 + slope[0] * np.linspace(-1, 1, width, dtype=np.float32)
    down = 1 + slope[1] * np.linspace(-1, 1, height, dtype=np.float32)
    scene *= np.float32(shot.light) * across[None, :] * down[:, None]
    if shot.blur:
        scene = cv2.GaussianBlur(scene, (0, 0), shot.blur * shot.square_px)
    scene += np.float32(shot.noise) * rng.standard_normal(scene.shape, dtype=np.float32)
    grey = np.clip(scene, 0, 255).astype(np.uint8)
    done, jpeg = cv2.imencode(".jpg", grey, [cv2.IMWRITE_JPEG_QUALITY, shot.quality])
    assert done
    return jpeg.tobytes()


def _seen(
    label_w: int, label_h: int, shot: Shot, rng: np.random.Generator, width: int, height: int
) -> np.ndarray:
    """Find the perspective of a flat label, tilted about an axis in its plane, near the middle."""
    tilt, turn, axis = np.radians(shot.tilt), np.radians(shot.turn), rng.uniform(0, np.pi)
    ux, uy = np.cos(axis), np.sin(axis)
    lean = cv2.Rodrigues(np.array([ux, uy, 0.0]) * tilt)[0] @ cv2.Rodrigues(np.array([0, 0, 1.0]) * turn)[0]
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [label_w / 2, label_h / 2]
    solid = np.column_stack([corners, np.zeros(4)]) @ lean.T
    far = 2.5 * np.hypot(label_w, label_h)
    seen = solid[:, :2] * (far / (far + solid[:, 2]))[:, None]
    spare = np.maximum(np.array([width, height]) / 2 - np.abs(seen).max(axis=0), 0)
    seen += np.array([width, height]) / 2 + rng.uniform(-0.7, 0.7, 2) * spare
    flat = np.array([[0, 0], [label_w, 0], [label_w, label_h], [0, label_h]], np.float32)
    return cv2.getPerspectiveTransform(flat, seen.astype(np.float32))
