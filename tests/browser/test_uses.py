"""The three first uses in a real browser at a phone's size, with the taps counted."""

import re
from decimal import Decimal

import pytest
from openpyxl import load_workbook

from refit.buying.actions.offers import OfferFacts, add_offer
from refit.buying.models import Line, Order
from refit.carry.ledger import differences
from refit.reports.labels import LabelRow
from refit.stores.actions.parts import add_need
from refit.stores.models import Movement
from refit.stores.reading import usable_aboard
from tests.browser.conftest import PHONE
from tests.browser.seeded import seed
from tests.browser.test_every_page import open_signed_in
from tests.synthetic import Shot, photo_of

pytestmark = pytest.mark.django_db(transaction=True)


class Hand:
    """A thumb on the page: every tap, choice and filled field is counted."""

    def __init__(self, page):
        self.page = page
        self.count = 0

    def tap(self, where):
        self.count += 1
        where.click()

    def fill(self, where, text):
        self.count += 1
        where.fill(text)


def test_a_photo_of_a_label_leads_to_taking_something_in_three_taps(browser, live_server, make, tmp_path):
    seeded = seed(make)
    page, _ = open_signed_in(browser, live_server, make.crew, viewport=PHONE, has_touch=True)
    row = LabelRow(
        f"http://boat.local:8000/L/{seeded.locker.code}",
        "S3",
        "Pilot berth, outboard",
        "Saloon",
        seeded.locker.code,
    )
    photo = tmp_path / "label.jpg"
    photo.write_bytes(photo_of(row, Shot(), 7))
    page.goto(live_server.url + "/scan/")
    page.set_input_files("#scan-photo", str(photo))
    page.wait_for_url(re.compile(rf"/lockers/{seeded.locker.code}/"))
    assert page.locator(".plate-big").inner_text() == "S3"

    hand = Hand(page)
    before = usable_aboard(seeded.part, make.today)
    hand.tap(page.get_by_label("Take Impeller, 8-vane, 57 mm"))
    hand.tap(page.get_by_role("button", name=re.compile("For job")).first)
    said = page.locator(".said").first
    assert f"for job {seeded.job.number}" in said.inner_text()
    assert hand.count <= 3
    assert usable_aboard(seeded.part, make.today) == before - 1
    assert list(differences()) == []

    said.get_by_role("button", name="Undo").click()
    page.wait_for_load_state()
    assert usable_aboard(seeded.part, make.today) == before
    assert list(differences()) == []


def test_a_double_tap_takes_once(browser, live_server, make):
    seeded = seed(make)
    page, _ = open_signed_in(browser, live_server, make.crew, viewport=PHONE, has_touch=True)
    page.goto(f"{live_server.url}/L/{seeded.locker.code.lower()}")
    movements = Movement.objects.count()
    page.get_by_label("Take Impeller, 8-vane, 57 mm").click()
    page.get_by_role("button", name=re.compile("For job")).first.dblclick()
    page.locator(".said").first.wait_for()
    assert Movement.objects.count() == movements + 1


def test_an_order_from_a_job_takes_at_most_eight_fields_and_taps(browser, live_server, make):
    seeded = seed(make)
    job = make.job("Steering cable")
    cable = make.part("Cable clamp, 6 mm", usual_place=seeded.locker)
    add_need(job, part=cable, words="", quantity=4)
    page, _ = open_signed_in(browser, live_server, make.owner, viewport=PHONE, has_touch=True)
    page.goto(f"{live_server.url}/{make.boat.slug}/jobs/{job.number}/")
    hand = Hand(page)
    hand.tap(page.get_by_role("link", name="Order for this job"))
    hand.fill(page.get_by_label("Supplier"), "Lindqvist Marinteknik")
    hand.fill(page.get_by_label(re.compile("^Each")).first, "3,20")
    hand.tap(page.get_by_role("button", name="Ordered", exact=True))
    page.locator(".said").first.wait_for()
    assert hand.count <= 8
    order = Order.objects.latest("id")
    line = order.lines.get()
    assert (order.state, line.part, line.job, line.quantity) == ("ordered", cable, job, 4)
    assert (line.system, line.place) == (job.system, seeded.locker)
    assert list(differences()) == []


def test_the_spreadsheet_is_two_taps_away(browser, live_server, make, tmp_path):
    seed(make)
    page, _ = open_signed_in(browser, live_server, make.owner, viewport=PHONE, accept_downloads=True)
    page.goto(f"{live_server.url}/{make.boat.slug}/")
    hand = Hand(page)
    hand.tap(page.locator("main").get_by_role("link", name=re.compile("Spend")).first)
    with page.expect_download() as got:
        hand.tap(page.get_by_role("link", name="Spreadsheet"))
    assert hand.count <= 2
    kept = tmp_path / "spend.xlsx"
    got.value.save_as(kept)
    book = load_workbook(kept)
    assert book.sheetnames[:5] == ["By system", "By job", "By supplier", "By month", "Lines"]
    total = sum(order.landed for order in Order.objects.counted().filter(boat=make.boat))
    assert book["By system"].cell(book["By system"].max_row, 4).value == pytest.approx(total / 100)


def test_taking_and_ordering_work_without_script(browser, live_server, make):
    seeded = seed(make)
    page, _ = open_signed_in(browser, live_server, make.owner, viewport=PHONE, java_script_enabled=False)
    page.goto(f"{live_server.url}/L/{seeded.locker.code}")
    page.get_by_label("Take Impeller, 8-vane, 57 mm").click()
    page.get_by_role("button", name="Just used").first.click()
    assert "Took 1 Impeller" in page.locator(".said").first.inner_text()
    page.goto(f"{live_server.url}/{make.boat.slug}/orders/new/?part={seeded.part.pk}")
    page.get_by_label("Supplier").fill("Nobody yet")
    page.get_by_label(re.compile("^Each")).first.fill("abc")
    page.get_by_role("button", name="Ordered", exact=True).click()
    assert page.get_by_label("Supplier").input_value() == "Nobody yet"
    assert list(differences()) == []


def test_two_things_ticked_on_the_list_are_orders_in_three_taps(browser, live_server, make):
    wanted = [make.part(name) for name in ("Bilge hose", "Wood screw")]
    job = make.job("Two manual pumps")
    for part, shop in zip(wanted, ("Hose Loft", "Screw Loft"), strict=True):
        asked = OfferFacts(make.supplier(shop), Decimal("2.50"), "GBP", make.today, lead_days=1)
        add_offer(part, asked, today=make.today)
        add_need(job, part=part, words="", quantity=4)
    page, _ = open_signed_in(browser, live_server, make.owner, viewport=PHONE, has_touch=True)
    page.goto(f"{live_server.url}/{make.boat.slug}/buy/")
    hand = Hand(page)
    for part in wanted:
        hand.tap(page.get_by_role("checkbox", name=part.name))
    hand.tap(page.get_by_role("button", name="Make the orders"))
    said = page.locator(".said").first
    assert "not ordered yet" in said.inner_text()
    assert hand.count == 3
    made = {(line.part, line.order.supplier.name, line.job, line.quantity) for line in Line.objects.all()}
    assert made == {(wanted[0], "Hose Loft", job, 4), (wanted[1], "Screw Loft", job, 4)}
    said.get_by_role("button", name="Undo").click()
    page.wait_for_load_state()
    assert Order.objects.count() == 0


def test_a_fetch_list_is_ticked_without_script(browser, live_server, make):
    job, part = make.job("Rope clutches"), make.part("Rope clutch")
    make.stock(part, make.place("S3"), 3)
    add_need(job, part=part, words="", quantity=2)
    page, _ = open_signed_in(browser, live_server, make.crew, viewport=PHONE, java_script_enabled=False)
    page.goto(f"{live_server.url}/{make.boat.slug}/jobs/{job.number}/fetch/")
    page.get_by_role("button", name="Got it: 2 Rope clutch from S3").click()
    page.locator(".said").first.wait_for()
    assert usable_aboard(part, make.today) == 1
    assert Movement.objects.latest("id").job == job
    assert list(differences()) == []
