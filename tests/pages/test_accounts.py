"""The door and the first use: each step works, acts once, and opens to nobody else."""

import re
import stat
from datetime import timedelta

import pytest
from axes.models import AccessAttempt
from django.contrib.auth.models import User
from django.test import Client

from refit.boat import first
from refit.boat.models import Boat, Kind, Label, Location, Member, System, Units, Where
from refit.boat.refusals import Refused
from refit.pages.forms import accounts as forms
from tests.conftest import signed_in

WORDS = "grey-gannet-north-4"
SIGN_IN = "/accounts/sign-in/"


@pytest.fixture
def folder(settings, tmp_path):
    settings.DATA_DIR = tmp_path / "data"
    return settings.DATA_DIR


@pytest.fixture
def owner(db):
    return User.objects.create_superuser("merryn", password=WORDS)


def enter(client, name="merryn", password=WORDS, **more):
    return client.post(SIGN_IN, {"username": name, "password": password, **more})


def key_in(page):
    return re.search(r'name="form_key" value="([^"]+)"', page.text)[1]


# The door


def test_name_and_password_open_and_lead_on(owner):
    answer = enter(Client(), next="/scan/")
    assert (answer.status_code, answer.headers["Location"]) == (302, "/scan/")


def test_a_capital_letter_from_the_phone_shuts_nobody_out(owner):
    assert enter(Client(), "Merryn").status_code == 302


@pytest.mark.parametrize("where", ["https://example.com/", "//example.com", "javascript:alert(1)"])
def test_signing_in_never_leads_off_the_boat(owner, where):
    assert enter(Client(), next=where).headers["Location"] == "/"


@pytest.mark.parametrize(
    ("name", "password"),
    [("merryn", "wrong"), ("nobody", WORDS), ("", ""), ("a" * 100_000, "b"), ("mer\0ryn", WORDS)],
)
def test_what_does_not_fit_is_refused(owner, name, password):
    answer = enter(Client(), name, password)
    assert answer.status_code == 200
    assert 'role="alert"' in answer.text or "errorlist" in answer.text


def test_six_failures_lock_the_name_at_that_address_and_nobody_else(owner):
    User.objects.create_user("osk", password=WORDS)
    client = Client()
    answers = [enter(client, password="wrong").status_code for _ in range(6)]
    assert answers[:5] == [200] * 5
    locked = enter(client)
    assert locked.status_code == 429
    assert "Too many tries" in locked.text
    assert enter(Client(), "osk").status_code == 302
    assert enter(Client(REMOTE_ADDR="192.168.7.9")).status_code == 302


def test_five_failures_do_not_lock(owner):
    client = Client()
    for _ in range(5):
        enter(client, password="wrong")
    assert enter(client).status_code == 302


def test_the_lock_ends_by_itself_after_ten_minutes(owner):
    client = Client()
    for _ in range(6):
        enter(client, password="wrong")
    for attempt in AccessAttempt.objects.all():
        AccessAttempt.objects.filter(pk=attempt.pk).update(
            attempt_time=attempt.attempt_time - timedelta(minutes=9)
        )
    assert enter(client).status_code == 429
    for attempt in AccessAttempt.objects.all():
        AccessAttempt.objects.filter(pk=attempt.pk).update(
            attempt_time=attempt.attempt_time - timedelta(minutes=11)
        )
    assert enter(client).status_code == 302


def test_the_door_says_so_when_nobody_can_sign_in_yet(db):
    assert "Nobody can sign in yet" in Client().get(SIGN_IN).text


def test_signing_out_takes_a_press(owner):
    client = signed_in(owner)
    assert client.get("/accounts/sign-out/").status_code == 405
    assert client.post("/accounts/sign-out/").headers["Location"] == SIGN_IN
    assert client.get("/").headers["Location"].startswith(SIGN_IN)


def test_a_form_without_its_cookie_is_refused(owner):
    client = Client(enforce_csrf_checks=True)
    assert enter(client).status_code == 403


# The password


def test_a_password_is_changed_and_other_phones_are_signed_out(owner):
    here, there = signed_in(owner), signed_in(owner)
    sent = {"old_password": WORDS, "new_password1": "other-tern-9-sea", "new_password2": "other-tern-9-sea"}
    assert here.post("/accounts/password/", sent).headers["Location"] == "/"
    assert here.get("/accounts/password/").status_code == 200
    assert there.get("/accounts/password/").status_code == 302
    owner.refresh_from_db()
    assert owner.check_password("other-tern-9-sea")


@pytest.mark.parametrize(
    ("old", "new", "again"),
    [
        ("wrong", "other-tern-9-sea", "other-tern-9-sea"),
        (WORDS, "short", "short"),
        (WORDS, "other-tern-9", "x"),
    ],
)
def test_a_bad_change_of_password_changes_nothing(owner, old, new, again):
    sent = {"old_password": old, "new_password1": new, "new_password2": again}
    assert signed_in(owner).post("/accounts/password/", sent).status_code == 422
    owner.refresh_from_db()
    assert owner.check_password(WORDS)


def test_signed_out_there_is_no_password_to_change(db):
    assert Client().get("/accounts/password/").headers["Location"].startswith(SIGN_IN)


# The one-time address


def once(token):
    return f"/accounts/first/{token}/"


def sent(**more):
    return {"name": "merryn", "password": WORDS, "again": WORDS, **more}


def test_the_one_time_address_makes_the_owner_and_is_gone(db, folder):
    token = first.token()
    assert token == first.token()
    assert stat.S_IMODE((folder / "first_token").stat().st_mode) == 0o600
    client = Client()
    assert client.get(once(token)).status_code == 200
    assert client.post(once(token), sent()).headers["Location"] == "/accounts/boat/"
    owner = User.objects.get()
    assert (owner.username, owner.is_superuser) == ("merryn", True)
    assert list(folder.iterdir()) == []
    assert Client().get(once(token)).status_code == 404
    assert Client().post(once(token), sent(name="eve")).status_code == 404
    assert client.get(once(token)).headers["Location"] == "/"


def test_a_token_is_worth_nothing_once_there_is_a_user(owner, folder):
    token = first.token()
    assert Client().get(once(token)).status_code == 404
    with pytest.raises(Refused):
        first.make_owner(token, "eve", WORDS)


@pytest.mark.parametrize("token", ["x", "ü", "a" * 5000])
def test_another_token_opens_nothing(db, folder, token):
    first.token()
    assert Client().get(once(token)).status_code == 404


def test_without_a_token_nothing_opens(db, folder):
    assert not first.fits("")
    assert Client().get(once("None")).status_code == 404


@pytest.mark.parametrize(
    "wrong",
    [
        {"again": "other-tern-9-sea"},
        {"password": "short", "again": "short"},
        {"password": "password12", "again": "password12"},
        {"name": ""},
        {"name": "two words"},
        {"name": "a" * 100_000},
        {"name": "<script>"},
    ],
)
def test_a_bad_first_owner_is_refused_and_the_address_stays(db, folder, wrong):
    token = first.token()
    assert Client().post(once(token), sent(**wrong)).status_code == 422
    assert not User.objects.exists()
    assert first.fits(token)


def test_of_two_at_once_one_makes_the_owner(db, folder, monkeypatch):
    token = first.token()
    monkeypatch.setattr(first, "fits", lambda given: True)  # both looked before either acted
    first.make_owner(token, "merryn", WORDS)
    with pytest.raises(Refused) as refused:
        first.make_owner(token, "eve", WORDS)
    assert refused.value.code == "used"
    assert User.objects.count() == 1


def test_an_owner_that_cannot_be_made_leaves_the_address_open(db, folder, monkeypatch):
    token = first.token()

    def fail(*args, **kwargs):
        raise RuntimeError("disk full")

    monkeypatch.setattr(User.objects, "create_superuser", fail)
    with pytest.raises(RuntimeError):
        first.make_owner(token, "merryn", WORDS)
    assert first.fits(token)


# The boat in five steps


def boat_sent(**more):
    return {
        "name": "Test Gull",
        "currency": "gbp",
        "units": "metric",
        "length": "12,3",
        "time_zone": "London",
        **more,
    }


def test_from_the_first_owner_to_labels_in_five_steps(db, folder):
    """A new owner: five pages, 8 boxes to fill at most, and 31 lockers with labels at the end."""
    client, token, steps = Client(), first.token(), 0
    page = client.post(once(token), sent(), follow=True)
    steps += 1
    page = client.post(page.request["PATH_INFO"], boat_sent(form_key=key_in(page)), follow=True)
    steps += 1
    ticked = [name for name, _, _, on in forms.USUAL_SYSTEMS if on]
    where = f"{page.request['PATH_INFO']}?{page.request['QUERY_STRING']}"
    page = client.post(where, {"systems": ticked, "form_key": key_in(page)}, follow=True)
    steps += 1
    where = f"{page.request['PATH_INFO']}?{page.request['QUERY_STRING']}"
    lists = {f"area_{number}": words for number, (_, _, words) in enumerate(forms.USUAL_AREAS)}
    page = client.post(where, {**lists, "form_key": key_in(page)}, follow=True)
    steps += 1
    assert steps == 4
    assert "Try this one label first" in page.text
    boat = Boat.objects.get()
    assert (boat.name, boat.currency, boat.units, boat.time_zone) == (
        "Test Gull",
        "GBP",
        Units.METRIC,
        "Europe/London",
    )
    assert float(boat.length_m) == 12.3
    assert System.objects.count() == len(ticked)
    lockers = Location.objects.filter(kind=Kind.LOCKER)
    assert lockers.count() == 31
    assert lockers.filter(where=Where.ASHORE).count() == 4
    assert Label.objects.filter(location__in=lockers).count() == 31
    # The one label is drawn and printed.
    picture = re.search(r'src="([^"]*preview[^"]*)"', page.text)[1].replace("&amp;", "&")
    assert client.get(picture).headers["Content-Type"] == "image/svg+xml"
    sheet = re.search(r'class="button next" href="([^"]*)"', page.text)[1].replace("&amp;", "&")
    assert client.get(sheet).content.startswith(b"%PDF-")


def test_a_length_in_feet_is_kept_in_metres(owner):
    signed_in(owner).post("/accounts/boat/", boat_sent(units="imperial", length="40"))
    assert str(Boat.objects.get().length_m) == "12.19"  # 1 ft = 0.3048 m exactly, so 12.192 m


@pytest.mark.parametrize(
    "wrong",
    [
        {"name": ""},
        {"name": "x" * 100_000},
        {"name": "a\0b"},
        {"currency": "XYZ"},
        {"currency": "pounds"},
        {"currency": "XAU"},
        {"units": "fathoms"},
        {"length": "-3"},
        {"length": "1e3"},
        {"length": "long"},
        {"time_zone": "Atlantis"},
    ],
)
def test_a_bad_boat_is_refused_and_nothing_is_made(owner, wrong):
    answer = signed_in(owner).post("/accounts/boat/", boat_sent(**wrong))
    assert answer.status_code == 422
    assert not Boat.objects.exists()


def test_the_same_form_twice_makes_one_boat(owner):
    client = signed_in(owner)
    form = boat_sent(form_key=key_in(client.get("/accounts/boat/")))
    led = {client.post("/accounts/boat/", form).headers["Location"] for _ in range(2)}
    assert led == {"/accounts/boat/systems/?boat=test-gull"}
    assert Boat.objects.count() == 1


def test_a_boat_whose_name_is_a_word_of_ours_gets_another_address(owner):
    signed_in(owner).post("/accounts/boat/", boat_sent(name="Admin"))
    assert Boat.objects.get().slug == "admin-1"


STEPS = ["/accounts/boat/systems/", "/accounts/boat/lockers/", "/accounts/boat/label/"]


def test_only_the_owner_of_the_installation_makes_boats(make, as_owner, as_outsider):
    assert as_owner.get("/accounts/boat/").status_code == 403
    assert as_outsider.post("/accounts/boat/", boat_sent()).status_code == 403
    assert Client().get("/accounts/boat/").headers["Location"].startswith(SIGN_IN)
    assert Boat.objects.count() == 1


@pytest.mark.parametrize("step", STEPS)
def test_the_steps_are_for_the_owner_of_that_boat(make, as_owner, as_crew, as_outsider, step):
    where = f"{step}?boat={make.boat.slug}"
    assert as_owner.get(where, follow=True).status_code == 200
    assert as_crew.get(where).status_code == 403
    assert as_outsider.get(where).status_code == 404
    assert as_outsider.get(step).headers["Location"] == "/"
    assert Client().get(where).headers["Location"].startswith(SIGN_IN)


def test_without_a_boat_named_it_is_the_newest_of_the_owner(make, as_owner):
    assert "Test Boat" in as_owner.get(STEPS[0]).text


def test_the_label_is_only_looked_at(make, as_owner):
    assert as_owner.post(STEPS[2]).status_code == 405


def test_no_system_at_all_is_refused(make, as_owner):
    answer = as_owner.post(STEPS[0], {})
    assert answer.status_code == 422
    assert System.objects.count() == 2


def test_a_system_of_no_name_that_is_offered_is_refused(make, as_owner):
    assert as_owner.post(STEPS[0], {"systems": ["Ballroom"]}).status_code == 422


@pytest.mark.parametrize(
    ("lists", "said"),
    [
        ({"area_0": "F1-F9999999"}, "too long a number"),
        ({"area_0": "F6-F1"}, "backwards"),
        ({"area_0": "F1-F2, F2"}, "in the list twice"),
        ({"area_0": "A1", "area_1": "a1"}, "stands in Forepeak already"),
        ({"area_0": "  "}, "at least one locker"),
        ({"area_0": "x" * 100_000}, "At most 400 characters"),
    ],
)
def test_a_bad_quick_list_is_refused_with_what_to_do(make, as_owner, lists, said):
    before = Location.objects.count()
    answer = as_owner.post(STEPS[1], lists)
    assert answer.status_code == 422
    assert said in answer.text
    assert Location.objects.count() == before


def test_a_mark_that_is_there_already_is_refused_beside_its_list(make, as_owner):
    make.place("F1")
    before = Location.objects.count()
    answer = as_owner.post(STEPS[1], {"area_1": "P1", "area_0": "F1"})
    assert answer.status_code == 422
    assert "F1 is in use already" in answer.text
    assert Location.objects.count() == before


def test_an_area_that_is_there_already_is_used(make, as_owner):
    as_owner.post(STEPS[1], {"area_1": "P1-P2, <script>alert(1)</script>"})
    assert Location.objects.filter(kind=Kind.AREA, name="Saloon").count() == 1
    assert Location.objects.filter(area=make.area).count() == 3
    assert "<script>alert" not in as_owner.get(STEPS[2]).text


def test_lockers_sent_twice_are_made_once(make, as_owner):
    form = {"area_1": "P1-P3", "form_key": key_in(as_owner.get(STEPS[1]))}
    for _ in range(2):
        assert as_owner.post(STEPS[1], form).status_code == 302
    assert Location.objects.filter(kind=Kind.LOCKER).count() == 3


def test_the_page_warns_where_labels_lead_elsewhere(make, as_owner, settings):
    make.place("S1")
    settings.REFIT_ADDRESS = "http://boat.local:8000"
    assert "Labels lead to http://boat.local:8000" in as_owner.get(STEPS[2]).text
    settings.REFIT_ADDRESS = "http://testserver"
    assert "Labels lead to" not in as_owner.get(STEPS[2]).text


def test_members_of_the_new_boat_are_its_maker_alone(owner):
    signed_in(owner).post("/accounts/boat/", boat_sent())
    assert list(Member.objects.values_list("user__username", "role")) == [("merryn", "owner")]


def test_the_machine_names_a_time_zone_that_is_known():
    assert forms.zone_of_this_machine() in forms.zoneinfo.available_timezones()
