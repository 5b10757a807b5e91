"""Curves over months as an SVG drawing that stands alone: no script, nothing fetched, legible on dark and light.

Decides how the drawing looks; what is drawn comes ready, in whole minor units. Each curve has a pattern of strokes
of its own, so that nothing hangs on colour.
"""

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import pygal
from pygal.style import Style

from refit.calc.money import from_minor

# The library hooks itself into every import, in a way that Python 3.11 warns of; nothing here needs the hook.
sys.meta_path[:] = [finder for finder in sys.meta_path if type(finder).__module__ != "pygal"]


@dataclass(frozen=True)
class Curve:
    """One curve: its name, its amounts (None where there is none), and its strokes (empty: drawn through)."""

    name: str
    amounts: Sequence[int | None]
    strokes: str = ""


@dataclass(frozen=True)
class Ground:
    """What the drawing lies on: the colours of its words, lines and curves."""

    words: str
    lines: str
    curves: tuple[str, ...]


@dataclass(frozen=True)
class Size:
    """How large it is drawn, in px, with letters that stay legible at that size."""

    width: int
    height: int
    letters: int
    columns: int  # of the legend
    months: int  # written out under the drawing at most


LIGHT = Ground("#1b2024", "#5c6670", ("#0b5fa5", "#8a4b00", "#2f6b1f", "#8c1d5b", "#3d3d3d"))
DARK = Ground("#e8ecef", "#9aa5ae", ("#7cc0ff", "#ffb561", "#9bd884", "#ff9fce", "#d0d0d0"))
WIDE = Size(960, 460, 15, 5, 12)
NARROW = Size(420, 440, 14, 3, 4)


def curves(months: Sequence[str], drawn: Sequence[Curve], currency: str, ground: Ground, size: Size) -> bytes:
    """Draw curves over months (`Mar 2026`) as SVG; amounts are minor units of the currency."""
    style = Style(
        background="transparent",
        plot_background="transparent",
        foreground=ground.words,
        foreground_strong=ground.words,
        foreground_subtle=ground.lines,
        guide_stroke_color=ground.lines,
        major_guide_stroke_color=ground.lines,
        colors=ground.curves,
        font_family="system-ui, sans-serif",
        label_font_size=size.letters,
        major_label_font_size=size.letters,
        legend_font_size=size.letters,
        no_data_font_size=size.letters,
        stroke_width="2.5",
        transition="0s",
    )
    chart = pygal.Line(
        style=style,
        width=size.width,
        height=size.height,
        explicit_size=True,
        js=[],
        include_x_axis=True,
        show_dots=len(months) < 2,  # a single month is no curve yet
        show_minor_x_labels=False,
        legend_at_bottom=True,
        legend_at_bottom_columns=size.columns,
        legend_box_size=size.letters,
        truncate_legend=-1,
        truncate_label=-1,
        margin=8,
        margin_right=3 * size.letters,  # half of the last month's name
        margin_bottom=size.letters * -(-len(drawn) // size.columns),  # else the last row of names is cut
        max_scale=8,
        value_formatter=lambda value: f"{value:,.0f}",
        no_data_text="Nothing ordered yet",
    )
    chart.x_labels = list(months)
    step = -(-len(months) // size.months) if months else 1
    chart.x_labels_major = list(months)[::-step][::-1]
    for curve in drawn:
        chart.add(
            curve.name,
            [_major(amount, currency) for amount in curve.amounts],
            stroke_style={"width": 3, "dasharray": curve.strokes} if curve.strokes else {"width": 3},
        )
    chart.add_xml_filter(_without_script)
    drawing: bytes = chart.render()
    return drawing


def _major(amount: int | None, currency: str) -> float | None:
    """Return an amount as the drawing takes it; nothing is reckoned with it."""
    return None if amount is None else float(from_minor(amount, currency))


def _without_script(root: Any) -> Any:
    """Take the library's own script and remarks off: an image runs none, and nothing in it points elsewhere."""
    for parent in list(root.iter()):
        for child in list(parent):
            if not isinstance(child.tag, str) or child.tag.rpartition("}")[2] == "script":
                parent.remove(child)
    return root
