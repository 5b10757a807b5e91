"""The calendar that phones follow: order-by dates, deliveries, bookings and milestones, as RFC 5545 has it.

Decides the form of the file. What is in it, and the day on which it was made, come ready: the same events at the
same time give the same bytes. Every event takes whole days and leaves them free: it tells, it books nobody.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from urllib.parse import urlsplit

from icalendar import Calendar
from icalendar import Event as Entry
from icalendar.prop import vDuration, vText

PRODUCT = "-//Refit//Plan of the boat//EN"
REFRESH = timedelta(hours=4)
LONGEST = 2000  # characters of any text; phones show less


@dataclass(frozen=True)
class Event:
    """Hold one event of whole days, the last among them.

    The uid stays the same as long as the event does, whatever becomes of its date and words: phones know it by that.
    `kind` is a word such as "order by" or "booking".
    """

    uid: str
    summary: str
    first: date
    last: date
    description: str = ""
    url: str | None = None
    kind: str = ""


def calendar(name: str, events: Sequence[Event], *, stamp: datetime, refresh: timedelta = REFRESH) -> bytes:
    """Write the events as a calendar; `stamp`, with its time zone, says when this was so.

    Raises ValueError for a uid that comes twice or is empty, an event that ends before it begins, and a stamp without
    a zone.
    """
    if stamp.tzinfo is None:
        raise ValueError("A calendar's stamp needs its time zone.")
    made = Calendar()
    made.add("prodid", PRODUCT)
    made.add("version", "2.0")
    made.add("calscale", "GREGORIAN")
    made.add("method", "PUBLISH")
    shown = vText(_line(name))
    made.add("name", shown)  # RFC 7986
    made.add("x-wr-calname", shown)  # what phones read instead
    made.add("refresh-interval", vDuration(refresh, params={"VALUE": "DURATION"}))
    made.add("x-published-ttl", vDuration(refresh))
    known: set[str] = set()
    for event in events:
        uid = _line(event.uid)
        if not uid or uid in known:
            raise ValueError(f"The calendar's event {event.summary!r} needs a uid of its own, not {uid!r}.")
        known.add(uid)
        made.add_component(_entry(event, uid, stamp.astimezone(UTC)))
    written: bytes = made.to_ical(sorted=False)
    return written


def _entry(event: Event, uid: str, stamp: datetime) -> Entry:
    if event.last < event.first:
        raise ValueError(f"The calendar's event {event.summary!r} ends before it begins.")
    entry = Entry()
    entry.add("uid", uid)
    entry.add("dtstamp", stamp)
    entry.add("dtstart", event.first)
    if event.last < date.max:
        entry.add("dtend", event.last + timedelta(days=1))  # the first day that is free again
    entry.add("summary", _line(event.summary[:LONGEST]))
    if event.description:
        entry.add("description", _text(event.description))
    if event.url and _is_address(event.url):
        entry.add("url", event.url)
    if event.kind:
        entry.add("categories", [_line(event.kind)])
    entry.add("transp", "TRANSPARENT")
    return entry


def _text(text: str) -> str:
    """Return text with plain line ends and without control characters; commas and the like are the writer's to mark."""
    return "\n".join(_line(line) for line in text[:LONGEST].splitlines())


def _line(text: str) -> str:
    return " ".join("".join(char for char in text if char.isprintable() or char.isspace()).split())


def _is_address(url: str) -> bool:
    """Say whether an address may stand as it is: a web address in printable ASCII without spaces."""
    plain = url.isascii() and url.isprintable() and " " not in url
    return plain and urlsplit(url).scheme in ("http", "https")
