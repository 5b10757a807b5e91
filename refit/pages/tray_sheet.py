"""The tray: what waits in it, and which order each paper most likely belongs to; pictures of papers made to be shown.

A guess is only an order of the choices: the person decides.
"""

import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.paginator import Paginator
from django.db.models import Exists, OuterRef
from django.utils import timezone

from refit.boat.actions.papers import file_of
from refit.boat.models import Boat, Paper
from refit.boat.pictures import SHOWN_EDGE, thumbnail
from refit.boat.rights import Right
from refit.buying.models import Order, OrderPaper, OrderState
from refit.calc.text import fold
from refit.pages import seeing

A_PAGE = 24
RECENT = 30
EDGE = 480
NEAR = timedelta(days=4)


@dataclass(frozen=True)
class Tile:
    """One receipt in the tray, with the recent orders, the best guess first."""

    paper: Paper
    guess: Order | None
    orders: list[Order]


def tray_of(boat: Boat, page: str | None) -> dict[str, Any]:
    """Return what the tray's page shows, in a fixed number of queries."""
    waiting = Paper.objects.filter(boat=boat, in_tray=True).order_by("-number")
    shown = Paginator(waiting, A_PAGE).get_page(page)
    recent = recent_orders(boat)
    return {
        "page": shown,
        "waiting": shown.paginator.count,
        "tiles": [_tile(paper, recent) for paper in shown.object_list],
        "without_order": list(ownerless(boat)[:12]),
    }


def recent_orders(boat: Boat) -> list[Order]:
    """Return the newest orders that a receipt may belong to, each knowing whether it has a paper."""
    papers = OrderPaper.objects.filter(order=OuterRef("pk"))
    found = Order.objects.filter(boat=boat).exclude(state=OrderState.CANCELLED)
    return list(
        found.select_related("supplier").annotate(has_paper=Exists(papers)).order_by("-number")[:RECENT]
    )


def ownerless(boat: Boat) -> Any:
    """Return the papers that were sorted out of the tray and belong to nothing, the newest first."""
    return Paper.objects.filter(seeing.loose(), boat=boat, in_tray=False).order_by("-number")


def in_tray(request: Any) -> int:
    """Return how many papers wait in the tray, for those who sort it."""
    if Right.BUY not in request.rights:
        return 0
    return Paper.objects.filter(boat=request.boat, in_tray=True).count()


def best_first(name: str, day: date, orders: Sequence[Order]) -> list[Order]:
    """Return the orders with the best guess first: named in the file's name, without a paper, of that day."""
    return sorted(orders, key=lambda order: (-_fit(name, day, order), -order.number))


def _fit(name: str, day: date, order: Order) -> int:
    folded = fold(name)
    fit = 0
    if len(order.reference) >= 3 and fold(order.reference) in folded:
        fit += 8
    if len(order.supplier.folded) >= 3 and order.supplier.folded in folded:
        fit += 4
    if not getattr(order, "has_paper", False):
        fit += 2
    if order.ordered_on and abs(order.ordered_on - day) <= NEAR:
        fit += 1
    return fit


def _tile(paper: Paper, recent: list[Order]) -> Tile:
    ordered = best_first(paper.name, timezone.localdate(paper.added_at), recent)
    return Tile(paper, ordered[0] if ordered else None, ordered[1:])


def small_picture(paper: Paper) -> bytes | None:
    """Return a small JPEG of a photo; made once, then kept beside the papers. None if its file is gone."""
    return _made_once(paper, "small", EDGE)


def shown_picture(paper: Paper) -> bytes | None:
    """Return a large JPEG of a photo that not every browser shows; made once, then kept. None if its file is gone."""
    return _made_once(paper, "shown", SHOWN_EDGE)


def _made_once(paper: Paper, folder: str, edge: int) -> bytes | None:
    kept = Path(settings.PAPERS_DIR) / folder / paper.sha256[:2] / f"{paper.sha256}.jpg"
    if kept.exists():
        return kept.read_bytes()
    source = file_of(paper)
    if not source.exists():
        return None
    made = thumbnail(source.read_bytes(), edge)
    kept.parent.mkdir(parents=True, exist_ok=True)
    half = kept.with_suffix(f".{os.getpid()}.half")
    half.write_bytes(made)
    os.replace(half, kept)
    return made
