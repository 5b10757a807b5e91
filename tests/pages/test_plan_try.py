"""What if: looking keeps nothing, Keep does what was shown, and its Undo puts everything back."""

import re
from contextlib import contextmanager
from datetime import timedelta
from html import unescape

import pytest

from refit.boat.actions.boats import make_boat
from refit.buying.actions.chasing import promise
from refit.buying.models import Order, Promise
from refit.stores.models import Need
from refit.work.models import After, Booking, Job
from tests.factory import D
from tests.planned import refit_with_a_late_part
from tests.refusing import rows

pytestmark = pytest.mark.django_db
PAGE, KEEP, BACK = "/test-boat/plan/try/", "/test-boat/plan/try/keep/", "/test-boat/plan/try/back/"


def text_of(response) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", response.content.decode())).split())


def undo_of(response) -> str:
    """Return the address of the message's Undo."""
    return unescape(re.search(r'action="(/test-boat/plan/try/back/[^"]+)"', response.content.decode())[1])


@contextmanager
def changes_nothing():
    """Assert that no row of any table changed."""
    before = rows()
    yield
    assert rows() == before


def stand() -> list[tuple]:
    """Return how jobs and orders stand."""
    jobs = Job.objects.order_by("pk").values_list("number", "state", "before", "begun_on")
    return [*jobs, *Order.objects.order_by("pk").values_list("number", "expected_on", "chase_on")]


def test_the_late_part_is_offered_first_a_week_later(make, as_owner):
    yard = refit_with_a_late_part(make)
    make.order(make.line(make.part()))
    page = as_owner.get(PAGE).content.decode()
    assert re.search(rf'<option value="o{yard.order.number}" selected>', page)
    assert 'name="days" value="7"' in page


@pytest.mark.parametrize(
    ("days", "way", "words"),
    [("9", "later", "9 days later"), ("", "later", "7 days later"), ("4", "sooner", "4 days sooner")],
)
def test_the_launch_moves_and_nothing_is_kept(make, as_viewer, days, way, words):
    yard = refit_with_a_late_part(make)
    before = stand()
    said = text_of(as_viewer.get(f"{PAGE}?thing=o{yard.order.number}&days={days}&way={way}"))
    assert f"Launch {words}" in said
    assert "2 jobs move" in said
    assert stand() == before


def test_a_booking_newly_missed_is_told(make, as_owner):
    yard = refit_with_a_late_part(make)
    Booking.objects.create(boat=make.boat, job=yard.rig, day=yard.due + timedelta(days=3), who="Rigger")
    assert "Bookings newly missed Rigger" in text_of(
        as_owner.get(f"{PAGE}?thing=o{yard.order.number}&days=5")
    )


def test_dropping_jobs_tells_the_money(make, as_owner):
    yard = refit_with_a_late_part(make)
    Need.objects.create(boat=make.boat, job=yard.mast, words="Wedges", quantity=D(1), guess=35_00)
    said = text_of(as_owner.get(f"{PAGE}?drop={yard.mast.number}"))
    assert "Parts not bought yet £35.00" in said
    assert "Spent on it already £10.00" in said
    assert "Would be left over: Mast step (still to come)." in said


def test_numbers_typed_and_boxes_ticked_count_together(make, as_owner):
    yard = refit_with_a_late_part(make)
    page = as_owner.get(f"{PAGE}?drop={yard.mast.number}&drop={yard.rig.number},&past=").content.decode()
    assert f'name="drop" value="{yard.mast.number}, {yard.rig.number},"' in page
    assert "Left out: job 2, job 3." in text_of(as_owner.get(f"{PAGE}?drop=3&drop=2")).replace("  ", " ")


@pytest.mark.parametrize(
    "query",
    [
        "drop=999",
        "drop=x",
        "drop=%C2%B2",
        "past=-1",
        "days=0&thing=",
        "days=99999",
        "days=1e3",
        "thing=o999",
        "thing=p1e",
        "drop=" + ",".join(["1"] * 61),
    ],
)
def test_what_cannot_be_tried_says_why(make, as_owner, query):
    refit_with_a_late_part(make)
    answer = as_owner.get(f"{PAGE}?{query}")
    assert answer.status_code == 200
    assert b"errorlist" in answer.content
    assert b"What comes of it" not in answer.content


@pytest.mark.parametrize(
    ("sent", "field", "value"),
    [
        ({"drop": "{mast}"}, "state", "later"),
        ({"drop": "{mast}", "drop_to": "another"}, "before", "another"),
        ({"past": "{mast}"}, "before", "afloat"),
        ({"past": "{mast}", "past_to": "departure"}, "before", "departure"),
    ],
)
def test_keep_sets_what_was_tried_and_undo_puts_it_back(make, as_owner, sent, field, value):
    yard = refit_with_a_late_part(make)
    Job.objects.filter(pk=yard.mast.pk).update(state="in_hand", begun_on=make.today - timedelta(days=3))
    before = stand()
    kept = as_owner.post(
        KEEP, {name: word.format(mast=yard.mast.number) for name, word in sent.items()}, follow=True
    )
    assert "Kept: " in text_of(kept)
    assert getattr(Job.objects.get(pk=yard.mast.pk), field) == value
    if "past" in sent:
        assert getattr(Job.objects.get(pk=yard.rig.pk), field) == value
    assert Job.objects.get(pk=yard.long.pk).before == "launch"
    assert "Put back as it was." in text_of(as_owner.post(undo_of(kept), follow=True))
    assert stand() == before


def test_keep_writes_the_orders_day_down_as_a_promise(make, as_owner):
    yard = refit_with_a_late_part(make)
    before = stand()
    sent = {"thing": f"o{yard.order.number}", "days": "9", "promise": "on", "who": "Desk"}
    kept = as_owner.post(KEEP, sent, follow=True)
    assert Order.objects.get(pk=yard.order.pk).expected_on == yard.due + timedelta(days=9)
    newest = Promise.objects.latest("id")
    assert (newest.who, newest.day, newest.said_on) == ("Desk", yard.due + timedelta(days=9), make.today)
    as_owner.post(undo_of(kept), follow=True)
    assert stand() == before
    assert not Promise.objects.exists()


def test_the_day_to_ask_again_comes_back_with_the_undo(make, as_owner):
    yard = refit_with_a_late_part(make)
    day = make.today + timedelta(days=2)
    promise(yard.order, yard.due, said_on=make.today, chase_on=day, by=make.owner, today=make.today)
    kept = as_owner.post(KEEP, {"thing": f"o{yard.order.number}", "days": "9", "promise": "on"}, follow=True)
    assert Order.objects.get(pk=yard.order.pk).chase_on == day
    as_owner.post(undo_of(kept), follow=True)
    assert Order.objects.get(pk=yard.order.pk).chase_on == day


@pytest.mark.parametrize(
    "sent",
    [
        {},
        {"thing": "o1", "days": "9"},
        {"thing": "p1", "days": "9"},
        {"drop": "999"},
        {"drop": "2", "drop_to": "done"},
        {"past": "2", "past_to": "launch"},
        {"thing": "o1", "days": "9", "promise": "on", "who": "x" * 81},
    ],
)
def test_what_cannot_be_kept_changes_nothing(make, as_owner, sent):
    refit_with_a_late_part(make)
    with changes_nothing():
        assert as_owner.post(KEEP, sent).status_code == 422


def test_what_contradicts_itself_is_not_kept(make, as_owner):
    yard = refit_with_a_late_part(make)
    lift = make.job("Lift in")
    yard.launch.job = lift
    yard.launch.save()
    After.objects.create(boat=make.boat, job=lift, after=yard.rig)
    said = text_of(as_owner.get(f"{PAGE}?past={yard.rig.number}"))
    assert "That cannot be." in said
    assert f"job {lift.number}, Lift in" in said
    with changes_nothing():
        assert as_owner.post(KEEP, {"past": str(yard.rig.number)}).status_code == 422


def test_an_undo_that_comes_too_late_or_was_made_up_changes_nothing(make, as_owner):
    yard = refit_with_a_late_part(make)
    kept = as_owner.post(KEEP, {"drop": str(yard.mast.number)}, follow=True)
    Job.objects.filter(pk=yard.mast.pk).update(state="ready")
    with changes_nothing():
        assert "is ready by now" in text_of(as_owner.post(undo_of(kept), follow=True))
        for token in ("", "x", "%00", "a:b:c"):
            assert "can no longer be put back" in text_of(as_owner.post(f"{BACK}?was={token}", follow=True))


def test_an_undo_pressed_again_overwrites_nothing_said_since(make, as_owner):
    yard = refit_with_a_late_part(make)
    sent = {"past": str(yard.mast.number), "thing": f"o{yard.order.number}", "days": "9", "promise": "on"}
    undo = undo_of(as_owner.post(KEEP, sent, follow=True))
    as_owner.post(undo)
    Job.objects.filter(pk=yard.mast.pk).update(before="departure")
    with changes_nothing():
        assert "was changed since" in text_of(as_owner.post(undo, follow=True))


def test_a_promise_is_taken_back_once(make, as_owner):
    yard = refit_with_a_late_part(make)
    sent = {"thing": f"o{yard.order.number}", "days": "9", "promise": "on"}
    undo = undo_of(as_owner.post(KEEP, sent, follow=True))
    as_owner.post(undo)
    with changes_nothing():
        assert "taken back already" in text_of(as_owner.post(undo, follow=True))


def test_another_boats_undo_puts_nothing_back_here(make, as_owner):
    yard = refit_with_a_late_part(make)
    kept = as_owner.post(KEEP, {"drop": str(yard.mast.number)}, follow=True)
    make_boat(make.owner, name="Other Boat", currency="GBP")
    as_owner.post(undo_of(kept).replace("/test-boat/", "/other-boat/"), follow=True)
    assert Job.objects.get(pk=yard.mast.pk).state == "later"


def test_kept_twice_acts_once(make, as_owner):
    yard = refit_with_a_late_part(make)
    sent = {"drop": str(yard.mast.number), "form_key": "k" * 32}
    as_owner.post(KEEP, sent)
    before = stand()
    as_owner.post(KEEP, sent)
    assert stand() == before


def test_who_may_try_and_who_may_keep(make, as_owner, as_viewer, as_trade, as_outsider, client):
    refit_with_a_late_part(make)
    assert as_viewer.get(PAGE).status_code == 200
    assert as_trade.get(PAGE).status_code == 403
    assert as_outsider.get(PAGE).status_code == 404
    assert client.get(PAGE).status_code == 302
    assert as_owner.post(PAGE).status_code == 405
    for page in (KEEP, BACK):
        with changes_nothing():
            assert as_viewer.post(page, {"drop": "1"}).status_code == 403
            assert as_outsider.post(page, {"drop": "1"}).status_code == 404
        assert as_owner.get(page).status_code == 405
    assert "Keep" not in text_of(as_viewer.get(f"{PAGE}?drop=2"))
