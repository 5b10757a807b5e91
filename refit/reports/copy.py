"""A read-only copy of lockers, find, fetch and town lists as one page that a phone keeps for where there is no signal.

Decides how the copy is written: one file with its style and script inside, which asks for nothing. The data stands in
it as JSON; where a viewer runs no script, the lists stand as plain text. Does not decide what is in it: the rows come
ready, and `carry.copy` fills them. `assets/copy_data.js` reads the JSON; the order of its columns is fixed in `_data`.
"""

import base64
import hashlib
import json
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from html import escape
from pathlib import Path
from typing import Any

from refit.calc.text import fold

ASSETS = Path(__file__).with_name("assets")
UNSAFE = {ord(letter): f"\\u{ord(letter):04x}" for letter in "<>&\u2028\u2029"}
OPENING = "Opening the copy. If this stays, the browser is too old for it: open the file in a newer one."
SCRIPTLESS = "This viewer runs no script, so the copy stands below as plain lists. Opened in a browser it has a find box."


@dataclass(frozen=True)
class CopyPlace:
    """A place: the code on its label is its key, the mark is what people say."""

    code: str
    mark: str
    name: str = ""
    area: str = ""
    where: str = ""  # words for what is not aboard, such as "away, 9 days"
    inside: str = ""  # the code of the place that it is in
    note: str = ""
    cautions: tuple[str, ...] = ()

    @property
    def plate(self) -> str:
        """Return what stands on the plate: the mark, or the name where there is none."""
        return self.mark or self.name


@dataclass(frozen=True)
class CopyPart:
    """A part and the numbers it goes by; `key` is any number that no other part has."""

    key: int
    name: str
    specification: str = ""
    numbers: tuple[str, ...] = ()
    unit: str = ""  # nothing for what is counted in ones


@dataclass(frozen=True)
class CopyHolding:
    """So much of a part in a place, in words; `bad` says why it may not be used. The day it runs out is its last good one."""

    part: int
    place: str
    quantity: str = ""
    level: str = ""
    lot: str = ""
    expires: date | None = None
    bad: str = ""


@dataclass(frozen=True)
class CopyFetchRow:
    """So much to take of a part from a place; `note` says what to mind."""

    place: str
    part: int
    quantity: str
    note: str = ""


@dataclass(frozen=True)
class CopyFetch:
    """What to fetch for one job, bow to stern."""

    number: int
    title: str
    state: str = ""
    rows: tuple[CopyFetchRow, ...] = ()


@dataclass(frozen=True)
class CopyTownRow:
    """One thing to buy in a shop."""

    part: str
    size: str = ""
    quantity: str = ""
    job: str = ""
    fits: str = ""


@dataclass(frozen=True)
class CopyTown:
    """What to buy in one shop; `words` say where it is and when it is open."""

    shop: str
    rows: tuple[CopyTownRow, ...] = ()
    words: str = ""


@dataclass(frozen=True)
class CopyBook:
    """All that the copy holds. Places stand bow to stern; `as_at` is in the boat's own hours and knows its zone."""

    identity: tuple[str, ...]  # the boat's name first
    as_at: datetime
    places: tuple[CopyPlace, ...] = ()
    parts: tuple[CopyPart, ...] = ()
    holdings: tuple[CopyHolding, ...] = ()
    fetch: tuple[CopyFetch, ...] = ()
    town: tuple[CopyTown, ...] = ()

    @property
    def boat(self) -> str:
        """Return the boat's name."""
        return self.identity[0]

    @property
    def stamp(self) -> str:
        """Return when it was made, as people write it."""
        return f"{self.as_at:%-d %b %Y, %H:%M}"


def html(book: CopyBook) -> bytes:
    """Return the copy as one page."""
    style, script = _style(), _script()
    pieces = (
        '<!doctype html>\n<html lang="en-GB">\n<head>\n<meta charset="utf-8">\n',
        f'<meta http-equiv="Content-Security-Policy" content="{policy()}">\n',
        '<meta name="viewport" content="width=device-width, initial-scale=1, viewport-fit=cover">\n',
        '<meta name="color-scheme" content="light dark">\n<meta name="referrer" content="no-referrer">\n',
        '<meta name="format-detection" content="telephone=no">\n<meta name="robots" content="noindex">\n',
        f"<title>{escape(book.boat)}, copy of {book.stamp}</title>\n<style>{style}</style>\n</head>\n<body>\n",
        '<header class="band"><div class="about">',
        f'<b class="boat"><bdi>{escape(book.boat)}</bdi></b>',
        f'<span>Copy of <time datetime="{book.as_at.isoformat()}">{book.stamp}</time>, read only',
        '<span id="age"></span></span></div><div id="find" role="search" hidden></div></header>\n',
        '<nav class="ways" id="ways" aria-label="Main" hidden></nav>\n',
        f'<main id="main" tabindex="-1"><p class="wait">{OPENING}</p><noscript>',
        *_plain(book),
        "</noscript></main>\n<footer>",
        *(f"<p><bdi>{escape(line)}</bdi></p>" for line in book.identity),
        "<p>Prepared by the owner, not verified.</p></footer>\n",
        f'<script type="application/json" id="data">{_json(_data(book))}</script>\n',
        f"<script>{script}</script>\n</body>\n</html>\n",
    )
    return "".join(pieces).encode("utf-8", "replace")


def policy() -> str:
    """Return the content policy of the page: its own style and its own script, and nothing else at all."""
    style, script = _sha256(_style()), _sha256(_script())
    return (
        f"default-src 'none'; style-src '{style}'; script-src '{script}'; base-uri 'none'; form-action 'none'"
    )


def _style() -> str:
    return (ASSETS / "copy.css").read_text(encoding="utf-8")


def _script() -> str:
    parts = ((ASSETS / f"copy_{name}.js").read_text(encoding="utf-8") for name in ("data", "views", "frame"))
    return f'"use strict";\n(() => {{\n{"".join(parts)}}})();\n'


def _sha256(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def _json(data: Any) -> str:
    """Return JSON that no name in it can end, and that is JavaScript too."""
    return json.dumps(data, ensure_ascii=False, separators=(",", ":")).translate(UNSAFE)


def _data(book: CopyBook) -> dict[str, Any]:
    """Return the book as rows; parts and places are named by where they stand in their lists."""
    place_at = {place.code: at for at, place in enumerate(book.places)}
    part_at = {part.key: at for at, part in enumerate(book.parts)}
    return {
        "boat": book.boat,
        "made": int(book.as_at.timestamp() * 1000),
        "places": [
            [
                place.code,
                place.mark,
                place.name,
                place.area,
                place.where,
                place_at.get(place.inside, -1),
                place.note,
                list(place.cautions),
                fold(place.mark),
                fold(f"{place.mark} {place.name}"),
            ]
            for place in book.places
        ],
        "parts": [
            [part.name, part.specification, list(part.numbers), part.unit, _search(part)]
            for part in book.parts
        ],
        "holdings": [
            [
                part_at[held.part],
                place_at[held.place],
                held.quantity,
                held.level,
                held.lot,
                held.expires.isoformat() if held.expires else "",
                held.bad,
            ]
            for held in book.holdings
        ],
        "fetch": [
            [
                job.number,
                job.title,
                job.state,
                [[place_at[row.place], part_at[row.part], row.quantity, row.note] for row in job.rows],
            ]
            for job in book.fetch
        ],
        "town": [
            [
                shop.shop,
                shop.words,
                [[row.part, row.size, row.quantity, row.job, row.fits] for row in shop.rows],
            ]
            for shop in book.town
        ],
    }


def _search(part: CopyPart) -> str:
    return "|".join(fold(word) for word in (part.name, part.specification, *part.numbers) if word)


def _plain(book: CopyBook) -> Iterator[str]:
    """Yield the lists as plain text, for viewers without script."""
    parts = {part.key: part for part in book.parts}
    places = {place.code: place for place in book.places}
    lying: dict[str, list[CopyHolding]] = defaultdict(list)
    for held in book.holdings:
        lying[held.place].append(held)
    yield f'<p class="care">{SCRIPTLESS}</p>'
    ways = [("lockers", "Lockers", True), ("fetch", "Fetch", book.fetch), ("town", "Town", book.town)]
    links = (f'<a class="back" href="#plain-{way}">{word}</a>' for way, word, rows in ways if rows)
    yield f'<p class="acts">{" ".join(links)}</p><h1 id="plain-lockers">Lockers</h1>'
    area = None
    for place in book.places:
        if place.area != area:
            area = place.area
            yield f"<h2>{escape(_joined(area, place.where))}</h2>" if area else ""
        yield f'<h3><span class="plate">{escape(place.plate)}</span> {escape(_named(place))}</h3>'
        yield from (f'<p class="care">{escape(caution)}</p>' for caution in place.cautions)
        yield _list(_held(parts[held.part], held) for held in lying[place.code])
    yield '<h1 id="plain-fetch">Fetch</h1>' if book.fetch else ""
    for job in book.fetch:
        yield f"<h2>Job {job.number}, {escape(job.title)}</h2>"
        yield _list(
            f"{places[row.place].plate}: {_joined(row.quantity, parts[row.part].name, row.note)}"
            for row in job.rows
        )
    yield '<h1 id="plain-town">Town</h1>' if book.town else ""
    for shop in book.town:
        yield f"<h2>{escape(_joined(shop.shop, shop.words))}</h2>"
        yield _list(_joined(row.quantity, row.part, row.size, row.fits, row.job) for row in shop.rows)


def _list(lines: Iterable[str]) -> str:
    return "<ul>" + "".join(f"<li>{escape(line)}</li>" for line in lines) + "</ul>"


def _named(place: CopyPlace) -> str:
    return _joined(place.name if place.mark else "", place.code, place.note)


def _held(part: CopyPart, held: CopyHolding) -> str:
    amount = held.level or " ".join(word for word in (held.quantity, part.unit) if word)
    until = f"to {held.expires:%-d %b %Y}" if held.expires else ""
    return _joined(amount, part.name, part.specification, *part.numbers, held.lot, until, held.bad)


def _joined(*words: str) -> str:
    return ", ".join(word for word in words if word)
