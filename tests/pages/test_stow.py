"""Standing at a locker: take, put in, move, put away, count, and say what is not as written down."""

import re
from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext

from refit.boat.models import Kind, Location
from refit.reports.qr import matrix
from refit.stores.actions import stow
from refit.stores.models import Count, Entry, Holding, Missing, Movement, Need, Part, Reason
from tests.factory import Factory

D = Decimal
pytestmark = pytest.mark.usefixtures("clean_ledger")


def locker(make, place, tail=""):
    return f"/{make.boat.slug}/lockers/{place.code}/{tail}"


def text(response):
    return response.content.decode()


def key_in(page):
    return re.search(r'name="form_key" value="([^"]+)"', page).group(1)


def undo_in(page):
    """Return where the Undo of the message leads."""
    return re.search(r'action="([^"]+/undo/)">(?:<input[^>]+>)+<button>Undo', page).group(1)


def left(holding):
    holding.refresh_from_db()
    return holding.quantity


def unstowed(make):
    return Location.objects.get(boat=make.boat, kind=Kind.UNSTOWED)


@pytest.fixture
def place(make):
    return make.place("S3", name="Pilot berth")


@pytest.fixture
def held(make, place):
    return make.stock(make.part("Impeller"), place, 5)


# --- take ---------------------------------------------------------------------------------------------------


def test_take_for_a_job_is_two_presses_after_the_label(make, as_crew, place, held):
    job = make.job("Service the pump")
    Need.objects.create(boat=make.boat, job=job, part=held.part)
    page = text(as_crew.get(f"/L/{place.code}", follow=True))
    # The form lies folded in the row: the first press opens it, the second is the job's own button.
    form = page.split(f'action="{locker(make, place, f"take/{held.pk}/")}"')[1].split("</form>")[0]
    assert f'<button name="job" value="{job.number}">' in form
    assert 'name="quantity" value="1"' in form
    sent = {"quantity": "1", "job": str(job.number), "form_key": key_in(form)}
    response = as_crew.post(locker(make, place, f"take/{held.pk}/"), sent, follow=True)
    assert response.redirect_chain == [(locker(make, place), 302)]
    assert f"Took 1 Impeller from S3 for job {job.number}." in text(response)
    assert left(held) == 4
    assert Movement.objects.get(reason=Reason.USED).job == job

    response = as_crew.post(
        undo_in(text(response)), HTTP_REFERER=f"http://testserver{locker(make, place)}", follow=True
    )
    assert response.redirect_chain == [(locker(make, place), 302)]
    assert "Undone: Took 1 Impeller" in text(response)
    assert left(held) == 5


def test_just_used_belongs_to_no_job(make, as_owner, place, held):
    as_owner.post(locker(make, place, f"take/{held.pk}/"), {"quantity": "2", "job": "used"})
    assert left(held) == 3
    assert Movement.objects.get(reason=Reason.USED).job is None


def test_another_job_is_chosen_on_a_page_of_its_own_with_the_number_kept(make, as_owner, place, held):
    job = make.job("Rewire the mast")
    response = as_owner.post(
        locker(make, place, f"take/{held.pk}/"), {"quantity": "3", "job": "choose"}, follow=True
    )
    page = text(response)
    assert left(held) == 5
    assert 'name="quantity" value="3"' in page
    assert f'name="job" value="{job.number}"' in page
    as_owner.post(locker(make, place, f"take/{held.pk}/"), {"quantity": "3", "job": str(job.number)})
    assert left(held) == 2


def test_taking_below_the_least_to_carry_says_so(make, as_owner, place):
    held = make.stock(make.part("Filter", minimum=D(3)), place, 3)
    response = as_owner.post(
        locker(make, place, f"take/{held.pk}/"), {"quantity": "1", "job": "used"}, follow=True
    )
    assert "That leaves 2 aboard, below 3." in text(response)


def test_a_thing_in_a_box_is_taken_from_the_page_of_its_locker(make, as_owner, place):
    box = make.place("B7", parent=place, kind=Kind.BOX)
    held = make.stock(make.part(), box, 2)
    response = as_owner.post(locker(make, place, f"take/{held.pk}/"), {"quantity": "1", "job": "used"})
    assert response["Location"] == locker(make, place)
    assert left(held) == 1


def test_written_down_later_the_day_may_lie_back_to_the_last_count(make, as_owner, place):
    part, today = make.part(), make.today
    held = make.stock(part, place, 5, on=today - timedelta(days=30))
    stow.count(place, [stow.Counted(part, D(5))], by=make.owner, on=today - timedelta(days=10), today=today)
    send = {"quantity": "1", "job": "used"}
    ago = lambda days: (today - timedelta(days=days)).isoformat()  # noqa: E731
    response = as_owner.post(locker(make, place, f"take/{held.pk}/"), send | {"on": ago(11)})
    assert response.status_code == 422
    assert "nothing earlier can be written down" in text(response)
    assert left(held) == 5
    as_owner.post(locker(make, place, f"take/{held.pk}/"), send | {"on": ago(10)})
    assert left(held) == 4
    assert Entry.objects.first().happened_on == today - timedelta(days=10)


@pytest.mark.parametrize(
    "quantity",
    [
        "",
        "0",
        "-1",
        "1e3",
        "NaN",
        "lots",
        "1000000",
        "0.0001",
        "１",
        "5.001",
        "9" * 400,
        "1\x00",
        "x" * 100_000,
    ],
)
def test_an_amount_that_is_none_or_too_much_changes_nothing_and_is_answered(
    make, as_owner, place, held, quantity
):
    response = as_owner.post(locker(make, place, f"take/{held.pk}/"), {"quantity": quantity, "job": "used"})
    assert response.status_code == 422
    assert 'role="alert"' in text(response)
    assert left(held) == 5
    assert not Movement.objects.filter(reason=Reason.USED).exists()


@pytest.mark.parametrize("day", ["20226-01-01", "0001-01-01", "2199-01-01", "some day", "2026-13-01"])
def test_a_day_that_is_none_changes_nothing(make, as_owner, place, held, day):
    response = as_owner.post(
        locker(make, place, f"take/{held.pk}/"), {"quantity": "1", "job": "used", "on": day}
    )
    assert response.status_code == 422
    assert left(held) == 5


@pytest.mark.parametrize("job", ["999", "-1", "x", "9" * 12, "١"])
def test_a_job_that_is_none_changes_nothing(make, as_owner, place, held, job):
    response = as_owner.post(locker(make, place, f"take/{held.pk}/"), {"quantity": "1", "job": job})
    assert response.status_code == 422
    assert "Choose one of the list" in text(response)
    assert left(held) == 5


def test_another_boats_job_is_no_job_here(make, as_owner, place, held):
    other = Factory.start("Other Boat", prefix="other-")
    for _ in range(3):
        job = other.job()
    response = as_owner.post(
        locker(make, place, f"take/{held.pk}/"), {"quantity": "1", "job": str(job.number)}
    )
    assert response.status_code == 422
    assert left(held) == 5


def test_another_boats_thing_cannot_be_taken(make, as_owner, place):
    other = Factory.start("Other Boat", prefix="other-")
    theirs = other.stock(other.part(), other.place("S3"), 5)
    for action in ("take", "correct", "not-there", "level"):
        response = as_owner.post(
            locker(make, place, f"{action}/{theirs.pk}/"), {"quantity": "1", "level": "low"}
        )
        assert response.status_code == 404
    assert left(theirs) == 5


@pytest.mark.parametrize("pk", [0, 999_999, 2**63, 10**40])
def test_a_thing_that_is_not_there_is_not_found(make, as_owner, place, pk):
    for action in ("take", "correct", "not-there", "level"):
        assert as_owner.post(locker(make, place, f"{action}/{pk}/")).status_code == 404


def test_a_thing_of_another_locker_is_not_found_here(make, as_owner, place):
    held = make.stock(make.part(), make.place("S4"), 1)
    assert as_owner.get(locker(make, place, f"take/{held.pk}/")).status_code == 404


def test_the_same_form_twice_takes_once(make, as_owner, place, held):
    sent = {"quantity": "1", "job": "used", "form_key": key_in(text(as_owner.get(locker(make, place))))}
    for _ in range(2):
        response = as_owner.post(locker(make, place, f"take/{held.pk}/"), sent, follow=True)
        assert response.redirect_chain == [(locker(make, place), 302)]
    assert "Already recorded at" in text(response)
    assert left(held) == 4


def test_after_back_other_content_is_another_deed(make, as_owner, place, held):
    key = key_in(text(as_owner.get(locker(make, place))))
    for quantity in ("1", "2"):
        as_owner.post(
            locker(make, place, f"take/{held.pk}/"), {"quantity": quantity, "job": "used", "form_key": key}
        )
    assert left(held) == 2


def test_a_comma_is_taken_as_people_type_it(make, as_owner, place):
    held = make.stock(make.part("Hose", unit="m"), place, "4.3")
    as_owner.post(locker(make, place, f"take/{held.pk}/"), {"quantity": "1,5", "job": "used"})
    assert left(held) == D("2.8")


def test_what_is_measured_begins_with_an_empty_box(make, as_owner, place):
    make.stock(make.part("Hose", unit="m"), place, "4.3")
    assert 'name="quantity" value=""' in text(as_owner.get(locker(make, place)))


# --- there were more, it isn't here ---------------------------------------------------------------------------


def test_more_than_is_there_offers_to_correct_and_take_in_one_press(make, as_owner, place, held):
    job = make.job()
    response = as_owner.post(
        locker(make, place, f"take/{held.pk}/"), {"quantity": "7", "job": str(job.number)}
    )
    page = text(response)
    assert response.status_code == 422
    assert "There is 5 of Impeller in S3 Pilot berth, not 7." in page
    assert "There were more: correct and take" in page
    assert left(held) == 5
    form = page.split(f'action="{locker(make, place, f"correct/{held.pk}/")}"')[1].split("</form>")[0]
    sent = dict(re.findall(r'name="(\w+)" value="([^"]*)"', form))
    assert sent["there"] == sent["quantity"] == "7"
    response = as_owner.post(locker(make, place, f"correct/{held.pk}/"), sent | {"there": "8"}, follow=True)
    assert f"Corrected Impeller in S3 to 8, and took 7 for job {job.number}." in text(response)
    assert left(held) == 1
    as_owner.post(undo_in(text(response)))
    assert left(held) == 5


@pytest.mark.parametrize(("there", "quantity"), [("3", "4"), ("", "1"), ("-1", "1"), ("x", "1"), ("5", "0")])
def test_a_correction_that_makes_no_sense_changes_nothing(make, as_owner, place, held, there, quantity):
    response = as_owner.post(
        locker(make, place, f"correct/{held.pk}/"), {"there": there, "quantity": quantity, "job": "used"}
    )
    assert response.status_code == 422
    assert left(held) == 5


def test_it_isnt_here_counts_to_nil_and_stands_on_the_missing_list(make, as_crew, place, held):
    response = as_crew.post(locker(make, place, f"not-there/{held.pk}/"), follow=True)
    assert "Impeller is not in S3; it stands on the Missing list." in text(response)
    assert left(held) == 0
    assert Missing.objects.get().quantity == 5
    as_crew.post(undo_in(text(response)))
    assert left(held) == 5
    assert not Missing.objects.exists()


def test_it_isnt_here_twice_is_refused_kindly(make, as_owner, place, held):
    for _ in range(2):
        response = as_owner.post(locker(make, place, f"not-there/{held.pk}/"), follow=True)
    assert "There is no Impeller down for S3" in text(response)
    assert Missing.objects.count() == 1


# --- by level ---------------------------------------------------------------------------------------------------


def test_low_and_gone_are_one_press_and_undone_by_one(make, as_crew, place):
    held = make.stock(make.part("Clips", kept="level"), place)
    for said in ("low", "gone", "fine"):
        response = as_crew.post(locker(make, place, f"level/{held.pk}/"), {"level": said}, follow=True)
        assert f"Clips in S3: {said}." in text(response)
        held.refresh_from_db()
        assert held.level == said
    as_crew.post(undo_in(text(response)))
    held.refresh_from_db()
    assert held.level == "gone"


@pytest.mark.parametrize("said", ["", "here", "plenty", "FINE"])
def test_a_level_that_is_none_changes_nothing(make, as_owner, place, said):
    held = make.stock(make.part("Clips", kept="level"), place)
    response = as_owner.post(locker(make, place, f"level/{held.pk}/"), {"level": said}, follow=True)
    assert "said-stop" in text(response)
    held.refresh_from_db()
    assert held.level == "fine"


def test_a_counted_part_has_no_level(make, as_owner, place, held):
    response = as_owner.post(locker(make, place, f"level/{held.pk}/"), {"level": "low"}, follow=True)
    assert "is counted" in text(response)
    assert left(held) == 5


# --- put in -----------------------------------------------------------------------------------------------------


def test_two_letters_or_a_number_find_the_part_and_where_it_lies(make, as_owner, place, held):
    part = make.part("Zinc anode", numbers=[("maker", "09-1027", "Norrvik")])
    for typed in ("zi", "091027", "09 10", "ZINC an"):
        page = text(as_owner.get(locker(make, place, "put-in/"), {"q": typed}))
        assert f'href="{locker(make, place, "put-in/")}?part={part.pk}"' in page
    page = text(as_owner.get(locker(make, place, "put-in/"), {"q": "impel"}))
    assert "5 in <bdi>S3</bdi>" in page
    fragment = text(as_owner.get(locker(make, place, "put-in/"), {"q": "zi"}, HTTP_HX_REQUEST="true"))
    assert "Zinc anode" in fragment
    assert "<html" not in fragment


def test_a_known_part_is_put_in_and_taken_out_again_by_undo(make, as_crew, place, held):
    page = text(as_crew.get(locker(make, place, "put-in/"), {"part": held.part_id}))
    assert "Put in <bdi>Impeller</bdi>" in page
    sent = {"part": held.part_id, "quantity": "3", "form_key": key_in(page)}
    response = as_crew.post(locker(make, place, "put-in/"), sent, follow=True)
    assert "Put 3 Impeller into S3." in text(response)
    assert left(held) == 8
    as_crew.post(locker(make, place, "put-in/"), sent)
    assert left(held) == 8
    as_crew.post(undo_in(text(response)))
    assert left(held) == 5


def test_put_in_then_another_leads_back_to_the_search(make, as_owner, place, held):
    response = as_owner.post(
        locker(make, place, "put-in/"), {"part": held.part_id, "quantity": "1", "then": "another"}
    )
    assert response["Location"] == locker(make, place, "put-in/")


def test_a_new_part_is_made_and_put_in_at_once(make, as_owner, place):
    page = text(as_owner.get(locker(make, place, "put-in/"), {"q": "Spark plug"}))
    assert "?new=Spark%20plug" in page
    page = text(as_owner.get(locker(make, place, "put-in/"), {"new": "Spark plug"}))
    assert 'value="Spark plug"' in page
    sent = {"name": "Spark plug", "number": "K-7", "unit": "each", "kept": "counted", "quantity": "4"}
    response = as_owner.post(locker(make, place, "put-in/"), sent | {"form_key": key_in(page)}, follow=True)
    part = Part.objects.get(name="Spark plug")
    assert part.numbers.get().number == "K-7"
    assert Holding.objects.get(part=part).quantity == 4
    assert "Put 4 Spark plug into S3." in text(response)


def test_a_new_part_kept_by_level_needs_no_number(make, as_owner, place):
    sent = {"name": "Rags", "unit": "each", "kept": "level", "quantity": ""}
    as_owner.post(locker(make, place, "put-in/"), sent)
    assert Holding.objects.get(part__name="Rags").level == "fine"


@pytest.mark.parametrize(
    "wrong",
    [
        {"name": ""},
        {"name": "x" * 121},
        {"quantity": ""},
        {"quantity": "-2"},
        {"unit": "furlong"},
        {"kept": "?"},
    ],
)
def test_a_new_part_with_something_wrong_is_not_made(make, as_owner, place, wrong):
    sent = {"name": "Rags", "unit": "each", "kept": "counted", "quantity": "1"} | wrong
    response = as_owner.post(locker(make, place, "put-in/"), sent)
    assert response.status_code == 422
    assert not Part.objects.filter(boat=make.boat).exists()


def test_date_and_batch_are_kept_with_what_is_put_in(make, as_owner, place):
    part = make.part("Flare", has_expiry=True)
    sent = {"part": part.pk, "quantity": "4", "expires_on": "2029-03-31", "serial": "4412"}
    as_owner.post(locker(make, place, "put-in/"), sent)
    lot = Holding.objects.get(part=part).lot
    assert (lot.serial, lot.expires_on.isoformat()) == ("4412", "2029-03-31")


def test_another_boats_part_cannot_be_put_in(make, as_owner, place):
    other = Factory.start("Other Boat", prefix="other-")
    part = other.part("Theirs")
    for pk in (part.pk, 10**30, "x", "-1"):
        assert as_owner.post(locker(make, place, "put-in/"), {"part": pk, "quantity": "1"}).status_code == 404
    assert (
        "Theirs"
        not in text(as_owner.get(locker(make, place, "put-in/"), {"q": "theirs"}))
        .split('id="found"')[1]
        .split("New part")[0]
    )
    assert not Holding.objects.exists()


def test_nothing_is_put_into_an_area_or_a_retired_place(make, as_owner, held):
    old = make.place("S9")
    stow.retire_place(old, None, by=make.owner, on=make.today, today=make.today)
    for spot in (make.area, old):
        for tail in ("put-in/", "count/", "put-away/"):
            response = as_owner.get(locker(make, spot, tail), follow=True)
            assert response.redirect_chain == [(locker(make, spot), 302)]
            assert "choose a locker, box or bag" in text(response)
        response = as_owner.post(locker(make, spot, "put-in/"), {"part": held.part_id, "quantity": "1"})
        assert response.status_code == 302
    assert left(held) == 5


def test_names_are_found_and_shown_as_they_are(make, as_owner, place):
    make.part("<script>alert(1)</script>")
    page = text(as_owner.get(locker(make, place, "put-in/"), {"q": "script"}))
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert" in page
    for typed in ("\x00", "‮" * 90, "%", "_", "x" * 100_000):
        assert as_owner.get(locker(make, place, "put-in/"), {"q": typed}).status_code == 200


# --- move and put away --------------------------------------------------------------------------------------------


def test_things_ticked_are_moved_together_and_back_by_one_undo(make, as_crew, place, held):
    box = make.place("B7", parent=place, kind=Kind.BOX)
    belt = make.stock(make.part("Belt"), box, 2)
    clips = make.stock(make.part("Clips", kept="level"), place)
    stays = make.stock(make.part("Stays"), place, 9)
    to = make.place("S4")
    sent = {
        f"item-{held.pk}": "on",
        f"many-{held.pk}": "2",
        f"item-{belt.pk}": "on",
        f"item-{clips.pk}": "on",
        "to": "s4",
        "form_key": key_in(text(as_crew.get(locker(make, place, "move/")))),
    }
    response = as_crew.post(locker(make, place, "move/"), sent, follow=True)
    assert response.redirect_chain == [(locker(make, place), 302)]
    assert "Moved 3 things to S4." in text(response)
    there = {h.part.name: (h.quantity, h.level) for h in Holding.objects.filter(place=to)}
    assert there == {"Impeller": (2, ""), "Belt": (2, ""), "Clips": (0, "fine")}
    assert left(held) == 3
    assert left(stays) == 9
    as_crew.post(locker(make, place, "move/"), sent)
    assert left(held) == 3
    as_crew.post(undo_in(text(response)))
    assert left(held) == 5
    assert not Holding.objects.there().filter(place=to).exists()


@pytest.mark.parametrize("how", ["mark", "code", "address", "name"])
def test_the_place_is_named_by_mark_code_name_or_the_address_of_its_label(make, as_owner, place, held, how):
    to = make.place("S4", name="Lower shelf")
    words = {
        "mark": "S 4",
        "code": to.code.lower(),
        "name": "lower shelf",
        "address": f"HTTP://10.0.0.7:8000/L/{to.code}",
    }
    as_owner.post(locker(make, place, "move/"), {"all": "1", "to": words[how]})
    assert Holding.objects.get(place=to).quantity == 5


def picture_of(words):
    """Return a photo, as it were, of a label."""
    from io import BytesIO

    from PIL import Image

    modules = matrix(words)
    side = len(modules)
    image = Image.new("L", (side + 8, side + 8), 255)
    for y, row in enumerate(modules):
        for x, dark in enumerate(row):
            if dark:
                image.putpixel((x + 4, y + 4), 0)
    out = BytesIO()
    image.resize(((side + 8) * 8, (side + 8) * 8), Image.Resampling.NEAREST).save(out, "PNG")
    return SimpleUploadedFile("label.png", out.getvalue(), content_type="image/png")


def test_the_place_is_read_from_a_photo_of_its_label(make, as_owner, place, held):
    to = make.place("S4")
    sent = {"all": "1", "photo": picture_of(f"HTTP://BOAT.LOCAL:8000/L/{to.code}")}
    response = as_owner.post(locker(make, place, "move/"), sent)
    assert response.status_code == 302
    assert Holding.objects.get(place=to).quantity == 5


def test_a_photo_without_a_label_of_ours_moves_nothing(make, as_owner, place, held):
    other = Factory.start("Other Boat", prefix="other-")
    for photo in (
        SimpleUploadedFile("x.png", b"not a picture"),
        picture_of("HTTP://BOAT.LOCAL/L/ZZZT"),
        picture_of(f"HTTP://BOAT.LOCAL/L/{other.place('S4').code}"),
    ):
        response = as_owner.post(locker(make, place, "move/"), {"all": "1", "photo": photo})
        assert response.status_code == 422
    assert left(held) == 5


@pytest.mark.parametrize("to", ["", "S99", "Saloon", "S3", "9" * 500, "<script>"])
def test_a_place_that_is_none_moves_nothing(make, as_owner, place, held, to):
    response = as_owner.post(locker(make, place, "move/"), {f"item-{held.pk}": "on", "to": to})
    assert response.status_code == 422
    assert left(held) == 5


def test_another_boats_place_or_thing_moves_nothing(make, as_owner, place, held):
    other = Factory.start("Other Boat", prefix="other-")
    theirs, spot = other.stock(other.part(), other.place("X1"), 5), other.place("X2")
    for sent in ({"all": "1", "to": spot.code}, {f"item-{theirs.pk}": "on", "to": "S3"}):
        assert as_owner.post(locker(make, place, "move/"), sent).status_code == 422
    assert left(held) == left(theirs) == 5


def test_nothing_ticked_or_too_many_moves_nothing(make, as_owner, place, held):
    make.place("S4")
    response = as_owner.post(locker(make, place, "move/"), {"to": "S4"})
    assert response.status_code == 422
    assert "Tick what to move" in text(response)
    response = as_owner.post(locker(make, place, "move/"), {f"many-{held.pk}": "6", "to": "S4"})
    assert response.status_code == 422
    assert "There is 5 of Impeller" in text(response)
    assert left(held) == 5


def test_what_waits_is_put_away_together_into_one_place(make, as_crew, place):
    waiting = unstowed(make)
    anode, tape = make.stock(make.part("Anode"), waiting, 2), make.stock(make.part("Tape"), waiting, 1)
    page = text(as_crew.get(f"/{make.boat.slug}/lockers/not-stowed/"))
    assert "Anode" in page
    assert f'action="{locker(make, waiting, "move/")}"' in page
    sent = {f"item-{anode.pk}": "on", "to": place.code}
    response = as_crew.post(locker(make, waiting, "move/"), sent, follow=True)
    assert response.redirect_chain == [(f"/{make.boat.slug}/lockers/not-stowed/", 302)]
    response = as_crew.post(locker(make, waiting, "move/"), {f"item-{tape.pk}": "on", "to": "S3"})
    assert response["Location"] == locker(make, place)
    assert Holding.objects.there().filter(place=place).count() == 2
    assert "All is put away" in text(as_crew.get(f"/{make.boat.slug}/lockers/not-stowed/"))


def test_from_a_locker_several_things_are_put_away_into_it(make, as_crew, place):
    waiting = unstowed(make)
    things = [make.stock(make.part(name), waiting, 2) for name in ("Anode", "Tape", "Cable")]
    assert f'href="{locker(make, place, "put-away/")}"' in text(as_crew.get(locker(make, place)))
    sent = {f"item-{thing.pk}": "on" for thing in things[:2]} | {f"many-{things[2].pk}": "1"}
    response = as_crew.post(locker(make, place, "put-away/"), sent, follow=True)
    assert "Moved 3 things to S3." in text(response)
    assert [left(thing) for thing in things] == [0, 0, 1]
    assert Entry.objects.filter(kind="move").count() == 1


# --- count --------------------------------------------------------------------------------------------------------


def test_a_count_changes_what_was_typed_and_names_what_was_not(make, as_crew, place, held):
    more, same, skipped = (make.stock(make.part(name), place, 2) for name in ("More", "Same", "Skipped"))
    clips = make.stock(make.part("Clips", kept="level"), place)
    page = text(as_crew.get(locker(make, place, "count/")))
    assert f'name="n-{held.pk}"' in page
    sent = {
        f"n-{held.pk}": "3",
        f"n-{more.pk}": "4",
        f"n-{same.pk}": "2",
        f"n-{clips.pk}": "low",
        "form_key": key_in(page),
    }
    response = as_crew.post(locker(make, place, "count/"), sent, follow=True)
    said = text(response).split('class="said"')[1].split("</span>")[0]
    for words in (
        "4 looked at",
        "3 corrected",
        "Not touched: Skipped",
        "Impeller 2 fewer",
        "More 2 more",
        "Clips is low",
    ):
        assert words in said
    assert [left(thing) for thing in (held, more, same, skipped)] == [3, 4, 2, 2]
    assert Count.objects.get().counted_on == make.today
    as_crew.post(locker(make, place, "count/"), sent)
    assert Count.objects.count() == 1
    as_crew.post(undo_in(text(response)))
    assert [left(thing) for thing in (held, more, same, skipped)] == [5, 2, 2, 2]
    clips.refresh_from_db()
    assert clips.level == "fine"
    assert "never counted" in text(as_crew.get(locker(make, place)))


def test_nil_is_a_number_and_counts_a_thing_away(make, as_owner, place, held):
    as_owner.post(locker(make, place, "count/"), {f"n-{held.pk}": "0"})
    assert left(held) == 0


def test_all_the_rest_as_written_down_is_one_tick(make, as_owner, place, held):
    other = make.stock(make.part("Other"), place, 2)
    clips = make.stock(make.part("Clips", kept="level"), place)
    response = as_owner.post(locker(make, place, "count/"), {f"n-{held.pk}": "4", "rest": "on"}, follow=True)
    said = text(response)
    assert "3 looked at, 1 corrected" in said
    assert "Not touched" not in said
    assert (left(held), left(other)) == (4, 2)
    clips.refresh_from_db()
    assert clips.level == "fine"


def test_what_was_found_and_not_down_is_added_by_name_or_number(make, as_owner, place, held):
    belt = make.part("Drive belt", numbers=[("maker", "AX-33", "")])
    pump, pump_seal = make.part("Pump"), make.part("Pump seal")
    sent = {"0-words": "ax33", "0-quantity": "2", "1-words": "pump", "1-quantity": "1"}
    sent |= {"2-part": str(pump_seal.pk), "2-words": "Pump seal", "2-quantity": "3"}
    response = as_owner.post(locker(make, place, "count/"), sent)
    assert response.status_code == 302
    found = dict(Holding.objects.filter(place=place).values_list("part__name", "quantity"))
    assert found == {"Impeller": 5, belt.name: 2, pump.name: 1, pump_seal.name: 3}


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        ({}, "Type what is there"),
        ({"0-words": "pump", "0-quantity": "1"}, "may be Pump seal, Pump shaft"),
        ({"0-words": "nothing such", "0-quantity": "1"}, "No part"),
        ({"0-words": "pump sea"}, "Say how many"),
        ({"0-quantity": "3"}, "Say of what"),
        ({"rest": "on", "0-words": "impeller", "0-quantity": "1"}, "is there twice"),
    ],
)
def test_a_count_with_something_unclear_changes_nothing(make, as_owner, place, held, sent, words):
    make.part("Pump seal")
    make.part("Pump shaft")
    response = as_owner.post(locker(make, place, "count/"), sent)
    assert response.status_code == 422
    assert words in text(response)
    assert left(held) == 5
    assert not Count.objects.exists()


@pytest.mark.parametrize("typed", ["-1", "x", "1e9", "1000000"])
def test_a_count_of_nonsense_changes_nothing(make, as_owner, place, held, typed):
    response = as_owner.post(locker(make, place, "count/"), {f"n-{held.pk}": typed})
    assert response.status_code == 422
    assert left(held) == 5


def test_an_empty_locker_can_be_counted(make, as_owner, place):
    response = as_owner.post(locker(make, place, "count/"), {}, follow=True)
    assert "Counted S3: 0 looked at, no difference." in text(response)
    assert f"last counted {make.today:%-d %b %Y}" in text(response)


def test_picks_for_a_line_of_a_count_come_as_buttons_that_fill_it(make, as_owner, place, held):
    fragment = text(
        as_owner.get(
            locker(make, place, "put-in/?pick"), {"pick": "", "0-words": "imp"}, HTTP_HX_REQUEST="true"
        )
    )
    assert "data-choose=" in fragment
    assert f"&quot;part&quot;: &quot;{held.part_id}&quot;" in fragment


# --- who may ------------------------------------------------------------------------------------------------------


DEEDS = ["put-in/", "move/", "put-away/", "count/", "take/{}/", "correct/{}/", "not-there/{}/", "level/{}/"]


@pytest.mark.parametrize("deed", DEEDS)
def test_only_who_may_stow_does_any_of_it(make, as_viewer, as_trade, as_outsider, client, place, held, deed):
    where, sent = (
        locker(make, place, deed.format(held.pk)),
        {"quantity": "1", "all": "1", f"n-{held.pk}": "1"},
    )
    assert as_viewer.post(where, sent).status_code == 403
    assert as_trade.post(where, sent).status_code == 403
    assert as_outsider.post(where, sent).status_code == 404
    assert client.post(where, sent).status_code == 302
    assert left(held) == 5
    assert Entry.objects.count() == 1


@pytest.mark.parametrize("deed", ["not-there/{}/", "level/{}/"])
def test_a_link_changes_nothing(make, as_owner, place, held, deed):
    assert as_owner.get(locker(make, place, deed.format(held.pk))).status_code == 405
    assert as_owner.put(locker(make, place, "count/")).status_code == 405
    assert left(held) == 5


@pytest.mark.parametrize("deed", DEEDS[:6])
def test_showing_a_form_writes_nothing(make, as_owner, place, held, deed):
    with CaptureQueriesContext(connection) as asked:
        assert as_owner.get(locker(make, place, deed.format(held.pk))).status_code == 200
    assert not [q for q in asked if q["sql"].split()[0] in ("INSERT", "UPDATE", "DELETE")]


@pytest.mark.parametrize(
    ("deed", "most"),
    [("move/", 10), ("count/", 10), ("take/{}/", 12), ("put-in/?q=thing", 8), ("put-in/", 8)],
)
def test_forms_ask_as_many_questions_with_many_things_as_with_few(make, as_owner, place, held, deed, most):
    counted = []
    for upto in (3, 40):
        while Part.objects.filter(boat=make.boat).count() < upto:
            part = make.part()
            make.stock(part, place, 2)
            Need.objects.create(boat=make.boat, job=make.job(), part=part)
        with CaptureQueriesContext(connection) as asked:
            as_owner.get(locker(make, place, deed.format(held.pk)))
        counted.append(len(asked))
    assert counted[0] == counted[1] <= most


def test_a_thing_that_was_used_up_meanwhile_is_said_so(make, as_owner, as_crew, place):
    held = make.stock(make.part("Last one"), place, 1)
    as_owner.post(locker(make, place, f"take/{held.pk}/"), {"quantity": "1", "job": "used"})
    response = as_crew.post(locker(make, place, f"take/{held.pk}/"), {"quantity": "1", "job": "used"})
    assert response.status_code == 422
    assert "There is 0 of Last one" in text(response)
