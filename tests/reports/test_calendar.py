"""The calendar, read back by a parser of another house (vobject), and its lines against RFC 5545."""

import re
from datetime import UTC, date, datetime, timedelta, timezone

import pytest
import vobject
from hypothesis import given, settings
from hypothesis import strategies as st

from refit.reports.calendar import Event, calendar

STAMP = datetime(2026, 11, 26, 2, 50, tzinfo=UTC)
ORDER = Event(
    "order-by-31@kittiwake",
    "Order the mast base plate",
    date(2027, 1, 12),
    date(2027, 1, 12),
    "For 28 Step the mast\nfrom its maker, 6 weeks",
    "http://boat.local:8000/kittiwake/buy/?part=31,32",
    "order by",
)
CRANE = Event("booking-9@kittiwake", "Crane, two days; rigger", date(2027, 3, 30), date(2027, 3, 31))
HOSTILE = [
    "BEGIN:VEVENT",
    "x\r\nEND:VEVENT\r\nBEGIN:VALARM",
    "a\nb\rc\x0bd\u2028e\u0085f",
    'comma, semicolon; colon: quote" backslash \\ \\n \\, percent %0A',
    "=1+1",
    "<script>",
    "Å Ανταλλακτικό Сальник 舵 ⚓😀 " * 12,
    "x" * 500,
    "\x00\x07\ud800",
]


def made(*events: Event, name="Kittiwake", stamp=STAMP) -> bytes:
    return calendar(name, events, stamp=stamp)


def read(data: bytes):
    (found,) = vobject.readComponents(data.decode())
    return found


def told(text: str) -> str:
    """Return a text as it should come back on one line: printable characters, single spaces."""
    return " ".join("".join(char if char.isprintable() else " " * char.isspace() for char in text).split())


def test_another_parser_reads_what_was_written():
    found = read(made(ORDER, CRANE))
    first, second = found.vevent_list
    assert first.uid.value == ORDER.uid
    assert first.summary.value == ORDER.summary
    assert first.description.value == ORDER.description
    assert first.url.value == ORDER.url
    assert first.categories.value == ["order by"]
    assert (first.dtstart.value, first.dtend.value) == (date(2027, 1, 12), date(2027, 1, 13))
    assert first.dtstamp.value == STAMP
    assert second.summary.value == "Crane, two days; rigger"
    # RFC 5545 3.6.1: the end is the first day that is not in it any more.
    assert second.dtend.value - second.dtstart.value == timedelta(days=2)
    assert second.transp.value == "TRANSPARENT"
    assert not hasattr(second, "url")


def test_the_calendar_says_whose_it_is_and_how_often_to_ask():
    found = read(made(name="Kittiwake, of; Mylor\nBEGIN:VEVENT"))
    assert found.prodid.value.startswith("-//Refit//")
    assert found.version.value == "2.0"
    assert found.contents["name"][0].value == found.contents["x-wr-calname"][0].value
    assert found.contents["name"][0].value == "Kittiwake, of; Mylor BEGIN:VEVENT"
    refresh = found.contents["refresh-interval"][0]  # RFC 7986 5.7
    assert (refresh.value, refresh.params) == ("PT4H", {"VALUE": ["DURATION"]})
    assert not hasattr(found, "vevent")


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_words_come_back_as_words(text):
    event = Event(text[:40] + "1", text, ORDER.first, ORDER.last, text, kind=text)
    found = read(made(event, CRANE, name=text))
    assert [each.name for each in found.getChildren()].count("VEVENT") == 2
    first = found.vevent_list[0]
    assert first.summary.value == told(text)
    assert first.uid.value == told(text[:40] + "1")
    assert " ".join(first.description.value.split()) == told(" ".join(text.splitlines()))
    assert found.contents["name"][0].value == told(text)


@pytest.mark.parametrize("text", HOSTILE)
def test_lines_are_as_the_standard_has_them(text):
    """RFC 5545 3.1: lines end in CR LF, none is longer than 75 octets, none is broken inside a character."""
    data = made(Event("1", text, ORDER.first, ORDER.last, text, kind=text), name=text)
    assert data.endswith(b"\r\n")
    assert data.count(b"\n") == data.count(b"\r") == data.count(b"\r\n")
    for line in data.split(b"\r\n"):
        assert len(line) <= 75
        line.decode()
    unfolded = data.decode().replace("\r\n ", "")
    assert all(re.match(r"[A-Z-]+[;:]", line) for line in unfolded.split("\r\n")[:-1])


@settings(max_examples=40)
@given(st.text(max_size=200), st.dates(date(1, 1, 1), date(9000, 1, 1)), st.integers(0, 400))
def test_any_text_and_any_days_come_back(text, first, days):
    last = first + timedelta(days)
    found = read(made(Event("1", text, first, last))).vevent
    assert found.summary.value == told(text)
    assert (found.dtstart.value, found.dtend.value) == (first, last + timedelta(days=1))


@pytest.mark.parametrize(
    "url", ["javascript:alert(1)", "http://x/\r\nSUMMARY:y", "http://x/ y", "ftp://x", "", "http://x/Å"]
)
def test_an_address_that_could_break_the_file_is_left_out(url):
    assert not hasattr(read(made(Event("1", "x", ORDER.first, ORDER.last, url=url))).vevent, "url")


def test_the_same_events_give_the_same_bytes_and_the_stamp_is_in_utc():
    assert made(ORDER, CRANE) == made(ORDER, CRANE)
    there = STAMP.astimezone(timezone(timedelta(hours=-5)))
    assert b"DTSTAMP:20261126T025000Z" in made(ORDER, stamp=there)


@pytest.mark.parametrize(
    ("events", "stamp", "words"),
    [
        ([ORDER, ORDER], STAMP, "a uid of its own"),
        ([Event(" \n", "x", ORDER.first, ORDER.last)], STAMP, "a uid of its own"),
        ([Event("1", "x", date(2027, 1, 2), date(2027, 1, 1))], STAMP, "ends before it begins"),
        ([ORDER], STAMP.replace(tzinfo=None), "time zone"),
    ],
)
def test_what_would_mislead_a_phone_is_refused(events, stamp, words):
    with pytest.raises(ValueError, match=words):
        calendar("x", events, stamp=stamp)


def test_the_last_day_of_all_has_no_end():
    found = read(made(Event("1", "x", date.max, date.max))).vevent
    assert found.dtstart.value == date.max
    assert not hasattr(found, "dtend")


def test_five_hundred_events_are_written_whole():
    data = made(*(Event(str(at), ORDER.summary, ORDER.first, ORDER.last) for at in range(500)))
    assert data.count(b"BEGIN:VEVENT\r\n") == data.count(b"END:VEVENT\r\n") == 500
