"""Today's sections of dates: each is there only with rows, a handful of them, and leads to all."""

import re
from datetime import timedelta
from html import unescape

import pytest

from refit.buying.models import Order
from refit.pages import today_dates
from refit.stores.models import Need
from refit.work.models import After, Booking, Job, Milestone, WorkTerms
from tests.factory import D
from tests.planned import need, refit_with_a_late_part

pytestmark = pytest.mark.django_db
PAGE = "/test-boat/"
TITLES = ["Order tonight", "Deliveries due", "To chase", "Coming to work", "Can begin", "Overdue"]


def text_of(response) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", response.content.decode())).split())


def section(response, title) -> list[str]:
    """Return the rows under a heading, in words."""
    page = response.content.decode()
    found = re.search(rf"<h2>{title}[^<]*</h2>\s*<ul class=\"rows\">(.*?)</ul>", page, re.S)
    if not found:
        return []
    rows = re.findall(r"<li>(.*?)</li>", found[1], re.S)
    return [" ".join(unescape(re.sub(r"<[^>]+>", " ", row)).split()) for row in rows]


def in_days(make, days):
    return make.today + timedelta(days=days)


def known_supplier(make, part, days):
    """Let a supplier of a part be known who takes so many days."""
    supplier = make.supplier(f"Supplier of {part.name}")
    supplier.lead_days = days
    supplier.save()
    make.order(make.line(part), supplier=supplier, on=in_days(make, -90))
    supplier.orders.update(state="arrived")


def test_a_quiet_boat_has_none_of_them(make, as_owner):
    page = as_owner.get(PAGE)
    assert not [title for title in TITLES if section(page, title)]


@pytest.mark.parametrize(("wanted_in", "there"), [(8, True), (7, True), (9, False), (1, True)])
def test_what_must_be_ordered_tonight(make, as_viewer, wanted_in, there):
    """Five days to come and three of margin: wanted in eight days it must be ordered today."""
    part, job = make.part("Bobstay"), make.job("Rig the bowsprit")
    known_supplier(make, part, 5)
    WorkTerms.objects.update_or_create(boat=make.boat, defaults={"margin_days": 3})
    Need.objects.create(boat=make.boat, job=job, part=part, quantity=D(1), wanted_by=in_days(make, wanted_in))
    rows = section(as_viewer.get(PAGE), "Order tonight")
    assert bool(rows) == there
    if there:
        assert rows[0].startswith(f"Bobstay for job {job.number}, Rig the bowsprit")
        late = 8 - wanted_in
        assert rows[0].endswith("today" if not late else f"{late} day{'' if late == 1 else 's'} late")


def test_what_is_on_an_order_not_placed_yet_is_not_ordered_again(make, as_owner):
    part, job = make.part("Bobstay"), make.job()
    known_supplier(make, part, 5)
    Need.objects.create(boat=make.boat, job=job, part=part, quantity=D(1), wanted_by=make.today)
    make.draft(make.line(part, job=job))
    assert section(as_owner.get(PAGE), "Order tonight") == []


def test_deliveries_of_the_week_and_whom_to_chase(make, as_owner):
    for days in (-2, 0, 3, 7, 8):
        make.order(
            make.line(words=f"In {days}"),
            supplier=make.supplier(f"S{days}"),
            on=in_days(make, -20),
            expected_on=in_days(make, days),
        )
    page = as_owner.get(PAGE)
    due = section(page, "Deliveries due")
    assert [row.split(" · ")[1].split()[0] for row in due] == ["S0", "S3", "S7"]
    assert due[0].endswith("today")
    (late,) = section(page, "To chase")
    assert "S-2" in late
    assert late.endswith("2 days late")
    assert (
        f'href="/test-boat/buy/chase/{Order.objects.get(supplier__name="S-2").number}/"'
        in page.content.decode()
    )


def test_who_comes_within_the_week_with_a_caution_if_that_cannot_be(make, as_owner):
    yard = refit_with_a_late_part(make)
    for job, ahead, days, who in (
        (yard.mast, 4, 1, "Crane"),
        (yard.long, 0, 2, "Painter"),
        (yard.long, 8, 1, "Later"),
    ):
        Booking.objects.create(boat=make.boat, job=job, day=in_days(make, ahead), days=days, who=who)
    rows = section(as_owner.get(PAGE), "Coming to work")
    assert [row.split()[0] for row in rows] == ["Painter", "Crane"]
    assert "cannot be met, Mast step will not be here" in rows[1]
    assert "cannot be met" not in rows[0]


def test_what_can_begin_today_leaves_out_what_stands_there_already(make, as_owner):
    WorkTerms.objects.update_or_create(boat=make.boat, defaults={"weekdays": "1111111"})
    free, ready, held = make.job("Free"), make.job("Ready", state="ready"), make.job("Held")
    After.objects.create(boat=make.boat, job=held, after=free)
    need(make, make.job("Wants a part"), make.part())
    assert section(as_owner.get(PAGE), "Can begin") == [f"{free.number} Free Engine"]
    assert ready.title in text_of(as_owner.get(PAGE))


def test_on_a_day_off_nothing_is_to_begin(make, as_owner):
    make.job("Free")
    today = make.today.weekday()
    days = "".join("0" if at == today else "1" for at in range(7))
    WorkTerms.objects.update_or_create(boat=make.boat, defaults={"weekdays": days})
    assert section(as_owner.get(PAGE), "Can begin") == []


def test_milestones_and_jobs_that_are_late(make, as_owner):
    yard = refit_with_a_late_part(make)
    Milestone.objects.update(target=in_days(make, -1))
    Job.objects.exclude(pk=yard.mast.pk).update(before="afloat")
    rows = section(as_owner.get(PAGE), "Overdue")
    assert rows[0].startswith("Launch set for")
    assert rows[0].endswith("days late")
    assert rows[1].startswith(f"{yard.mast.number} Step the mast waits for Mast step")


def test_the_launch_is_one_line(make, as_viewer):
    yard = refit_with_a_late_part(make)
    day = yard.due + timedelta(days=5)
    assert f"Launch {day:%-d %b %Y} hangs on: Mast step, " in text_of(as_viewer.get(PAGE))


def test_a_handful_and_the_way_to_all_of_them(make, as_owner):
    for at in range(today_dates.HANDFUL + 3):
        make.order(make.line(words=f"Thing {at}"), expected_on=make.today)
    page = as_owner.get(PAGE)
    assert len(section(page, "Deliveries due")) == today_dates.HANDFUL
    assert "Orders: 3 more" in text_of(page)


def test_every_row_leads_somewhere(make, as_owner):
    yard = refit_with_a_late_part(make)
    Booking.objects.create(boat=make.boat, job=yard.mast, day=make.today, who="Crane")
    make.order(expected_on=make.today)
    page = as_owner.get(PAGE).content.decode()
    main = page[page.index("<main") :]
    found = set(re.findall(r'href="(/test-boat/[^"#]*)', main))
    assert [go for go in found if as_owner.get(unescape(go)).status_code != 200] == []
    assert f"/test-boat/jobs/{yard.long.number}/fetch/" in found


def test_a_trade_sees_the_days_booked_for_its_jobs_only(make, as_trade):
    mine, other = make.job("Weld the rail", given_to=make.member(make.trade)), make.job("Secret plans")
    for job, ahead, days, who in (
        (mine, -3, 2, "Gone"),
        (mine, -1, 2, "Now"),
        (mine, 5, 1, "Soon"),
        (other, 5, 1, "Hidden"),
    ):
        Booking.objects.create(boat=make.boat, job=job, day=in_days(make, ahead), days=days, who=who)
    make.order(make.line(job=other), expected_on=make.today)
    said = text_of(as_trade.get(PAGE))
    assert "Days you are booked" in said
    assert [who for who in ("Gone", "Now", "Soon", "Hidden") if who in said] == ["Now", "Soon"]
    assert not [title for title in [*TITLES, "hangs on", "Secret"] if title in said]
