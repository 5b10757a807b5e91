"""Papers of parts, jobs and places, their list, and who sees which."""

from io import BytesIO

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from openpyxl import load_workbook
from PIL import Image

from refit.boat.actions import papers as keeping
from refit.boat.models import Paper, PaperKind, PlacePaper
from refit.buying.actions import orders as buying
from refit.buying.models import OrderPaper
from refit.stores.models import PartPaper
from refit.work.models import JobPaper
from tests.factory import Factory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]
PDF = b"%PDF-1.4\n1 0 obj<</Type/Catalog>>endobj\ntrailer<</Root 1 0 R>>\n%%EOF\n"
LINKS = {"order": OrderPaper, "part": PartPaper, "job": JobPaper, "place": PlacePaper}
KINDS = list(LINKS)


def picture(kind="JPEG", shade=0):
    out = BytesIO()
    Image.new("RGB", (60, 40), (shade, 120, 40)).save(out, kind)
    return out.getvalue()


def file(content, name="photo.jpg"):
    return SimpleUploadedFile(name, content, content_type="image/jpeg")


def keep(make, shade=0, **facts):
    """Keep a picture of this shade; as PNG, so that two shades are two files."""
    facts.setdefault("kind", PaperKind.PHOTO)
    return keeping.add_paper(make.boat, picture("PNG", shade), by=make.owner, **facts)


def thing(make, kind):
    """Return a new thing of this kind, the address of its page, and the column it is linked by."""
    boat = make.boat.slug
    if kind == "order":
        row = make.order()
        return row, f"/{boat}/orders/{row.number}/", "order"
    if kind == "part":
        row = make.part()
        return row, f"/{boat}/parts/{row.pk}/", "part"
    if kind == "job":
        row = make.job()
        return row, f"/{boat}/jobs/{row.number}/", "job"
    row = make.place()
    return row, f"/{boat}/lockers/{row.code}/", "location"


def undo_of(response):
    return list(response.context["messages"])[-1].extra_tags


def said(response):
    return str(list(response.context["messages"])[-1])


def listing(make, query=""):
    return f"/{make.boat.slug}/papers/{query}"


# --- put on and off ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", KINDS)
def test_several_are_put_on_and_taken_off_and_put_on_again(make, as_crew, kind):
    row, page, column = thing(make, kind)
    files = [file(picture()), file(picture("HEIF"), "IMG_1.HEIC"), file(PDF, "sheet.pdf")]
    response = as_crew.post(page + "papers/", {"papers": files}, follow=True)
    text = response.content.decode()
    assert said(response).startswith("3 papers on")
    for number in (1, 2, 3):
        assert f"<b>Paper {number}</b>" in text
    assert LINKS[kind].objects.filter(**{column: row}).count() == 3
    response = as_crew.post(undo_of(response), follow=True)
    assert not LINKS[kind].objects.exists()
    assert Paper.objects.filter(in_tray=True).count() == 3
    response = as_crew.post(undo_of(response), follow=True)
    assert LINKS[kind].objects.filter(**{column: row}).count() == 3
    assert not Paper.objects.filter(in_tray=True).exists()
    as_crew.post(page + "papers/2/off/")
    assert LINKS[kind].objects.count() == 2


@pytest.mark.parametrize(
    ("kind", "kinds"),
    [
        ("order", {"receipt"}),
        ("part", {"photo", "manual"}),
        ("job", {"photo", "other"}),
        ("place", {"photo", "other"}),
    ],
)
def test_what_a_file_is_goes_by_where_it_is_put(make, as_owner, kind, kinds):
    _, page, _ = thing(make, kind)
    as_owner.post(page + "papers/", {"papers": [file(picture()), file(PDF, "a.pdf")]})
    assert set(Paper.objects.values_list("kind", flat=True)) == kinds


@pytest.mark.parametrize("kind", KINDS)
def test_one_kept_already_is_put_on_by_its_number(make, as_owner, kind):
    row, page, column = thing(make, kind)
    keep(make, 1), keep(make, 2)
    response = as_owner.post(page + "papers/", {"numbers": "1, 2"}, follow=True)
    assert said(response).startswith("2 papers on")
    assert LINKS[kind].objects.filter(**{column: row}).count() == 2


@pytest.mark.parametrize("numbers", ["3", "1, 99", "x", "-1", "1e3", "９", "9" * 12, " ", "1 " * 30])
def test_a_number_that_is_no_paper_puts_nothing_on(make, as_owner, numbers):
    _, page, _ = thing(make, "job")
    keep(make)
    other = Factory.start("Other Boat", prefix="other-")
    for shade in range(3):
        keep(other, shade)
    response = as_owner.post(page + "papers/", {"numbers": numbers}, follow=True)
    assert list(response.context["messages"])[-1].level_tag == "error"
    assert not JobPaper.objects.exists()


def test_a_paper_of_two_things_stays_out_of_the_tray_when_it_leaves_one(make, as_owner):
    _, job_page, _ = thing(make, "job")
    _, part_page, _ = thing(make, "part")
    as_owner.post(job_page + "papers/", {"papers": [file(picture())]})
    as_owner.post(part_page + "papers/", {"numbers": "1"})
    response = as_owner.post(job_page + "papers/1/off/", follow=True)
    assert "in the tray" not in said(response)
    assert not Paper.objects.get().in_tray
    response = as_owner.post(part_page + "papers/1/off/", follow=True)
    assert "in the tray again" in said(response)
    assert Paper.objects.get().in_tray
    response = as_owner.post(part_page + "papers/1/off/", follow=True)
    assert "is not there any more" in said(response)


@pytest.mark.parametrize("kind", KINDS)
def test_a_bad_file_keeps_nothing_and_the_same_form_acts_once(make, as_owner, kind):
    _, page, _ = thing(make, kind)
    response = as_owner.post(page + "papers/", {"papers": [file(picture()), file(b"<html>")]}, follow=True)
    assert "not a JPEG" in said(response)
    assert not Paper.objects.exists()
    for _ in range(2):
        response = as_owner.post(
            page + "papers/", {"papers": [file(picture())], "form_key": "same"}, follow=True
        )
    assert "Already recorded" in said(response)
    assert LINKS[kind].objects.count() == 1


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("deed", ["papers/", "papers/1/on/", "papers/1/off/"])
def test_only_those_with_the_right_change_it_and_only_by_post(
    make, as_owner, as_viewer, as_trade, as_outsider, kind, deed
):
    row, page, column = thing(make, kind)
    paper = keep(make)
    keeping.put_on(LINKS[kind], paper, **{column: row})
    for client, answer in ((as_viewer, 403), (as_trade, 403), (as_outsider, 404)):
        assert client.post(page + deed).status_code == answer
    assert as_owner.get(page + deed).status_code == 405
    assert LINKS[kind].objects.count() == 1


def test_another_boats_things_and_odd_papers_are_not_found(make, as_owner):
    other = Factory.start("Other Boat", prefix="other-")
    keep(make)
    slug = make.boat.slug
    part, place = other.part(), other.place()
    for where in (
        f"parts/{part.pk}/papers/",
        f"lockers/{place.code}/papers/",
        "jobs/77/papers/",
        f"jobs/{10**25}/papers/",
        "parts/0/papers/1/on/",
    ):
        assert as_owner.post(f"/{slug}/{where}").status_code == 404, where
    _, page, _ = thing(make, "job")
    for numbers in ("99", "x", "1-x", "-", "1-" * 25 + "1", str(10**25)):
        assert as_owner.post(f"{page}papers/{numbers}/on/").status_code == 404, numbers


# --- from the tray -------------------------------------------------------------------------------------------------


def test_from_the_tray_to_a_part_a_job_or_a_place(make, as_crew):
    job, part, place = make.job("Renew impeller"), make.part("Impeller"), make.place("S7", name="Settee")
    make.part("Oil filter", numbers=[("maker", "OF-77", "")])
    for shade, (typed, link) in enumerate(
        [
            (f"job {job.number}", JobPaper),
            (f"Job {job.number}, Renew impeller", JobPaper),
            (str(job.number), JobPaper),
            ("Impeller", PartPaper),
            ("Part impeller", PartPaper),
            ("of 77", PartPaper),
            ("S7", PlacePaper),
            ("Place S7 Settee", PlacePaper),
            (place.code, PlacePaper),
        ]
    ):
        paper = keep(make, shade, kind=PaperKind.RECEIPT, in_tray=True)
        where = f"/{make.boat.slug}/receipts/{paper.number}/"
        response = as_crew.post(where, {"to": typed, "kind": "photo"}, follow=True)
        assert link.objects.filter(paper=paper).count() == 1, typed
        paper.refresh_from_db()
        assert (paper.kind, paper.in_tray) == ("photo", False)
        as_crew.post(undo_of(response))
        paper.refresh_from_db()
        assert (paper.kind, paper.in_tray) == ("receipt", True)
        assert not link.objects.filter(paper=paper).exists()
    assert not part.part_papers.exists()


@pytest.mark.parametrize("typed", ["", "   ", "job 99", "job x", "nothing like it", "Impeller", "place ZZ"])
def test_what_is_not_clear_sorts_nothing(make, as_owner, typed):
    make.part("Impeller"), make.part("Impeller")
    paper = keep(make, in_tray=True)
    response = as_owner.post(
        f"/{make.boat.slug}/receipts/{paper.number}/", {"to": typed, "kind": "photo"}, follow=True
    )
    assert list(response.context["messages"])[-1].level_tag == "error"
    assert Paper.objects.get().in_tray


def test_the_tray_offers_jobs_places_and_parts(make, as_owner):
    keep(make, in_tray=True)
    make.job("Renew <b>impeller"), make.part("Impeller"), make.place("S7", name="Settee")
    text = as_owner.get(f"/{make.boat.slug}/receipts/").content.decode()
    for option in ("Job 1, Renew &lt;b&gt;impeller", "Part Impeller", "Place S7 Settee"):
        assert f'<option value="{option}">' in text


def test_a_paper_that_belongs_to_something_is_not_put_into_the_tray(make, as_owner):
    row, _, _ = thing(make, "job")
    paper = keep(make)
    keeping.put_on(JobPaper, paper, job=row)
    as_owner.post(f"/{make.boat.slug}/receipts/{paper.number}/back/")
    assert not Paper.objects.get().in_tray


# --- who sees which ------------------------------------------------------------------------------------------------


@pytest.fixture
def trades_job(make):
    return make.job("Rewind the alternator", given_to=make.member(make.trade))


def test_a_trade_sees_the_papers_of_its_jobs_but_never_receipts(make, as_trade, as_viewer, trades_job):
    drawing, bill, quote = keep(make, 1), keep(make, 2, kind=PaperKind.RECEIPT), keep(make, 3)
    others = keep(make, 4)
    for paper in (drawing, bill, quote):
        keeping.put_on(JobPaper, paper, job=trades_job)
    keeping.put_on(JobPaper, others, job=make.job())
    buying.attach_paper(make.order(), quote)  # what lies on an order shows prices
    for paper, answer in ((drawing, 200), (bill, 404), (quote, 404), (others, 404)):
        for end in ("", "small/"):
            assert as_trade.get(f"{listing(make)}{paper.number}/{end}").status_code == answer
            assert as_viewer.get(f"{listing(make)}{paper.number}/{end}").status_code == 200
    text = as_trade.get(f"/{make.boat.slug}/jobs/{trades_job.number}/").content.decode()
    assert "Paper 1" in text
    assert "Paper 2" not in text
    assert "Paper 3" not in text
    listed = as_trade.get(listing(make))
    assert [row.paper for row in listed.context["rows"]] == [drawing]
    assert "Change the kind" not in listed.content.decode()


def test_a_trade_sees_papers_of_its_parts_and_places_alone(make, as_trade, trades_job):
    part, other, place, elsewhere = make.part(), make.part(), make.place(), make.place()
    make.order(make.line(part, job=trades_job, place=place))
    answers = {}
    for shade, (link, column, row, answer) in enumerate(
        [
            (PartPaper, "part", part, 200),
            (PartPaper, "part", other, 404),
            (PlacePaper, "location", place, 200),
            (PlacePaper, "location", elsewhere, 404),
        ]
    ):
        paper = keep(make, shade)
        keeping.put_on(link, paper, **{column: row})
        answers[paper.number] = answer
    seen = {number: as_trade.get(f"{listing(make)}{number}/").status_code for number in answers}
    assert seen == answers


def test_a_bill_added_to_a_job_is_a_receipt_even_if_the_file_was_kept_as_a_photo(make, as_owner, trades_job):
    keep(make)
    page = f"/{make.boat.slug}/jobs/{trades_job.number}/papers/"
    as_owner.post(page, {"papers": [file(picture("PNG"))], "kind": "receipt"})
    assert Paper.objects.get().kind == "receipt"


# --- the list ------------------------------------------------------------------------------------------------------


@pytest.fixture
def some(make):
    """One paper of each kind of thing, one of nothing, one in the tray."""
    rows = {}
    for shade, kind in enumerate(KINDS):
        row, _, column = thing(make, kind)
        rows[kind] = keep(make, shade, name=f"{kind}.jpg")
        keeping.put_on(LINKS[kind], rows[kind], **{column: row})
    rows["loose"] = keep(make, 90, name="loose.jpg")
    rows["tray"] = keep(make, 91, name="tray.jpg", in_tray=True, kind=PaperKind.RECEIPT)
    return rows


@pytest.mark.parametrize(
    ("query", "names"),
    [
        ("?of=order", ["order"]),
        ("?of=part", ["part"]),
        ("?of=job", ["job"]),
        ("?of=place", ["place"]),
        ("?of=none", ["tray", "loose"]),
        ("?kind=receipt", ["tray"]),
        ("?q=LOOSE", ["loose"]),
        ("?q=3", ["job"]),
        ("?sort=number", ["order", "part", "job", "place", "loose", "tray"]),
        ("?sort=-name", ["tray", "place", "part", "order", "loose", "job"]),
        ("?sort=nonsense&page=99", ["tray", "loose", "place", "job", "part", "order"]),
        ("?q=%00&of=%27", None),
    ],
)
def test_the_list_is_narrowed_and_sorted(make, as_owner, some, query, names):
    response = as_owner.get(listing(make, query))
    assert response.status_code == 200
    if names is not None:
        assert [row.paper for row in response.context["rows"]] == [some[name] for name in names]


def test_the_list_says_what_each_belongs_to(make, as_owner, some):
    part = make.part("Pump <b>=1+1\u202e", photo=some["loose"])
    response = as_owner.get(listing(make))
    text = response.content.decode()
    words = {row.paper: [words for words, _ in row.owners] for row in response.context["rows"]}
    assert words[some["order"]] == ["Order 1"]
    assert words[some["loose"]] == [f"Photo of {part.name}"]
    assert words[some["job"]][0].startswith("Job 1, ")
    assert "Pump &lt;b&gt;" in text
    assert "in the tray" in text


def test_a_viewer_sees_no_loose_papers_in_the_list(make, as_viewer, some):
    rows = [row.paper for row in as_viewer.get(listing(make)).context["rows"]]
    assert rows == [some[name] for name in ("place", "job", "part", "order")]
    assert as_viewer.get(listing(make, "?of=none")).context["rows"] == []


def test_the_list_leaves_as_a_spreadsheet(make, as_owner, some):
    response = as_owner.get(listing(make, "?export=xlsx&sort=number"))
    page = load_workbook(BytesIO(response.content)).active
    assert [cell.value for cell in page[2]][:4] == [1, "Photo", "order.jpg", "Order 1"]
    assert page.max_row == 7
    assert "Paper" in as_owner.get(listing(make, "?export=csv")).content.decode("utf-8-sig")


def test_the_list_is_asked_for_in_a_fixed_number_of_queries(make, as_owner, some):
    def queries():
        with CaptureQueriesContext(connection) as seen:
            assert as_owner.get(listing(make)).status_code == 200
        return len(seen)

    few = queries()
    part = make.part()
    for shade in range(100, 160):
        keeping.put_on(PartPaper, keep(make, shade), part=part)
    assert queries() == few == 12


@pytest.mark.parametrize("kind", KINDS)
def test_many_papers_cost_a_page_no_more_queries(make, as_owner, kind):
    row, page, column = thing(make, kind)

    def queries():
        with CaptureQueriesContext(connection) as seen:
            assert as_owner.get(page).status_code == 200
        return len(seen)

    few = queries()
    for shade in range(12):
        keeping.put_on(LINKS[kind], keep(make, shade), **{column: row})
    assert queries() == few
    if kind == "place":
        assert few <= 12


def test_the_kind_is_changed_and_changed_back(make, as_crew, as_viewer):
    row, _, _ = thing(make, "job")
    keeping.put_on(JobPaper, keep(make), job=row)
    where = f"{listing(make)}1/kind/"
    response = as_crew.post(where, {"kind": "receipt"}, follow=True)
    assert said(response) == "Paper 1 is down as receipt or invoice."
    as_crew.post(undo_of(response))
    assert Paper.objects.get().kind == "photo"
    response = as_crew.post(where, {"kind": "cheese"}, follow=True)
    assert "Choose what it is" in said(response)
    assert Paper.objects.get().kind == "photo"
    assert as_viewer.post(where, {"kind": "receipt"}).status_code == 403
    assert as_crew.post(f"{listing(make)}99/kind/", {"kind": "photo"}).status_code == 404


# --- HEIC, and orders without a receipt ----------------------------------------------------------------------------


def test_heic_is_shown_as_a_jpeg_and_kept_as_it_came(make, as_owner):
    row, _, _ = thing(make, "job")
    content = picture("HEIF")
    paper = keeping.add_paper(make.boat, content, kind="photo", by=make.owner)
    keeping.put_on(JobPaper, paper, job=row)
    where = f"{listing(make)}{paper.number}/"
    shown = as_owner.get(where)
    assert shown["Content-Type"] == "image/jpeg"
    assert shown["Content-Disposition"] == 'inline; filename="paper-1.jpg"'
    assert "sandbox" in shown["Content-Security-Policy"]
    with Image.open(BytesIO(shown.content)) as made:
        assert (made.format, made.size) == ("JPEG", (60, 40))
    assert len(list((settings.PAPERS_DIR / "shown").rglob("*.jpg"))) == 1
    again = as_owner.get(where, headers={"If-None-Match": shown["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    original = as_owner.get(where + "?original")
    assert (original.content, original["Content-Type"]) == (content, "image/heic")
    assert original["Content-Disposition"] == 'attachment; filename="paper-1.heic"'
    assert as_owner.get(where + "small/")["Content-Type"] == "image/jpeg"
    keeping.file_of(paper).unlink()
    assert as_owner.get(where + "?original").status_code == 404
    assert as_owner.get(where).status_code == 200  # the JPEG is kept still


def test_orders_without_a_receipt_are_found(make, as_owner):
    with_receipt, with_photo, bare, draft = make.order(), make.order(), make.order(), make.draft()
    cancelled = make.order()
    buying.cancel_order(cancelled)
    buying.attach_paper(with_receipt, keep(make, 1, kind=PaperKind.RECEIPT))
    buying.attach_paper(with_photo, keep(make, 2))
    for query, wanted in (
        ("?receipt=none", [bare, with_photo]),
        ("?receipt=kept", [with_receipt]),
        ("", [cancelled, draft, bare, with_photo, with_receipt]),
    ):
        response = as_owner.get(f"/{make.boat.slug}/orders/{query}")
        assert [row.order for row in response.context["rows"]] == wanted
