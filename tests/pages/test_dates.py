"""Milestones and working days: set, changed, reached, undone; who may; what cannot be changes nothing."""

from datetime import timedelta

import pytest

from refit.boat.formkeys import new_key
from refit.work.actions import dates
from refit.work.models import DayAway, Milestone, WorkTerms
from tests.factory import Factory
from tests.pages.undoing import text_of, undo
from tests.refusing import rows

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]
PAGE = "/test-boat/plan/dates/"


def terms(**facts) -> dict:
    return {
        "weekdays": ["0", "1", "2"],
        "margin_days": "5",
        "country": "",
        "region": "",
        "hour_rate": "25",
        **facts,
    }


def test_a_launch_is_set_changed_and_reached_and_each_is_undone(make, as_crew):
    make.job("Lift in")
    day = make.today.isoformat()
    page = as_crew.post(f"{PAGE}milestone/", {"kind": "launch", "target": day, "job": "1"}, follow=True)
    launch = Milestone.objects.get()
    assert (launch.name, launch.target, launch.job.number) == ("Launch", make.today, 1)
    assert "by job 1 Lift in" in text_of(page)
    page = as_crew.post(f"{PAGE}{launch.pk}/change/", {"name": "In", "target": "", "job": ""}, follow=True)
    launch.refresh_from_db()
    assert (launch.name, launch.target, launch.job) == ("In", None, None)
    undo(as_crew, page)
    launch.refresh_from_db()
    assert (launch.name, launch.target, launch.job.number) == ("Launch", make.today, 1)
    page = as_crew.post(f"{PAGE}{launch.pk}/reached/", {"on": day}, follow=True)
    assert "Launch reached" in text_of(page)
    page = undo(as_crew, page)
    assert Milestone.objects.get().reached_on is None
    undo(as_crew, page)
    assert Milestone.objects.get().reached_on == make.today


def test_a_milestone_is_taken_off_and_comes_back(make, as_crew):
    page = as_crew.post(f"{PAGE}milestone/", {"kind": "other", "name": "Engine runs"}, follow=True)
    page = undo(as_crew, page)
    assert not Milestone.objects.exists()
    launch = dates.add_milestone(make.boat, kind="launch", today=make.today, target=make.today)
    page = as_crew.post(f"{PAGE}{launch.pk}/remove/", follow=True)
    undo(as_crew, page)
    assert Milestone.objects.get().target == make.today


@pytest.mark.parametrize(
    "wrong",
    [
        {"kind": ""},
        {"kind": "party"},
        {"kind": "survey"},  # there already
        {"kind": "other", "name": ""},
        {"name": "x" * 61},
        {"target": "1900-01-01"},
        {"target": "2099-01-01"},
        {"job": "99"},
    ],
)
def test_a_bad_milestone_changes_nothing(make, as_crew, wrong):
    survey = dates.add_milestone(make.boat, kind="survey", today=make.today)
    before = rows()
    assert as_crew.post(f"{PAGE}milestone/", {"kind": "launch", **wrong}).status_code == 422
    if "kind" not in wrong:
        response = as_crew.post(f"{PAGE}{survey.pk}/change/", {"name": "Survey", **wrong})
        assert response.status_code == 422
    assert as_crew.post(f"{PAGE}{survey.pk}/reached/", {"on": "2099-01-01"}).status_code == 422
    assert rows() == before


def test_working_days_are_set_and_undone(make, as_owner):
    page = as_owner.post(f"{PAGE}working/", terms(country="GB", region="SCT"), follow=True)
    kept = WorkTerms.objects.get()
    assert (kept.weekdays, kept.margin_days, kept.hour_rate) == ("1110000", 5, 2500)
    assert (kept.country, kept.region) == ("GB", "SCT")
    assert 'value="25.00"' in page.content.decode()
    page = as_owner.post(f"{PAGE}working/", terms(weekdays=["6"], hour_rate=""), follow=True)
    kept.refresh_from_db()
    assert (kept.weekdays, kept.hour_rate, kept.country) == ("0000001", None, "")
    undo(as_owner, page)
    kept.refresh_from_db()
    assert (kept.weekdays, kept.hour_rate, kept.country, kept.region) == ("1110000", 2500, "GB", "SCT")


@pytest.mark.parametrize(
    "wrong",
    [
        {"weekdays": []},
        {"weekdays": ["7"]},
        {"margin_days": "366"},
        {"margin_days": "1.5"},
        {"country": "XX"},
        {"country": "GB", "region": "BY"},
        {"country": "", "region": "SCT"},
        {"hour_rate": "-1"},
        {"hour_rate": "99999999999"},
        {"hour_rate": "1.005"},
    ],
)
def test_working_days_that_cannot_be_change_nothing(make, as_owner, wrong):
    before = rows()
    assert as_owner.post(f"{PAGE}working/", terms(**wrong)).status_code == 422
    assert rows() == before


def test_days_away_are_added_and_taken_off_and_each_is_undone(make, as_crew):
    last = (make.today + timedelta(days=3)).isoformat()
    sent = {"first": make.today.isoformat(), "last": last, "why": "Wedding"}
    page = as_crew.post(f"{PAGE}away/", sent, follow=True)
    away = DayAway.objects.get()
    assert ((away.last - away.first).days, away.why) == (3, "Wedding")
    assert "Wedding" in text_of(page)
    page = undo(as_crew, page)
    assert not DayAway.objects.exists()
    undo(
        as_crew,
        as_crew.post(
            f"{PAGE}away/{dates.add_days_away(make.boat, make.today, None, today=make.today).pk}/remove/",
            follow=True,
        ),
    )
    assert DayAway.objects.get().first == make.today


@pytest.mark.parametrize(
    "wrong",
    [
        {"first": ""},
        {"last": "2020-01-01"},
        {"first": "1900-01-01"},
        {"last": "2099-01-01"},
        {"why": "x" * 81},
    ],
)
def test_bad_days_away_change_nothing(make, as_crew, wrong):
    before = rows()
    sent = {"first": make.today.isoformat(), "last": "", "why": "", **wrong}
    assert as_crew.post(f"{PAGE}away/", sent).status_code == 422
    assert rows() == before


def test_the_same_form_twice_acts_once(make, as_crew):
    for address, sent, model in (
        ("milestone/", {"kind": "other", "name": "Engine runs"}, Milestone),
        ("away/", {"first": make.today.isoformat()}, DayAway),
    ):
        sent["form_key"] = new_key()
        for _ in range(2):
            as_crew.post(PAGE + address, sent)
        assert model.objects.count() == 1


@pytest.mark.parametrize(
    "rest",
    [
        "milestone/",
        "1/change/",
        "1/reached/",
        "1/unreach/",
        "1/remove/",
        "working/",
        "away/",
        "away/1/remove/",
    ],
)
def test_who_may_and_how(make, as_viewer, as_outsider, as_trade, as_owner, rest):
    before = rows()
    for client, code in ((as_viewer, 403), (as_trade, 403), (as_outsider, 404)):
        assert client.get(PAGE).status_code == code
        assert client.post(f"{PAGE}{rest}").status_code == code
    assert as_owner.get(f"{PAGE}{rest}").status_code == 405
    assert as_owner.post(PAGE).status_code == 405
    if "1/" in rest:
        for pk in ("0", "987654", "9" * 30):
            assert as_owner.post(f"{PAGE}{rest.replace('1/', pk + '/')}").status_code == 404
    assert rows() == before


def test_another_boats_milestone_and_days_are_not_found(make, as_owner):
    other = Factory.start(name="Other", prefix="other-")
    launch = dates.add_milestone(other.boat, kind="launch", name="Their launch", today=other.today)
    away = dates.add_days_away(other.boat, other.today, None, today=other.today, why="Their wedding")
    for rest in (f"{launch.pk}/remove/", f"{launch.pk}/unreach/", f"away/{away.pk}/remove/"):
        assert as_owner.post(f"{PAGE}{rest}").status_code == 404
    said = text_of(as_owner.get(PAGE))
    assert "Their" not in said


def test_the_page_takes_the_same_queries_with_few_and_many(make, as_owner, django_assert_num_queries):
    def more(count: int) -> None:
        for at in range(count):
            job = make.job()
            dates.add_milestone(make.boat, kind="other", name=f"M{at}", job=job, today=make.today)
            dates.add_days_away(make.boat, make.today, None, today=make.today)

    more(2)
    with django_assert_num_queries(8):
        as_owner.get(PAGE)
    more(20)
    with django_assert_num_queries(8):
        assert as_owner.get(PAGE).status_code == 200
