"""A job on paper: what it says, for whom, without a price; a trade prints its own job and no other."""

import subprocess

import pytest

from refit.boat.actions import papers as keeping
from refit.boat.actions.places import set_cautions
from refit.stores.actions.parts import add_need
from refit.work.actions import dates, plan_job
from refit.work.actions.dates import Coming
from refit.work.models import Job, JobPaper
from tests.factory import D, Factory
from tests.pictures import picture
from tests.tools import need

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]
JOBS = "/test-boat/jobs/"


def full(make: Factory) -> Job:
    """Return a job of the trade with a part, a booking, a step before, cautions, a photo and a price."""
    job = make.job("Weld the rail", given_to=make.member(make.trade), note="Grind first")
    place = make.place("S3")
    set_cautions(place, [("seacock", "raw water")])
    part = make.part("Rod", numbers=[("maker", "R-7", "")])
    make.stock(part, place, 2)
    add_need(job, part=part, words="", quantity=D(3))
    make.order(make.line(part, job=job, price=D("777.77"), packs=D(1)))
    plan_job(job, today=make.today, space=make.area, cure_days=2, traits=["hot"])
    dates.book(job, Coming(make.today, "Welder", 2), today=make.today)
    dates.come_after(job, make.job("Secret plans"))
    paper = keeping.add_paper(make.boat, picture("rail"), kind="photo", by=make.owner)
    keeping.put_on(JobPaper, paper, job=job)
    bill = keeping.add_paper(make.boat, picture("bill"), kind="receipt", by=make.owner)
    keeping.put_on(JobPaper, bill, job=job)
    return job


def test_the_sheet_says_what_a_contractor_needs_and_no_price(make, as_trade, tmp_path):
    full(make)
    response = as_trade.get(f"{JOBS}1/sheet.pdf")
    assert response["Content-Type"] == "application/pdf"
    file = tmp_path / "sheet.pdf"
    file.write_bytes(response.content)
    said = subprocess.run(
        [need("pdftotext"), "-layout", file, "-"], capture_output=True, text=True, check=True
    ).stdout
    for words in (
        "Weld the rail",
        "Grind first",
        "Rod",
        "R-7",
        "S3 × 2",
        "Welder",
        "seacock",
        "fire watch",
        "another job",
    ):
        assert words in said, words
    for words in ("777", "£", "Secret"):
        assert words not in said
    images = subprocess.run(
        [need("pdfimages"), "-list", file], capture_output=True, text=True, check=True
    ).stdout
    assert len(images.splitlines()) == 3  # two lines of heading, one photo: the bill is not for the trade


def test_who_may(make, as_trade, as_viewer, as_outsider, as_owner):
    full(make)
    assert as_viewer.get(f"{JOBS}1/sheet.pdf").content.startswith(b"%PDF")
    assert as_trade.get(f"{JOBS}2/sheet.pdf").status_code == 404
    assert as_outsider.get(f"{JOBS}1/sheet.pdf").status_code == 404
    assert as_owner.post(f"{JOBS}1/sheet.pdf").status_code == 405
    for number in ("9", "0", "9" * 30):
        assert as_owner.get(f"{JOBS}{number}/sheet.pdf").status_code == 404
