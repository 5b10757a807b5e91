"""Papers: snapped now, sorted later, put on orders, and shown only to those who may see one of their owners."""

import struct
import zlib
from decimal import Decimal
from io import BytesIO

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from PIL import Image

from refit.boat.actions import papers as keeping
from refit.boat.actions.papers import file_of
from refit.boat.models import Paper, PaperKind
from refit.buying.actions import orders as buying
from refit.buying.models import OrderPaper
from tests.factory import Factory

pytestmark = pytest.mark.django_db
D = Decimal
HUGE = 10**30
PDF = b"%PDF-1.4\n1 0 obj<</Type/Catalog>>endobj\ntrailer<</Root 1 0 R>>\n%%EOF\n"


def picture(kind="JPEG", size=(60, 40), colour=(200, 180, 40)):
    out = BytesIO()
    Image.new("RGB", size, colour).save(out, kind)
    return out.getvalue()


def bomb():
    """Return a PNG of a few kilobytes that says it is 20,000 points square."""

    def chunk(name, data):
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    head = struct.pack(">IIBBBBB", 20_000, 20_000, 8, 0, 0, 0, 0)
    rows = zlib.compress(bytes(20_001) * 400, 9)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


def file(content, name="photo.jpg", kind="image/jpeg"):
    return SimpleUploadedFile(name, content, content_type=kind)


def tray(make, end=""):
    return f"/{make.boat.slug}/receipts/{end}"


def address(make, paper, end=""):
    return f"/{make.boat.slug}/papers/{paper.number}/{end}"


def snap(make, content=None, **facts):
    facts.setdefault("in_tray", True)
    facts.setdefault("kind", PaperKind.RECEIPT)
    return keeping.add_paper(make.boat, content or picture(), by=make.owner, **facts)


def on_order(make, content=None):
    order = make.order()
    paper = snap(make, content)
    buying.attach_paper(order, paper)
    return order, paper


def last_message(response):
    return list(response.context["messages"])[-1]


# --- the tray ----------------------------------------------------------------------------------------------------


def test_several_receipts_are_snapped_at_once_and_wait(make, as_crew):
    files = [
        file(picture()),
        file(picture("PNG"), "b.png"),
        file(picture("WEBP"), "c.webp"),
        file(PDF, "d.pdf"),
    ]
    response = as_crew.post(tray(make), {"papers": files}, follow=True)
    assert "4 papers to sort" in response.content.decode()
    assert {paper.content_type for paper in Paper.objects.filter(in_tray=True)} == {
        "image/jpeg",
        "image/png",
        "image/webp",
        "application/pdf",
    }
    for paper in Paper.objects.all():
        assert oct(file_of(paper).stat().st_mode)[-3:] == "600"
    as_crew.post(last_message(response).extra_tags)
    assert not Paper.objects.filter(in_tray=True).exists()


@pytest.mark.parametrize(
    ("content", "name", "says"),
    [
        (bomb(), "bomb.png", "at most 40 million"),
        (b"<!doctype html><script>alert(1)</script>", "photo.jpg", "not a JPEG, PNG, WebP or HEIC picture"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'><script>1</script></svg>", "photo.png", "not a JPEG"),
        (picture("GIF"), "photo.jpg", "not a JPEG"),
        (picture()[:200], "half.jpg", "not a JPEG"),
        (b"%PDF-1.4 cut short", "cut.pdf", "not a JPEG"),
        (b"", "nothing.jpg", "empty"),
    ],
)
def test_what_is_no_picture_and_no_pdf_is_refused_by_its_content(make, as_owner, content, name, says):
    response = as_owner.post(tray(make), {"papers": [file(picture()), file(content, name)]})
    assert response.status_code == 422
    assert says in response.content.decode()
    assert not Paper.objects.exists()  # not even the good one: all or none


def test_a_file_of_26_megabytes_is_refused(make, as_owner):
    response = as_owner.post(tray(make), {"papers": [file(bytes(26 * 1024 * 1024), "large.jpg")]})
    assert response.status_code == 422
    assert "large.jpg is over 25 MB" in response.content.decode()
    assert not Paper.objects.exists()


def test_no_file_and_too_many_files_are_refused(make, as_owner):
    assert "Choose a photo or PDF first." in as_owner.post(tray(make), {}).content.decode()
    response = as_owner.post(tray(make), {"papers": [file(picture(), f"{i}.jpg") for i in range(21)]})
    assert response.status_code == 422
    assert "At most 20 at once; this is 21." in response.content.decode()
    assert not Paper.objects.exists()


def test_a_pdf_called_jpg_is_kept_and_served_as_the_pdf_it_is(make, as_owner):
    as_owner.post(tray(make), {"papers": [file(PDF, "receipt.jpg")]})
    response = as_owner.get(address(make, Paper.objects.get()))
    assert response["Content-Type"] == "application/pdf"
    assert response["Content-Disposition"] == 'inline; filename="paper-1.pdf"'


def test_the_same_receipt_snapped_again_is_the_same_paper(make, as_owner):
    as_owner.post(tray(make), {"papers": [file(picture())]})
    paper = Paper.objects.get()
    as_owner.post(tray(make, f"{paper.number}/"))
    assert not Paper.objects.get().in_tray
    as_owner.post(tray(make), {"papers": [file(picture(), "again.jpg")]})
    assert Paper.objects.get().in_tray
    buying.attach_paper(make.order(), Paper.objects.get())
    response = as_owner.post(tray(make), {"papers": [file(picture(), "once-more.jpg")]}, follow=True)
    assert "1 was kept already and has a place." in response.content.decode()
    assert not Paper.objects.get().in_tray


def test_the_best_guess_comes_first(make, as_owner):
    named = make.order(supplier=make.supplier("Lindqvist"), reference="LM-20441", on=make.today.replace(2020))
    for _ in range(3):
        make.order()
    cancelled = make.order()
    buying.cancel_order(cancelled)
    snap(make, name="scan LM 20441.jpg")
    snap(make, picture("PNG"), name="IMG_2.jpg")
    tiles = as_owner.get(tray(make)).context["tiles"]
    assert tiles[1].guess == named
    assert tiles[0].guess.number == 4  # the newest that has no paper yet
    assert cancelled not in tiles[0].orders
    with_paper = make.order()
    buying.attach_paper(with_paper, snap(make, picture("WEBP")))
    assert as_owner.get(tray(make)).context["tiles"][0].guess.number == 4


def test_a_receipt_goes_on_an_order_and_back(make, as_crew):
    order, paper = make.order(), snap(make)
    response = as_crew.post(tray(make, f"{paper.number}/"), {"order": order.number}, follow=True)
    assert OrderPaper.objects.get().order == order
    assert f"Paper 1 on order {order.number}, " in response.content.decode()
    assert not response.context["tiles"]
    as_crew.post(last_message(response).extra_tags)
    assert not OrderPaper.objects.exists()
    assert Paper.objects.get().in_tray


def test_a_receipt_that_needs_no_order_leaves_the_tray_and_can_come_back(make, as_crew):
    paper = snap(make)
    response = as_crew.post(tray(make, f"{paper.number}/"), follow=True)
    assert not Paper.objects.get().in_tray
    assert "Sorted, belonging to nothing" in response.content.decode()
    as_crew.post(last_message(response).extra_tags)
    assert Paper.objects.get().in_tray


@pytest.mark.parametrize("order", ["", "99", "x", "4", "９", "9" * 9, "1" * 40])
def test_an_order_that_is_not_this_boats_sorts_nothing(make, as_owner, order):
    other = Factory.start(name="Other Boat", prefix="other-")
    for _ in range(4):
        other.order()
    paper = snap(make)
    response = as_owner.post(tray(make, f"{paper.number}/"), {"order": order}, follow=True)
    assert "Choose an order of this boat" in response.content.decode()
    assert Paper.objects.get().in_tray
    assert not OrderPaper.objects.exists()


def test_a_full_tray_costs_no_more_queries_than_a_short_one(make, as_owner):
    def queries():
        with CaptureQueriesContext(connection) as seen:
            assert as_owner.get(tray(make)).status_code == 200
        return len(seen)

    make.order()
    snap(make)
    few = queries()
    for shade in range(100):
        snap(make, picture(colour=(shade, 0, 0)), in_tray=shade % 5 > 0)
    for _ in range(40):
        make.order()
    assert queries() == few == 10


# --- on an order -------------------------------------------------------------------------------------------------


def test_papers_are_put_on_an_order_taken_off_and_put_on_again(make, as_crew):
    order = make.order()
    page = f"/{make.boat.slug}/orders/{order.number}/"
    response = as_crew.post(page + "papers/", {"papers": [file(picture()), file(PDF, "i.pdf")]}, follow=True)
    text = response.content.decode()
    assert "2 papers on order" in text
    assert "papers/1/small/" in text
    undo = last_message(response).extra_tags
    assert undo == page + "papers/1-2/off/"
    response = as_crew.post(undo, follow=True)
    assert not OrderPaper.objects.exists()
    assert Paper.objects.filter(in_tray=True).count() == 2
    as_crew.post(last_message(response).extra_tags)
    assert OrderPaper.objects.filter(order=order).count() == 2
    as_crew.post(page + "papers/1/off/")
    assert "In the tray" in as_crew.get(page).content.decode()
    response = as_crew.post(page + "papers/1/off/", follow=True)
    assert last_message(response).level_tag == "error"


def test_a_bad_file_on_an_order_is_said_there_and_keeps_nothing(make, as_owner):
    order = make.order()
    page = f"/{make.boat.slug}/orders/{order.number}/"
    for content in (b"<html>", bomb()):
        response = as_owner.post(page + "papers/", {"papers": [file(content)]}, follow=True)
        assert last_message(response).level_tag == "error"
    assert not Paper.objects.exists()


def test_the_same_upload_twice_acts_once(make, as_owner):
    for _ in range(2):
        response = as_owner.post(tray(make), {"papers": [file(picture())], "form_key": "same"}, follow=True)
    assert "Already recorded at" in response.content.decode()
    assert Paper.objects.count() == 1


# --- who sees a paper --------------------------------------------------------------------------------------------


def test_a_receipt_is_shown_to_those_who_see_money_and_to_no_trade(
    make, as_owner, as_viewer, as_trade, as_outsider
):
    _, paper = on_order(make)
    for end in ("", "small/"):
        for client, answer in ((as_owner, 200), (as_viewer, 200), (as_trade, 404), (as_outsider, 404)):
            assert client.get(address(make, paper, end)).status_code == answer


def test_what_lies_in_the_tray_is_for_those_who_buy(make, as_crew, as_viewer, as_trade):
    paper = snap(make)
    for client, answer in ((as_crew, 200), (as_viewer, 404), (as_trade, 404)):
        assert client.get(address(make, paper)).status_code == answer
    keeping.leave_tray(paper)
    for client, answer in ((as_crew, 200), (as_viewer, 404), (as_trade, 404)):
        assert client.get(address(make, paper)).status_code == answer


def test_a_trade_sees_the_photo_of_its_own_place_and_part_and_of_no_other(make, as_trade):
    job = make.job(given_to=make.member(make.trade))
    mine, other = make.place(), make.place()
    part, other_part = make.part(), make.part()
    make.order(make.line(part, job=job, place=mine))
    owned = {}
    for shade, thing in enumerate((mine, other, part, other_part)):
        owned[thing] = snap(make, picture(colour=(0, 0, shade * 60)), kind=PaperKind.PHOTO, in_tray=False)
        thing.photo = owned[thing]
        thing.save()
    assert [as_trade.get(address(make, paper)).status_code for paper in owned.values()] == [
        200,
        404,
        200,
        404,
    ]


def test_what_belongs_to_nothing_is_shown_to_those_who_buy(make, as_owner, as_crew, as_viewer, as_trade):
    photo = snap(make, picture("PNG"), kind=PaperKind.PHOTO, in_tray=False)
    for client, answer in ((as_owner, 200), (as_crew, 200), (as_viewer, 404), (as_trade, 404)):
        assert client.get(address(make, photo)).status_code == answer


def test_papers_of_another_boat_and_odd_numbers_are_not_found(make, as_owner):
    other = Factory.start(name="Other Boat", prefix="other-")
    order = make.order()
    theirs = snap(other)
    assert as_owner.get(f"/{make.boat.slug}/papers/{theirs.number}/").status_code == 404
    assert as_owner.get(f"/{other.boat.slug}/papers/{theirs.number}/").status_code == 404
    for numbers in ("1", "99", str(HUGE), "x", "1-x", "-", "1-" * 25 + "1"):
        for end in (
            f"receipts/{numbers}/",
            f"receipts/{numbers}/back/",
            f"orders/{order.number}/papers/{numbers}/on/",
        ):
            assert as_owner.post(f"/{make.boat.slug}/{end}").status_code == 404, end
    for number in (0, 99, HUGE):
        assert as_owner.get(f"/{make.boat.slug}/papers/{number}/small/").status_code == 404


@pytest.mark.parametrize(
    "end", ["receipts/1/", "receipts/1/back/", "orders/1/papers/1/on/", "orders/1/papers/1/off/"]
)
def test_only_buyers_sort_and_only_by_post(make, as_owner, as_viewer, as_trade, as_outsider, end):
    on_order(make)
    for client, answer in ((as_viewer, 403), (as_trade, 403), (as_outsider, 404)):
        assert client.post(f"/{make.boat.slug}/{end}").status_code == answer
    assert as_owner.get(f"/{make.boat.slug}/{end}").status_code == 405
    assert OrderPaper.objects.count() == 1
    for client, answer in ((as_viewer, 403), (as_trade, 403), (as_outsider, 404)):
        assert client.get(tray(make)).status_code == answer


# --- how it is served --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("content", "kind", "name"),
    [
        (picture(), "image/jpeg", "paper-1.jpg"),
        (picture("PNG"), "image/png", "paper-1.png"),
        (picture("WEBP"), "image/webp", "paper-1.webp"),
        (PDF, "application/pdf", "paper-1.pdf"),
    ],
)
def test_a_file_is_served_as_it_was_kept_and_runs_nothing(make, as_owner, content, kind, name):
    snapped = snap(make, content, name='"><script>.jpg')
    response = as_owner.get(address(make, snapped))
    assert response.content == content
    assert response["Content-Type"] == kind
    assert response["Content-Disposition"] == f'inline; filename="{name}"'
    assert response["X-Content-Type-Options"] == "nosniff"
    assert "sandbox" in response["Content-Security-Policy"]
    assert "default-src 'none'" in response["Content-Security-Policy"]
    assert response["Cache-Control"] == "private, no-cache"
    tag = response["ETag"]
    again = as_owner.get(address(make, snapped), headers={"If-None-Match": tag})
    assert (again.status_code, again.content, again["ETag"]) == (304, b"", tag)


def test_a_known_tag_opens_nothing_to_whoever_may_not_see(make, as_trade, as_owner):
    _, paper = on_order(make)
    tag = as_owner.get(address(make, paper))["ETag"]
    assert as_trade.get(address(make, paper), headers={"If-None-Match": tag}).status_code == 404


def test_the_small_picture_is_made_once_upright_and_small(make, as_owner):
    sideways = Image.new("RGB", (1600, 800), (10, 200, 90))
    turned = sideways.getexif()
    turned[0x0112] = 6
    out = BytesIO()
    sideways.save(out, "JPEG", exif=turned)
    paper = snap(make, out.getvalue())
    response = as_owner.get(address(make, paper, "small/"))
    with Image.open(BytesIO(response.content)) as small:
        assert (small.format, small.size) == ("JPEG", (240, 480))
    kept = list((settings.PAPERS_DIR / "small").rglob("*.jpg"))
    assert len(kept) == 1
    kept[0].write_bytes(b"kept")
    assert as_owner.get(address(make, paper, "small/")).content == b"kept"


def test_a_pdf_has_a_plain_tile(make, as_owner):
    response = as_owner.get(address(make, snap(make, PDF), "small/"))
    assert response["Content-Type"] == "image/svg+xml"
    assert b">PDF<" in response.content
    assert b"script" not in response.content
    assert not (settings.PAPERS_DIR / "small").exists()


def test_a_lost_file_is_not_found_and_breaks_nothing(make, as_owner):
    paper = snap(make)
    file_of(paper).unlink()
    assert as_owner.get(address(make, paper)).status_code == 404
    assert as_owner.get(address(make, paper, "small/")).status_code == 404


def test_a_file_name_typed_by_others_is_shown_and_runs_nothing(make, as_owner):
    as_owner.post(tray(make), {"papers": [file(picture(), "<script>x=1+1‮.jpg")]})
    text = as_owner.get(tray(make)).content.decode()
    assert "<script>x" not in text
    assert "&lt;script&gt;x" in text
