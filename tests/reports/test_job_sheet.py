"""The job sheet that a contractor gets: what to do, with what, after what; no money, and nothing hostile."""

import subprocess
from dataclasses import fields, replace
from datetime import date
from decimal import Decimal
from io import BytesIO

import pytest
from PIL import Image

from refit.reports.axis import Span
from refit.reports.job_sheet import BeforeRow, JobSheet, PartRow, Photo, PlaceRow, job_pdf
from refit.reports.page import MARGIN, Page
from refit.reports.pictures import ready
from tests.reports.printed import HOSTILE, outside
from tests.reports.test_paper import text_of
from tests.tools import need

AS_AT = date(2026, 11, 26)
IDENTITY = ("Kittiwake of Mylor", "official number 401 227")
JOB = JobSheet(
    28,
    "Step the mast",
    system="Rig and sails",
    note="Two slings above the spreaders.\nChocks first.",
    start=date(2027, 3, 22),
    finish=date(2027, 3, 23),
    booked=(Span(date(2027, 3, 22), date(2027, 3, 22), "crane"),),
    conditions=("dry",),
    cautions=("Rigging: a competent person, and the yard's rules for lifting.",),
    before=(BeforeRow("12 Renew the base plate", "waiting", date(2027, 3, 20)),),
    places=(PlaceRow("S3", "Saloon", ("seacock: keep it within reach",)),),
    parts=(PartRow("Toggle, 8 mm", Decimal("4.000"), "each", "00123", "S3 × 2", "2 by 3 Mar 2027"),),
)


def photo(wide=60, high=40, kind="JPEG", **kept) -> bytes:
    out = BytesIO()
    Image.new("RGBA" if kind == "PNG" else "RGB", (wide, high), "teal").save(out, kind, **kept)
    return out.getvalue()


def made(**changes) -> bytes:
    return job_pdf(replace(JOB, **changes), identity=IDENTITY, as_at=AS_AT)


def images(pdf: bytes) -> list[list[str]]:
    """Return the pictures of a file as poppler lists them: page, number, kind, width, height ..."""
    read = subprocess.run([need("pdfimages"), "-list", "-"], input=pdf, capture_output=True, check=True)
    return [line.split() for line in read.stdout.decode().splitlines()[2:]]


def test_it_says_all_that_the_job_asks():
    (page,) = text_of(made())
    for words in (
        *(
            "Job 28 Step the mast",
            "Rig and sails",
            "Two slings above",
            "Chocks first.",
            "22 Mar 2027 to 23 Mar 2027",
        ),
        *(
            "22 Mar 2027 crane",
            "dry",
            "Rigging: a competent person",
            "local rules",
            "12 Renew the base plate",
        ),
        *("20 Mar 2027", "waiting", "seacock: keep it within reach", "Toggle, 8 mm", "00123", "S3 × 2"),
        *(
            "2 by 3 Mar 2027",
            "Done as described",
            "Date and signature",
            "Page 1 of 1",
            "not verified",
            *IDENTITY,
        ),
    ):
        assert words in page


def test_there_is_no_place_for_a_price():
    names = {field.name for kind in (JobSheet, PartRow, BeforeRow, PlaceRow, Photo) for field in fields(kind)}
    assert not [
        name
        for name in names
        for word in ("price", "cost", "amount", "money", "rate", "budget")
        if word in name
    ]
    (page,) = text_of(made())
    assert not [sign for sign in "£€$" if sign in page]


def test_a_bare_job_prints_without_empty_tables():
    (page,) = text_of(job_pdf(JobSheet(1, "Paint"), identity=IDENTITY, as_at=AS_AT))
    assert "No more than the title says." in page
    assert not [words for words in ("Parts", "Places", "Photos", "comes before") if words in page]


def test_a_part_that_lies_nowhere_and_is_not_to_come_is_not_found():
    rows = (PartRow("Pin", Decimal(1), "each"), PartRow("Bolt", Decimal(1), "each", to_come="1 by May"))
    (page,) = text_of(made(parts=rows))
    assert page.count("not found") == 1


def test_photos_are_printed_a_handful_to_a_page_with_their_captions():
    pdf = made(photos=[Photo(photo(60 + at, 40), f"View {at}") for at in range(9)])
    found = images(pdf)
    assert len(found) == 9
    pages = [line[0] for line in found]
    assert max(pages.count(page) for page in pages) <= 6
    assert [f"{at + 1}. View {at}" in "".join(text_of(pdf)) for at in range(9)] == [True] * 9


def test_tall_photos_are_at_most_four_to_a_page():
    pages = [line[0] for line in images(made(photos=[Photo(photo(40, 60 + at)) for at in range(8)]))]
    assert max(pages.count(page) for page in pages) == 4
    assert len(pages) == 8


def test_more_photos_than_a_dozen_are_said_to_be_on_screen():
    pdf = made(photos=[Photo(photo())] * 15)
    assert len(images(pdf)) in (1, 12)  # the same picture may be kept once
    assert "3 more on screen." in " ".join(text_of(pdf))


def test_a_photo_that_cannot_be_opened_is_said_and_spoils_nothing():
    broken = [b"", b"nonsense", photo()[:200], b"\xff\xd8\xff" + b"\x00" * 50, b"GIF89a"]
    pdf = made(photos=[*(Photo(data, "Broken") for data in broken), Photo(photo(), "Whole")])
    assert " ".join(text_of(pdf)).count("could not be opened") == len(broken)
    assert len(images(pdf)) == 1


def test_a_photo_is_upright_no_larger_than_print_needs_and_says_nothing_of_where_it_was_taken():
    exif = Image.Exif()
    exif[0x0112] = 6  # lies on its side; Exif 2.3, table 4
    exif[0x010F] = "camera of the owner"
    data = photo(1600, 800, exif=exif)
    assert b"camera of the owner" in data
    shown = ready(data, 240, 250)
    assert shown.height == pytest.approx(2 * shown.width)
    assert b"camera" not in shown.data
    with Image.open(BytesIO(shown.data)) as kept:
        assert max(kept.size) <= 250 * 150 / 72


def test_a_picture_of_too_many_pixels_is_not_opened():
    flat = BytesIO()
    Image.new("1", (8000, 6000)).save(flat, "PNG", compress_level=1)
    assert ready(flat.getvalue(), 240, 250) is None


def test_a_clear_ground_becomes_white():
    out = BytesIO()
    Image.new("RGBA", (20, 20), (0, 0, 0, 0)).save(out, "PNG")
    with Image.open(BytesIO(ready(out.getvalue(), 20, 20).data)) as kept:
        assert kept.convert("L").getextrema()[0] > 250


def test_hostile_words_are_words_and_stay_on_the_page():
    together = " ".join(HOSTILE)
    pdf = made(
        title=together,
        system=together,
        note=together,
        cautions=HOSTILE,
        conditions=HOSTILE,
        for_whom=together,
        booked=[Span(AS_AT, AS_AT, words) for words in HOSTILE],
        before=[BeforeRow(words, words) for words in HOSTILE],
        places=[PlaceRow(words, words, (words,)) for words in HOSTILE],
        parts=[PartRow(words, Decimal(1), words, words, words, words) for words in HOSTILE],
        photos=[Photo(photo(), words) for words in HOSTILE],
    )
    assert outside(pdf, *Page.PORTRAIT.value, MARGIN) == []
    assert "<script>alert(1)</script>" in " ".join(text_of(pdf))


def test_a_long_note_goes_over_the_page_and_ends_somewhere():
    pages = text_of(made(note="word " * 20_000))
    assert 2 <= len(pages) <= 3
    assert "(more on screen)" in " ".join(pages)


def test_many_parts_bring_their_headings_along():
    pages = text_of(made(parts=[replace(JOB.parts[0], number=f"N-{at:03}") for at in range(100)]))
    whole = " ".join(pages)
    assert [whole.count(f"N-{at:03}") for at in range(100)] == [1] * 100
    assert sum("Part number" in page for page in pages) == sum("Toggle" in page for page in pages) > 1
