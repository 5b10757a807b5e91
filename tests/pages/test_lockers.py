"""The list of places, and the page that a label leads to."""

from datetime import timedelta
from decimal import Decimal
from io import BytesIO

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from openpyxl import load_workbook

from refit.boat.actions import places
from refit.boat.models import Kind, Location, Paper
from refit.stores.actions import stow
from refit.stores.actions.ledger import undo
from refit.stores.models import Holding, Need, Part
from refit.work.models import Job
from tests.factory import Factory
from tests.words import text

D = Decimal


def address(make, tail=""):
    return f"/{make.boat.slug}/lockers/{tail}"


def page_of(make, place):
    return address(make, f"{place.code}/")


def give_to_trade(make, job):
    Job.objects.filter(pk=job.pk).update(given_to=make.member(make.trade))


# --- the list -----------------------------------------------------------------------------------------------


def test_list_names_every_place_by_area_with_how_much_lies_there(make, as_viewer, clean_ledger):
    locker = make.place("S3", name="Pilot berth")
    box = make.place("B7", parent=locker, kind=Kind.BOX, name="Engine spares")
    make.stock(make.part("Impeller"), locker, 2)
    make.stock(make.part("Belt"), box, 1)
    places.set_cautions(locker, [("seacock", ""), ("isolator", "")])
    stow.count(box, [], by=make.owner, on=make.today, today=make.today)

    page = text(as_viewer.get(address(make)))

    assert f'href="{page_of(make, locker)}"' in page
    assert f'href="{page_of(make, box)}"' in page
    assert "Pilot berth" in page
    assert "2 cautions" in page
    assert "in <bdi>S3</bdi> · counted" in page
    assert page.index("Not stowed yet") < page.index("Saloon") < page.index("S3") < page.index("B7")


def test_marks_stand_in_the_order_people_count(make, as_owner):
    for mark in ("S10", "S2", "S1"):
        make.place(mark)
    page = text(as_owner.get(address(make)))
    assert page.index("<bdi>S1</bdi>") < page.index("<bdi>S2</bdi>") < page.index("<bdi>S10</bdi>")


def test_a_box_stands_after_its_locker_and_before_the_next(make, as_owner):
    first = make.place("S1")
    make.place("S2")
    make.place("Z9", parent=first, kind=Kind.BOX)
    page = text(as_owner.get(address(make)))
    assert page.index("<bdi>S1</bdi>") < page.index("<bdi>Z9</bdi>") < page.index("<bdi>S2</bdi>")


def test_an_empty_boat_is_led_to_add_places(make, as_owner, as_viewer):
    assert f'class="button next" href="{address(make, "quick/")}"' in text(as_owner.get(address(make)))
    assert address(make, "quick/") not in text(as_viewer.get(address(make)))


def test_not_stowed_yet_shows_how_many_things_wait(make, as_owner):
    waiting = Location.objects.get(boat=make.boat, kind=Kind.UNSTOWED)
    for name in ("Anode", "Tape", "Cable"):
        make.stock(make.part(name), waiting, 5)
    row = text(as_owner.get(address(make))).split(waiting.code)[1].split("</a>")[0]
    assert ">3<" in row


def test_a_retired_place_is_no_longer_listed(make, as_owner):
    gone = make.place("S4")
    places.retire_empty(gone, None)
    assert "<bdi>S4</bdi>" not in text(as_owner.get(address(make)))


def test_list_sorts_and_narrows(make, as_owner):
    empty, full = make.place("S1", name="Empty one"), make.place("S2", name="Full one")
    make.stock(make.part(), full, 1)
    page = text(as_owner.get(address(make), {"sort": "-things"}))
    assert page.index("Full one") < page.index("Empty one")
    page = text(as_owner.get(address(make), {"q": "full"}))
    assert "Full one" in page
    assert "Empty one" not in page
    page = text(as_owner.get(address(make), {"kind": "box"}))
    assert "No place is like that" in page
    stow.count(empty, [], by=make.owner, on=make.today, today=make.today)
    page = text(as_owner.get(address(make), {"uncounted": make.today.isoformat()}))
    assert "Full one" in page
    assert "Empty one" not in page


@pytest.mark.parametrize(
    "query", ["sort=nonsense", "page=99999", "uncounted=20226-01-01", "kind=%3Cscript%3E"]
)
def test_a_silly_question_of_the_list_is_still_answered(make, as_owner, query):
    make.place("S1")
    assert as_owner.get(address(make) + "?" + query).status_code == 200


def test_list_leaves_as_a_spreadsheet_in_which_nothing_runs(make, as_owner):
    make.place("S1", name="=1+1")
    make.stock(make.part(), make.place("S2", name="Bin"), 1)
    response = as_owner.get(address(make), {"export": "xlsx"})
    sheet = load_workbook(BytesIO(response.content)).active
    rows = {row[0].value: row for row in sheet.iter_rows(min_row=2) if row[0].value}
    assert rows["S1"][1].value == "=1+1"
    assert rows["S1"][1].data_type == "s"
    assert rows["S2"][6].value == 1
    assert b"'=1+1" in as_owner.get(address(make), {"export": "csv"}).content


def test_a_trade_sees_only_where_its_parts_lie(make, as_trade):
    mine, other = make.place("S1"), make.place("S2")
    part = make.part("Impeller")
    make.stock(part, mine, 1)
    make.stock(make.part("Flare"), other, 1)
    job = make.job()
    Need.objects.create(boat=make.boat, job=job, part=part)
    give_to_trade(make, job)
    page = text(as_trade.get(address(make)))
    assert "<bdi>S1</bdi>" in page
    assert "<bdi>S2</bdi>" not in page
    assert "Not stowed yet" not in page
    assert as_trade.get(page_of(make, mine)).status_code == 200
    assert as_trade.get(page_of(make, other)).status_code == 404


def test_who_is_no_member_finds_no_lockers(make, as_outsider, client):
    place = make.place("S1")
    assert as_outsider.get(address(make)).status_code == 404
    assert as_outsider.get(page_of(make, place)).status_code == 404
    response = client.get(page_of(make, place))
    assert response.status_code == 302
    assert response["Location"].endswith(f"?next={page_of(make, place)}")


def test_pages_of_places_only_show(make, as_owner):
    place = make.place("S1")
    assert as_owner.post(address(make)).status_code == 405
    assert as_owner.post(page_of(make, place)).status_code == 405


@pytest.mark.parametrize("query", ["", "?sort=mark"])
def test_list_asks_as_many_questions_with_a_hundred_places_as_with_ten(make, as_owner, query):
    counted = []
    for upto in (10, 110):
        while Location.objects.filter(boat=make.boat, kind=Kind.LOCKER).count() < upto:
            place = make.place()
            make.stock(make.part(), place, 1)
            places.set_cautions(place, [("hot", "")])
        with CaptureQueriesContext(
            connection,
        ) as asked:
            assert as_owner.get(address(make) + query).status_code == 200
        counted.append(len(asked))
    assert counted[0] == counted[1] <= 6


# --- one place ----------------------------------------------------------------------------------------------


def test_a_label_leads_to_what_lies_there_and_in_its_boxes(make, as_viewer, clean_ledger):
    locker = make.place("S3", name="Pilot berth", note="Lift the board")
    box = make.place("B7", parent=locker, kind=Kind.BOX, name="Engine spares")
    inner = make.place("G1", parent=box, kind=Kind.BAG, name="Seals")
    make.stock(make.part("Hose", unit="m"), locker, "4.3")
    make.stock(make.part("Belt"), box, 2)
    make.stock(make.part("O-ring"), inner, 11)
    stow.count(locker, [], by=make.owner, on=make.today - timedelta(days=0), today=make.today)
    response = as_viewer.get(f"/l/{locker.code.lower()}", follow=True)
    page = text(response)
    assert response.redirect_chain[-1][0] == page_of(make, locker)
    assert '<span class="plate plate-big"><bdi>S3</bdi></span>' in page
    for words in (
        "Pilot berth",
        "Saloon",
        locker.code,
        "Lift the board",
        "4.3 <small>m</small>",
        "Belt",
        "O-ring",
    ):
        assert words in page
    assert page.index("Hose") < page.index("Engine spares") < page.index("Belt") < page.index("O-ring")
    assert f"last counted {make.today:%-d %b %Y}" in page


@pytest.mark.parametrize(
    ("days", "words"),
    [(-1, "out of date since"), (0, "runs out"), (60, "runs out"), (61, None)],
)
def test_what_runs_out_is_marked_60_days_before_and_the_day_itself_still_counts(make, as_owner, days, words):
    place = make.place("S1")
    day = make.today + timedelta(days=days)
    make.stock(make.part("Flare"), place, 4, serial="4412", expires_on=day)
    page = text(as_owner.get(page_of(make, place)))
    assert "4412" in page
    for each in ("out of date since", "runs out"):
        assert (f"{each} {day:%-d %b %Y}" in page) is (each == words)


def test_less_than_the_least_to_carry_is_marked_counting_all_that_is_aboard(make, as_owner):
    place, other = make.place("S1"), make.place("S2")
    part = make.part("Impeller", minimum=D(3))
    make.stock(part, place, 2)
    assert "below 3" in text(as_owner.get(page_of(make, place)))
    make.stock(part, other, 1)
    assert "below 3" not in text(as_owner.get(page_of(make, place)))


def test_ashore_does_not_count_as_aboard(make, as_owner):
    place, shed = make.place("S1"), make.place("SH1", parent=make.ashore)
    part = make.part("Impeller", minimum=D(3))
    make.stock(part, place, 2)
    make.stock(part, shed, 5)
    assert "below 3" in text(as_owner.get(page_of(make, place)))


def test_cautions_of_the_place_and_its_boxes_stand_on_top(make, as_viewer):
    locker = make.place("S3")
    box = make.place("B7", parent=locker, kind=Kind.BOX)
    places.set_cautions(locker, [("seacock", "Basin drain")])
    places.set_cautions(box, [("battery", "")])
    page = text(as_viewer.get(page_of(make, locker)))
    assert (
        "<strong>Do not block:</strong> seacock: keep it within reach at all times. <bdi>Basin drain</bdi>"
        in page
    )
    assert "<strong>Mind:</strong> batteries" in page
    assert page.index("Do not block") < page.index("Nothing is down for this place")


def test_the_photo_of_a_place_stands_on_its_page(make, as_owner):
    paper = Paper.objects.create(
        boat=make.boat,
        number=7,
        kind="photo",
        content_type="image/jpeg",
        sha256="a" * 64,
        size=9,
        added_by=make.owner,
    )
    place = make.place("S3", photo=paper)
    page = text(as_owner.get(page_of(make, place)))
    assert f'src="/{make.boat.slug}/papers/7/small/"' in page
    assert 'alt="Photo of S3"' in page


def test_things_to_keep_apart_are_cautioned_of_by_the_table_of_the_imdg_code(make, as_viewer):
    """IMDG Code 7.2.4: class 3 and class 5.2 "separated from" (2); class 3 and class 9 have no such term (X)."""
    locker, other = make.place("S3"), make.place("S4")
    box = make.place("B7", parent=locker, kind=Kind.BOX)
    make.stock(make.part("Acetone", hazard="3"), locker, 1)
    make.stock(make.part("Cell", hazard="9"), locker, 1)
    make.stock(make.part("MEKP hardener", hazard="5.2"), other, 1)
    assert "Keep apart" not in text(as_viewer.get(page_of(make, locker)))
    make.stock(make.part("Peroxide", hazard="5.2"), box, 1)
    page = text(as_viewer.get(page_of(make, locker)))
    assert page.count("Keep apart") == 1
    assert "Acetone and Peroxide" in page
    assert "stow them well apart" in page
    assert "Follow the makers&#x27; safety sheets and the local rules." in page


def test_in_an_area_only_what_shares_a_locker_is_cautioned_of(make, as_viewer):
    first, second = make.place("S3"), make.place("S4")
    make.stock(make.part("Acetone", hazard="3"), first, 1)
    peroxide = make.part("Peroxide", hazard="5.2")
    make.stock(peroxide, second, 1)
    assert "Keep apart" not in text(as_viewer.get(page_of(make, make.area)))
    make.stock(peroxide, first, 1)
    page = text(as_viewer.get(page_of(make, make.area)))
    assert page.count("Keep apart") == 1


def test_an_area_shows_its_places_and_all_that_is_in_them(make, as_owner):
    locker = make.place("S3")
    make.stock(make.part("Belt"), locker, 2)
    page = text(as_owner.get(page_of(make, make.area)))
    assert "Belt" in page
    assert f'href="{page_of(make, locker)}"' in page
    assert ">Count</a>" not in page


def test_a_retired_place_tells_where_its_things_went(make, as_owner, clean_ledger):
    old, new = make.place("S3"), make.place("S4")
    make.stock(make.part("Belt"), old, 2)
    stow.retire_place(old, new, by=make.owner, on=make.today, today=make.today)
    page = text(as_owner.get(page_of(make, old)))
    assert "No longer in use" in page
    assert f'href="{page_of(make, new)}"' in page
    assert "Put in" not in page


def test_what_is_kept_by_level_is_said_in_one_tap(make, as_crew, as_viewer):
    place = make.place("S3")
    make.stock(make.part("Clips", kept="level"), place)
    page = text(as_crew.get(page_of(make, place)))
    assert '<button name="level" value="low"' in page
    assert '<button name="level" value="gone"' in page
    assert '<button name="level" value="fine"' not in page
    assert 'name="level"' not in text(as_viewer.get(page_of(make, place)))


def test_jobs_that_want_what_lies_here_are_named_until_they_have_it(make, as_owner, clean_ledger):
    place, part, job = make.place("S3"), make.part("Impeller"), make.job("Service the pump")
    holding = make.stock(part, place, 5)
    Need.objects.create(boat=make.boat, job=job, part=part, quantity=D(2))
    assert f"job {job.number} wants 2" in text(as_owner.get(page_of(make, place)))
    entry = stow.take(holding, D(1), by=make.owner, on=make.today, today=make.today, job=job)
    assert f"job {job.number} wants 1" in text(as_owner.get(page_of(make, place)))
    undo(entry, by=make.owner, today=make.today)
    assert f"job {job.number} wants 2" in text(as_owner.get(page_of(make, place)))
    stow.take(holding, D(2), by=make.owner, on=make.today, today=make.today, job=job)
    assert f"job {job.number} wants" not in text(as_owner.get(page_of(make, place)))


def test_what_is_on_its_way_here_is_listed_without_prices(make, as_owner, as_trade):
    place, part, job = make.place("S3"), make.part("Impeller"), make.job()
    give_to_trade(make, job)
    order = make.order(make.line(part, packs=D(3), price=D("77.31"), place=place, job=job))
    make.stock(part, place, 1)
    page = text(as_owner.get(page_of(make, place)))
    assert "On its way here" in page
    assert f"order {order.number}" in page
    trades = text(as_trade.get(page_of(make, place)))
    assert "On its way here" in trades
    assert f"/orders/{order.number}/" not in trades
    assert "77.31" not in page + trades


def test_a_trade_sees_in_a_locker_only_its_own_parts_and_takes_nothing(make, as_trade):
    place, part, job = make.place("S3"), make.part("Impeller"), make.job()
    give_to_trade(make, job)
    Need.objects.create(boat=make.boat, job=job, part=part)
    make.stock(part, place, 1)
    make.stock(make.part("Whisky"), place, 1)
    page = text(as_trade.get(page_of(make, place)))
    assert "Impeller" in page
    assert "Whisky" not in page
    assert ">Take<" not in page
    assert "Put in" not in page


@pytest.mark.parametrize("code", ["XXXX", "0000", "9" * 40, "%00", "<script>"])
def test_a_code_that_is_no_place_of_the_boat_is_not_found(make, as_owner, code):
    assert as_owner.get(address(make, f"{code}/")).status_code == 404


def test_another_boats_place_is_not_found(make, as_owner):
    other = Factory.start("Other Boat", prefix="other-")
    assert as_owner.get(address(make, f"{other.place('S1').code}/")).status_code == 404


def test_odd_names_are_shown_as_they_are_and_do_nothing(make, as_owner):
    place = make.place("S3", name="<script>alert(1)</script>")
    for name in ("=cmd|' /C calc'!A0", "‮evil", "<b>bold</b>"):
        make.stock(make.part(name.replace("‮", "")), place, 1)
    make.stock(make.part("שרשרת"), place, 1)
    page = text(as_owner.get(page_of(make, place)))
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert" in page
    assert "<b>bold</b>" not in page
    assert "<bdi>שרשרת</bdi>" in page
    assert "=cmd|" in page


def fill(make, place, number):
    """Lay many things in a place, past the ledger: only what the page asks is measured here."""
    have = Part.objects.filter(boat=make.boat).count()
    parts = [
        Part(boat=make.boat, name=f"Thing {n}", minimum=D(2), search=f"thing{n}") for n in range(have, number)
    ]
    Part.objects.bulk_create(parts)
    Holding.objects.bulk_create(
        [Holding(boat=make.boat, part=part, place=place, quantity=D(1)) for part in parts]
    )


def test_the_page_of_a_label_asks_at_most_13_questions_with_10_things_or_1000(make, as_owner):
    place = make.place("S3")
    box = make.place("B7", parent=place, kind=Kind.BOX)
    places.set_cautions(place, [("seacock", "")])
    make.order(make.line(make.part("Coming"), place=place))
    counted = []
    for upto in (10, 1000):
        fill(make, place if upto == 10 else box, upto)
        job = make.job()
        for part in Part.objects.filter(boat=make.boat)[:5]:
            Need.objects.create(boat=make.boat, job=job, part=part)
        with CaptureQueriesContext(connection) as asked:
            response = as_owner.get(page_of(make, place))
        counted.append(len(asked))
        assert text(response).count("below 2") >= upto - 5
    assert counted[0] == counted[1] <= 13, [query["sql"][:90] for query in asked]
