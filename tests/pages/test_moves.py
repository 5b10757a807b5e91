"""In and out: the list, its undo, and what is missing."""

from datetime import timedelta
from decimal import Decimal
from io import BytesIO

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from openpyxl import load_workbook

from refit.buying.actions.deliveries import Arrival, book_in
from refit.stores.actions import stow
from refit.stores.models import Entry, Holding, Missing, Movement
from tests.factory import Factory
from tests.words import text

D = Decimal
pytestmark = pytest.mark.usefixtures("clean_ledger")


def at(make, tail=""):
    return f"/{make.boat.slug}/{tail}"


def taken(make, held, quantity=1, **facts):
    facts.setdefault("on", make.today)
    return stow.take(held, D(quantity), by=make.owner, today=make.today, **facts)


@pytest.fixture
def held(make):
    return make.stock(make.part("Impeller", numbers=[("maker", "09-1027", "")]), make.place("S3"), 9)


def test_list_shows_what_went_in_and_out_the_newest_first(make, as_viewer, held):
    job = make.job()
    taken(make, held, 2, job=job)
    page = text(as_viewer.get(at(make, "in-and-out/"))).split("<tbody>")[1]
    assert page.index("used") < page.index("put in")
    assert f'href="{at(make, f"jobs/{job.number}/")}"' in page
    assert ">Undo<" not in page  # a viewer undoes nothing


def test_list_is_narrowed_by_part_place_job_reason_and_days(make, as_owner, held):
    job, today = make.job(), make.today
    other = make.stock(make.part("Belt"), make.place("S4"), 3, on=today - timedelta(days=20))
    taken(make, held, 2, job=job)
    for query, seen, unseen in (
        ({"q": "091027"}, "Impeller", "Belt"),
        ({"place": "s4"}, "Belt", "Impeller"),
        ({"job": job.number}, "Impeller", "Belt"),
        ({"reason": "used"}, "Impeller", "Belt"),
        ({"until": (today - timedelta(days=20)).isoformat()}, "Belt", "Impeller"),
        ({"since": today.isoformat()}, "Impeller", "Belt"),
    ):
        page = text(as_owner.get(at(make, "in-and-out/"), query)).split("<tbody>")[1]
        assert seen in page
        assert unseen not in page
    assert other.quantity == 3


@pytest.mark.parametrize(
    "query",
    [
        "job=1e400",
        "job=99999999999999999999999",
        "since=20226-01-01",
        "sort=x",
        "page=-1",
        "reason=x",
        "q=%00",
        "job=NaN",
    ],
)
def test_a_silly_question_is_still_answered(make, as_owner, held, query):
    assert as_owner.get(at(make, "in-and-out/") + "?" + query).status_code == 200


def test_list_leaves_as_a_spreadsheet(make, as_owner, held):
    make.stock(make.part("=1+1"), make.place("S4"), "2.5")
    response = as_owner.get(at(make, "in-and-out/"), {"export": "xlsx", "sort": "part"})
    sheet = load_workbook(BytesIO(response.content)).active
    rows = list(sheet.iter_rows(min_row=2, values_only=True))
    assert [(row[3], row[5], row[8].split()[0]) for row in rows[:2]] == [
        ("=1+1", 2.5, "S4"),
        ("Impeller", 9, "S3"),
    ]
    assert b"'=1+1" in as_owner.get(at(make, "in-and-out/"), {"export": "csv"}).content


def test_list_asks_as_many_questions_with_many_rows_as_with_few(make, as_owner, held):
    counted = []
    for upto in (10, 120):
        while Movement.objects.count() < upto:
            make.stock(make.part(), make.place(), 1)
        with CaptureQueriesContext(connection) as asked:
            as_owner.get(at(make, "in-and-out/"))
        counted.append(len(asked))
    assert counted[0] == counted[1] <= 7


def test_each_deed_is_undone_once_from_the_list(make, as_crew, held):
    entry = taken(make, held, 2)
    page = text(as_crew.get(at(make, "in-and-out/")))
    where = at(make, f"in-and-out/{entry.pk}/undo/")
    assert f'formaction="{where}"' in page
    response = as_crew.post(where, follow=True)
    assert "Undone: Took 2 Impeller" in text(response)
    assert f'formaction="{where}"' not in text(response)
    held.refresh_from_db()
    assert held.quantity == 9
    response = as_crew.post(where, follow=True)
    assert "This has been undone already." in text(response)
    held.refresh_from_db()
    assert held.quantity == 9


def test_a_deed_of_several_movements_has_one_undo(make, as_owner, held):
    place = held.place
    belt = make.stock(make.part("Belt"), place, 2)
    entry = stow.move_things(
        [(held, None), (belt, None)], make.place("S4"), by=make.owner, on=make.today, today=make.today
    )
    page = text(as_owner.get(at(make, "in-and-out/")))
    assert page.count(f"in-and-out/{entry.pk}/undo/") == 1


def test_undo_is_refused_where_some_was_taken_since(make, as_owner, held):
    entry = Entry.objects.get(kind="put_in")
    taken(make, held, 1)
    response = as_owner.post(at(make, f"in-and-out/{entry.pk}/undo/"), follow=True)
    assert "some was taken since" in text(response)
    held.refresh_from_db()
    assert held.quantity == 8


def test_undo_leads_back_to_our_own_pages_only(make, as_owner, held):
    entry = taken(make, held)
    response = as_owner.post(
        at(make, f"in-and-out/{entry.pk}/undo/"), HTTP_REFERER="http://elsewhere.example/trap"
    )
    assert response["Location"] == at(make, "in-and-out/")


def test_what_arrived_by_an_order_is_undone_there(make, as_owner):
    part, place = make.part(), make.place("S3")
    order = make.order(make.line(part, packs=D(2), place=place))
    line = order.lines.get()
    book_in(
        order.boat,
        [Arrival(line=line, quantity=D(2), place=place)],
        by=make.owner,
        on=make.today,
        today=make.today,
    )
    entry = Entry.objects.get(kind="delivery")
    page = text(as_owner.get(at(make, "in-and-out/")))
    assert f'href="{at(make, f"orders/{order.number}/")}"' in page
    assert f"in-and-out/{entry.pk}/undo/" not in page
    response = as_owner.post(at(make, f"in-and-out/{entry.pk}/undo/"), follow=True)
    assert "This belongs to an order; undo it there." in text(response)
    assert Holding.objects.get().quantity == 2


def test_who_may_see_and_who_may_undo(make, as_viewer, as_trade, as_outsider, as_owner, held):
    entry = taken(make, held)
    undo = at(make, f"in-and-out/{entry.pk}/undo/")
    for page in ("in-and-out/", "missing/"):
        assert as_viewer.get(at(make, page)).status_code == 200
        assert as_trade.get(at(make, page)).status_code == 403
        assert as_outsider.get(at(make, page)).status_code == 404
        assert as_owner.post(at(make, page)).status_code == 405
    assert as_viewer.post(undo).status_code == 403
    assert as_outsider.post(undo).status_code == 404
    assert as_owner.get(undo).status_code == 405
    for pk in (0, 999_999, 10**40):
        assert as_owner.post(at(make, f"in-and-out/{pk}/undo/")).status_code == 404
    held.refresh_from_db()
    assert held.quantity == 8


def test_another_boats_deed_cannot_be_undone(make, as_owner):
    other = Factory.start("Other Boat", prefix="other-")
    theirs = other.stock(other.part(), other.place("X1"), 5)
    entry = Entry.objects.get()
    assert as_owner.post(at(make, f"in-and-out/{entry.pk}/undo/")).status_code == 404
    theirs.refresh_from_db()
    assert theirs.quantity == 5
    assert theirs.part.name not in text(as_owner.get(at(make, "in-and-out/")))


# --- missing ------------------------------------------------------------------------------------------------


def test_missing_shows_the_last_three_things_that_happened(make, as_owner, held):
    for quantity in (1, 2, 3):
        taken(make, held, quantity)
    stow.not_there(held, by=make.crew, on=make.today, today=make.today)
    page = text(as_owner.get(at(make, "missing/")))
    assert "<b>3 </b> not in" in page
    assert [words in page for words in ("used 1 ", "used 2 ", "used 3 ", "put in 9")] == [
        True,
        True,
        True,
        False,
    ]
    assert "Crew" in page


def test_found_or_given_up_takes_it_off_the_list_and_undo_puts_it_back(make, as_crew, held):
    stow.not_there(held, by=make.owner, on=make.today, today=make.today)
    thing = Missing.objects.get()
    response = as_crew.post(at(make, f"missing/{thing.pk}/close/"), follow=True)
    assert "Impeller is off the Missing list." in text(response)
    assert "Nothing is missing" in text(response)
    response = as_crew.post(at(make, f"missing/{thing.pk}/open/"), follow=True)
    assert "not in" in text(response)


def test_it_was_there_after_all_puts_the_number_back(make, as_crew, held):
    entry = stow.not_there(held, by=make.owner, on=make.today, today=make.today)
    assert at(make, f"in-and-out/{entry.pk}/undo/") in text(as_crew.get(at(make, "missing/")))
    as_crew.post(at(make, f"in-and-out/{entry.pk}/undo/"))
    held.refresh_from_db()
    assert held.quantity == 9
    assert not Missing.objects.exists()


def test_only_who_may_stow_closes_and_only_their_own(make, as_viewer, as_owner, as_outsider, held):
    stow.not_there(held, by=make.owner, on=make.today, today=make.today)
    thing = Missing.objects.get()
    other = Factory.start("Other Boat", prefix="other-")
    theirs = other.stock(other.part(), other.place("X1"), 5)
    stow.not_there(theirs, by=other.owner, on=other.today, today=other.today)
    foreign = Missing.objects.get(boat=other.boat)
    for verb in ("close", "open"):
        assert as_viewer.post(at(make, f"missing/{thing.pk}/{verb}/")).status_code == 403
        assert as_outsider.post(at(make, f"missing/{thing.pk}/{verb}/")).status_code == 404
        assert as_owner.post(at(make, f"missing/{foreign.pk}/{verb}/")).status_code == 404
        assert as_owner.get(at(make, f"missing/{thing.pk}/{verb}/")).status_code == 405
    assert not Missing.objects.exclude(closed_at=None).exists()


def test_missing_asks_as_many_questions_with_many_things_as_with_few(make, as_owner):
    place, counted = make.place("S3"), []
    for upto in (2, 20):
        while Missing.objects.count() < upto:
            stow.not_there(make.stock(make.part(), place, 1), by=make.owner, on=make.today, today=make.today)
        with CaptureQueriesContext(connection) as asked:
            as_owner.get(at(make, "missing/"))
        counted.append(len(asked))
    assert counted[0] == counted[1] <= 6
