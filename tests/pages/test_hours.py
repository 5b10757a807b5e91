"""Hours today: typed for oneself, the partner and helpers; sums; a spreadsheet; a day has 24 hours."""

import re
from datetime import date, timedelta
from io import BytesIO

import openpyxl
import pytest

from refit.boat.formkeys import new_key
from refit.work.actions import dates
from refit.work.actions.doing import Worked, set_hours
from refit.work.models import Hours, Job
from tests.factory import Factory
from tests.pages.undoing import text_of, undo
from tests.refusing import rows

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]
PAGE = "/test-boat/hours/"
ONE_DAY = timedelta(days=1)


def sent(make: Factory, **boxes) -> dict:
    """Return what the page sends; `b1_owner="2"` is two hours of the owner on job 1, `more_owner` on another."""
    users = {"owner": make.owner, "crew": make.crew}
    data: dict = {"day": make.today.isoformat(), "job": [], "helper": [], "another": ""}
    for name, value in boxes.items():
        found = re.fullmatch(r"(?:b(\d+)|more)_(owner|crew)", name)
        if not found:
            data[name] = value
            continue
        if found[1]:
            data["job"].append(found[1])
        data[f"{found[1] or 'more'}-u{users[found[2]].pk}"] = value
    return data


def work(make: Factory, job: Job, minutes: int = 60, who=None, day: date | None = None) -> None:
    row = Worked(job, minutes, who or make.owner)
    set_hours(make.boat, day or make.today, [row], by=make.owner, today=make.today)


def down() -> list[tuple]:
    return list(Hours.objects.order_by("job", "who").values_list("job__number", "who__username", "minutes"))


def test_hours_are_typed_for_both_shown_changed_and_undone(make, as_crew):
    make.job("Sand the hull", state="in_hand")
    make.job("Wire", state="in_hand")
    page = as_crew.post(PAGE, sent(make, b1_owner="2", b1_crew="1:30", b2_crew="90 min"), follow=True)
    assert down() == [(1, "owner", 120), (1, "crew", 90), (2, "crew", 90)]
    said = text_of(page)
    assert "Crew 3:00, Owner 2:00" in said
    assert "5:00 hours of work on" in said
    page = as_crew.post(PAGE, sent(make, b1_owner="", b1_crew="1,5"), follow=True)
    assert down() == [(1, "crew", 90), (2, "crew", 90)]
    undo(as_crew, page)
    assert down() == [(1, "owner", 120), (1, "crew", 90), (2, "crew", 90)]


def test_one_comes_first_then_the_partner_and_no_trade(make, as_crew):
    make.job(state="in_hand")
    page = as_crew.get(PAGE).content.decode()
    assert re.findall(r'<label for="id_1-u\d+"><bdi>(\w+)</bdi>', page) == ["Crew", "Owner"]


def test_another_job_and_a_helper_are_added_and_undone(make, as_owner):
    make.job("Sand the hull", state="in_hand")
    make.job("Varnish")
    page = as_owner.get(PAGE, {"helper": "Aunt  Ada"}).content.decode()
    name = re.search(r'<input type="text" name="(more-h\w+)"', page)[1]
    assert "Aunt Ada" in page
    data = sent(make, another="2 Varnish", more_owner="3", helper=["Aunt Ada"])
    page = as_owner.post(PAGE, {**data, name: "0:45"}, follow=True)
    assert sorted(Hours.objects.values_list("job__number", "helper", "minutes")) == [
        (2, "", 180),
        (2, "Aunt Ada", 45),
    ]
    assert "2 Varnish" in text_of(as_owner.get(PAGE))  # worked on lately: it stays on the page
    assert "Aunt Ada" in text_of(as_owner.get(PAGE, {"day": make.today.isoformat()}))
    undo(as_owner, page)
    assert not Hours.objects.exists()


def test_another_day_is_looked_at_and_tomorrow_is_not(make, as_owner):
    job = make.job()
    work(make, job, 75, day=make.today - ONE_DAY)
    page = as_owner.get(PAGE, {"day": (make.today - ONE_DAY).isoformat()})
    assert 'value="1:15"' in page.content.decode()
    for asked in ("2999-01-01", "nonsense", "2026-02-31", "0001-01-01", "\x00"):
        assert as_owner.get(PAGE, {"day": asked}).context["day"] == make.today


@pytest.mark.parametrize(
    "wrong",
    [
        {"b1_owner": "25"},
        {"b1_owner": "two"},
        {"b1_owner": "-1"},
        {"b1_owner": "20", "b2_owner": "5"},
        {"more_owner": "2"},  # on which job?
        {"more_owner": "2", "another": "99"},
        {"more_owner": "2", "another": "1", "b1_owner": "1"},  # it stands above
    ],
)
def test_what_cannot_be_changes_nothing(make, as_owner, wrong):
    make.job(state="in_hand")
    make.job(state="in_hand")
    before = rows()
    response = as_owner.post(PAGE, sent(make, **wrong))
    assert response.status_code == 422
    assert "To put right" in text_of(response)
    assert rows() == before


def test_over_24_hours_are_refused_in_words(make, as_owner):
    make.job(state="in_hand")
    make.job(state="in_hand")
    said = text_of(as_owner.post(PAGE, sent(make, b1_owner="20", b2_owner="5")))
    assert "more than 24 hours of Owner" in said


def test_the_same_form_twice_acts_once(make, as_owner):
    make.job(state="in_hand")
    data = sent(make, b1_owner="2", form_key=new_key())
    first, second = (as_owner.post(PAGE, data) for _ in range(2))
    assert first["Location"] == second["Location"]
    assert "Already recorded" in text_of(as_owner.get(PAGE))
    assert down() == [(1, "owner", 120)]


def test_a_box_that_was_not_sent_stays_as_it_is(make, as_owner):
    job = make.job(state="in_hand")
    work(make, job, 60, make.crew)
    as_owner.post(PAGE, sent(make, b1_owner="2"))
    assert down() == [(1, "owner", 120), (1, "crew", 60)]


def test_sums_and_worth_are_shown_and_never_spent(make, as_owner):
    work(make, make.job("Sand"), 90)
    work(make, make.job("Wire"), 60, make.crew)
    said = text_of(as_owner.get(PAGE))
    assert "an hour" not in said
    dates.set_terms(make.boat, weekdays="1111110", margin_days=3, hour_rate=2500)
    said = text_of(as_owner.get(PAGE))
    assert "Own work at £25.00 an hour, not in cash: £62.50" in said
    assert "In all 1:00 1:30 2:30" in said
    said = text_of(as_owner.get("/test-boat/jobs/1/"))
    assert "Owner 1:30 In all 1:30 Own work at £25.00 an hour, not in cash: £37.50." in said
    assert "£37.50" not in text_of(as_owner.get("/test-boat/spend/"))


def test_hours_leave_as_a_spreadsheet(make, as_owner):
    work(make, make.job("=1+1"), 90)
    book = openpyxl.load_workbook(BytesIO(as_owner.get(PAGE, {"export": "xlsx"}).content))
    lines = list(book.active.iter_rows(values_only=True))
    assert lines[0] == ("Day", "Job", "Title", "System", "Person", "Hours", "Note")
    assert lines[1][1:6] == (1, "=1+1", "Engine", "Owner", 1.5)


def test_who_may_and_how(make, as_viewer, as_trade, as_outsider, as_owner):
    for client, code in ((as_viewer, 403), (as_trade, 403), (as_outsider, 404)):
        assert client.get(PAGE).status_code == code
        assert client.post(PAGE, sent(make)).status_code == code
    assert as_owner.put(PAGE).status_code == 405


def test_another_boats_jobs_and_people_are_nobodys_here(make, as_owner):
    other = Factory.start(name="Other", prefix="other-")
    other.job("Their job", state="in_hand")
    work(other, other.job("Their other job"))
    page = text_of(as_owner.get(PAGE))
    assert "Their" not in page
    as_owner.post(PAGE, {**sent(make), "job": ["1"], f"1-u{other.owner.pk}": "2"})
    assert Hours.objects.count() == 1


def test_the_page_takes_the_same_queries_with_few_and_many(make, as_owner, django_assert_num_queries):
    def more(count: int) -> None:
        for _ in range(count):
            work(make, make.job(state="in_hand"), 10)

    more(2)
    with django_assert_num_queries(12):
        as_owner.get(PAGE)
    more(40)
    with django_assert_num_queries(12):
        assert as_owner.get(PAGE).status_code == 200


def test_names_that_would_run_stay_words(make, as_owner):
    evil = "<script>alert(1)</script>"
    make.job(evil, state="in_hand")
    assert "<script>alert" not in as_owner.get(PAGE, {"helper": evil}).content.decode()
