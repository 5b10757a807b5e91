"""The buy list: what is on it and why, how many, by when; the orders made of it, in town too; two people at once."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from refit.boat.models import Boat
from refit.buying.actions import offers, shopping
from refit.buying.actions import town as acts
from refit.buying.actions.offers import OfferFacts
from refit.buying.actions.orders import OrderFacts, place_order, write_order
from refit.buying.actions.shopping import Tick
from refit.buying.actions.town import Bought
from refit.buying.models import Line, Order, Supplier
from refit.buying.to_buy import Urgency, Why, to_buy
from refit.buying.town import bought_today, town_rows
from refit.carry.ledger import differences
from refit.stores.actions import stow
from refit.stores.models import Holding, Need
from tests.at_once import at_once
from tests.factory import D, Factory
from tests.refusing import refuse

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clean_ledger")]


def need(make: Factory, part=None, quantity=1, job=None, days=None, **facts) -> Need:
    """Let a job want so much, so many days from today."""
    wanted_by = None if days is None else make.today + timedelta(days=days)
    job = job or make.job()
    return Need.objects.create(
        boat=make.boat, job=job, part=part, quantity=D(quantity), wanted_by=wanted_by, **facts
    )


def ask(make: Factory, part, supplier, price="10", days=None, **facts):
    values = {"currency": "GBP", "seen_on": make.today, "lead_days": days} | facts
    return offers.add_offer(part, OfferFacts(supplier, D(price), **values), today=make.today)


def rows(make: Factory) -> dict[str, object]:
    return {row.what: row for row in to_buy(make.boat, make.today).rows}


def order(make: Factory, *keys: str, **facts) -> list[Order]:
    return shopping.order_ticked(
        make.boat, [Tick(key, **facts) for key in keys], by=make.owner, today=make.today
    )


def lines(of: Order) -> list[tuple]:
    found = Line.objects.filter(order=of).order_by("position")
    return [(line.what, line.packs, line.job and line.job.number, line.need_id) for line in found]


@pytest.mark.parametrize(
    ("days", "urgency", "late"),
    [
        (9, Urgency.LATE, 1),  # ten days on the way: one too many
        (10, Urgency.TONIGHT, 0),  # here on the day, the margin used up
        (13, Urgency.TONIGHT, 0),  # ten days and three of margin
        (14, Urgency.WEEK, 0),
        (20, Urgency.WEEK, 0),
        (21, Urgency.LATER, 0),
    ],
)
def test_how_soon_follows_from_the_day_wanted_the_lead_time_and_the_margin(make, days, urgency, late):
    part, shop = make.part("Bolt"), make.supplier()
    ask(make, part, shop, days=10)
    need(make, part, days=days)
    row = rows(make)["Bolt"]
    assert (row.urgency, row.late_days) == (urgency, late)
    assert row.order_by == make.today + timedelta(days=days - 13)


def test_without_a_known_lead_time_it_is_asked(make):
    part = make.part("Bolt")
    need(make, part, days=30)
    assert (rows(make)["Bolt"].urgency, rows(make)["Bolt"].order_by) == (Urgency.ASK, None)
    ask(make, part, make.supplier())
    assert rows(make)["Bolt"].urgency == Urgency.ASK


def test_what_is_here_or_on_order_is_not_bought_again(make):
    part, place = make.part("Bolt"), make.place("S1")
    wanted = need(make, part, 5, days=30)
    make.stock(part, place, 2)
    assert rows(make)["Bolt"].to_buy == 3
    make.order(make.line(part, packs=D(2), job=wanted.job), expected_on=make.today + timedelta(days=2))
    assert rows(make)["Bolt"].to_buy == 1
    make.draft(make.line(part, packs=D(1), job=wanted.job))
    assert "Bolt" not in rows(make)


def test_a_draft_for_one_job_leaves_to_others_what_it_has_left_over(make):
    """A box of ten for three leaves two for the next job; what a line's need says counts first."""
    part = make.part("Bolt")
    first, second = need(make, part, 3, days=5), need(make, part, 2, days=4)
    make.draft(make.line(part, packs=D(3), job=first.job, need=first))
    assert [(wish.need, wish.left) for wish in rows(make)["Bolt"].wanted] == [(second, 2)]
    make.draft(make.line(part, packs=D(1), pack_size=D(10), job=first.job))
    assert "Bolt" not in rows(make)


def test_quantities_go_up_to_whole_sets(make):
    part = make.part("Impeller", sets_of=4)
    need(make, part, 3, days=9)
    need(make, part, 2, days=9)
    assert (rows(make)["Impeller"].short, rows(make)["Impeller"].to_buy) == (5, 8)


def test_what_replaces_a_part_is_bought_in_its_place(make):
    newer = make.part("Newer")
    older = make.part("Older", superseded_by=newer)
    need(make, older, days=9)
    assert list(rows(make)) == ["Newer"]


def test_spares_below_their_least_and_low_tins_come_in_and_say_why(make):
    spare = make.part("Belt", is_spare=True, minimum=D(3))
    paint, glue = make.part("Paint", kept="level"), make.part("Glue", kept="level")
    place = make.place("S1")
    make.stock(spare, place, 1)
    for part, level in ((paint, "low"), (glue, "gone")):
        for said in ("fine", level):
            stow.say_level(part, place, said, by=make.owner, on=make.today, today=make.today)
    found = rows(make)
    assert {what: (row.wishes[0].why, row.to_buy) for what, row in found.items()} == {
        "Belt": (Why.SPARE, 2),
        "Paint": (Why.LOW, 1),
        "Glue": (Why.GONE, 1),
    }
    make.order(make.line(spare, packs=D(2)), make.line(paint))
    make.draft(make.line(glue))
    assert rows(make) == {}


def test_needs_in_words_are_listed_and_ordered_as_words(make):
    wanted = need(make, None, 2, words="Oak for the cleats", days=9)
    shop = make.supplier()
    row = rows(make)["Oak for the cleats"]
    refuse("nobody", lambda: order(make, row.key))
    made = order(make, row.key, supplier=shop)
    assert lines(made[0]) == [("Oak for the cleats", 2, wanted.job.number, wanted.pk)]
    assert rows(make) == {}
    shopping.throw_drafts_away(make.boat, made)
    assert list(rows(make)) == ["Oak for the cleats"]


def test_one_order_for_each_supplier_one_line_for_each_job(make):
    bolt, nut = make.part("Bolt"), make.part("Nut", usual_place=make.place("S1"))
    here, there = make.supplier("Here"), make.supplier("There")
    ask(make, bolt, here, days=2, price="1.50")
    ask(make, nut, there, days=2)
    ask(make, nut, here, days=2, price="99")
    one, two = need(make, bolt, 2, days=30), need(make, bolt, 3, days=40)
    three = need(make, nut, 1, days=30)
    found = rows(make)
    made = order(make, found["Bolt"].key, found["Nut"].key)
    assert [(each.supplier.name, each.state) for each in made] == [("Here", "draft"), ("There", "draft")]
    assert lines(made[0]) == [
        ("Bolt", 2, one.job.number, one.pk),
        ("Bolt", 3, two.job.number, two.pk),
    ]
    assert made[0].lines.first().unit_price == D("1.5")
    nut_line = made[1].lines.get()
    assert (nut_line.place, nut_line.system, nut_line.need) == (nut.usual_place, three.job.system, three)
    assert made[1].expected_on == make.today + timedelta(days=2)
    assert rows(make) == {}


def test_the_chosen_supplier_counts_and_whole_packs_go_to_whoever_wants_first(make):
    bolt, shop, dear = make.part("Bolt"), make.supplier("Box"), make.supplier("Dear")
    ask(make, bolt, shop, days=1, pack_size=D(10))
    ask(make, bolt, dear, days=1, price="500")
    first, second = need(make, bolt, 8, days=20), need(make, bolt, 4, days=30)
    row = rows(make)["Bolt"]
    chosen = next(quote for quote in row.quotes if quote.supplier == dear)
    by_hand = order(make, row.key, choice=chosen.key)
    assert (by_hand[0].supplier, lines(by_hand[0])[0][1]) == (dear, 8)
    shopping.throw_drafts_away(make.boat, by_hand)
    made = order(make, row.key)
    assert lines(made[0]) == [
        ("Bolt", 1, first.job.number, first.pk),
        ("Bolt", 1, second.job.number, second.pk),
    ]
    assert rows(make) == {}


def test_what_is_no_longer_to_buy_is_refused_and_nothing_is_made(make):
    part, shop = make.part("Bolt"), make.supplier()
    offer = ask(make, part, shop, days=1)
    need(make, part, days=20)
    key = rows(make)["Bolt"].key
    refuse("nothing", lambda: order(make))
    refuse("gone", lambda: order(make, key, "p999999999"))
    refuse("gone", lambda: order(make, key, choice=f"o{offer.pk + 99}"))
    refuse("too_many", lambda: order(make, *(f"p{number}" for number in range(1, 300))))
    order(make, key)
    refuse("gone", lambda: order(make, key))


def test_a_draft_written_anew_by_the_form_keeps_what_each_line_is_for(make):
    part, shop = make.part("Bolt"), make.supplier()
    wanted = need(make, part, 2, days=20)
    draft = order(make, rows(make)["Bolt"].key, supplier=shop)[0]
    line = make.line(part, packs=D(2), job=wanted.job)
    facts = OrderFacts(supplier=shop, currency="GBP", lines=[line, make.line()])
    write_order(make.boat, facts, by=make.owner, today=make.today, order=draft)
    assert [row[3] for row in lines(draft)] == [wanted.pk, None]


def test_what_could_wait_is_named_where_it_makes_carriage_free(make):
    shop = make.supplier("Free above", free_freight_from=5000, usual_freight=900)
    now, later, never = (make.part(name) for name in ("Now", "Later", "Never"))
    for part, price in ((now, "30"), (later, "25"), (never, "25")):
        ask(make, part, shop, days=1, price=price)
    need(make, now, days=5)
    need(make, later, days=100)
    need(make, never, days=200)
    found = to_buy(make.boat, make.today)
    ((filling, some),) = found.by_supplier(found.rows)
    assert (filling.now, filling.missing, filling.carriage, len(some)) == (3000, 2000, 900, 3)
    assert [row.what for row in filling.fill] == ["Later"]
    ask(make, make.part(), shop)
    Need.objects.filter(part=later).delete()
    Need.objects.filter(part=never).update(part=make.part("Cheap"))
    found = to_buy(make.boat, make.today)
    assert found.by_supplier([found.row(f"p{now.pk}")])[0][0].fill == []


def test_the_list_costs_the_same_number_of_queries_however_long(make):
    def queries() -> int:
        with CaptureQueriesContext(connection) as seen:
            assert town_rows(make.boat, make.today, to_buy(make.boat, make.today))
        return len(seen)

    shop = make.supplier("Shop", is_shop=True)

    def more():
        part = make.part(is_spare=True, minimum=D(2))
        ask(make, part, shop, days=1)
        need(make, part, days=9)
        need(make, None, words="In words", days=9)
        make.draft(make.line(make.part()), supplier=shop)

    more()
    few = queries()
    for _ in range(6):
        more()
    assert queries() == few


# --- in town ----------------------------------------------------------------------------------------------------------


@pytest.fixture
def shop(make) -> Supplier:
    return make.supplier("Hardware", is_shop=True)


def buy(make: Factory, shop, **facts):
    return acts.buy_in_town(make.boat, shop, by=make.owner, today=make.today, **facts)


def test_the_town_run_lists_what_the_shop_sells_best_and_what_nobody_sells(make, shop):
    bolt, nut, far = make.part("Bolt"), make.part("Nut"), make.part("Far")
    ask(make, bolt, shop, days=0)
    ask(make, far, make.supplier(), days=1, price="0.10")
    need(make, bolt, 2, days=5, must_fit="M8 stud")
    need(make, nut, days=5)
    need(make, far, days=5)
    found = [
        (each.shop and each.shop.name, [item.what for item in each.items])
        for each in town_rows(make.boat, make.today)
    ]
    assert found == [("Hardware", ["Bolt"]), (None, ["Nut"])]
    assert town_rows(make.boat, make.today)[0].items[0].must_fit == "M8 stud"


def test_one_tap_buys_and_stows_and_the_next_goes_on_the_same_order(make, shop):
    locker = make.place("S1")
    bolt, nut = make.part("Bolt", usual_place=locker), make.part("Nut")
    wanted, other = need(make, bolt, 2, days=5), need(make, nut, 3, days=5)
    first = buy(make, shop, key=f"p{bolt.pk}")
    second = buy(make, shop, key=f"p{nut.pk}", bought=Bought(price=D("0.40")))
    ((today, bought),) = bought_today(make.boat, make.today)
    assert [(line.what, line.quantity, line.amount, line.need) for line in bought] == [
        ("Bolt", 2, 0, wanted),
        ("Nut", 3, 120, other),
    ]
    assert (today.state, today.landed, rows(make)) == ("arrived", 120, {})
    held = {row.part.name: (row.quantity, row.place) for row in Holding.objects.there()}
    assert held["Bolt"] == (2, locker)
    assert held["Nut"][1].kind == "unstowed"
    acts.bring_back(second, by=make.owner, today=make.today)
    assert (list(rows(make)), today.lines.count()) == (["Nut"], 1)
    acts.bring_back(first, by=make.owner, today=make.today)
    assert set(rows(make)) == {"Bolt", "Nut"}
    assert (Order.objects.count(), Holding.objects.there().count()) == (0, 0)


def test_fewer_leave_the_last_want_and_more_go_on_it(make, shop):
    bolt = make.part("Bolt")
    first, second = need(make, bolt, 2, days=5), need(make, bolt, 2, days=9)
    some = buy(make, shop, key=f"p{bolt.pk}", bought=Bought(quantity=D(3)))
    assert [(row.line.need, row.quantity) for row in some.lines.order_by("id")] == [(first, 2), (second, 1)]
    assert rows(make)["Bolt"].to_buy == 1
    buy(make, shop, key=f"p{bolt.pk}", bought=Bought(quantity=D(10)))
    assert rows(make) == {}
    for quantity in (D(0), D(-1), D(10) ** 6):
        refuse("nothing", lambda q=quantity: acts._as_many([], Bought(quantity=q)))


def test_a_shops_list_is_its_order_not_placed_yet(make, shop):
    bolt, nut = make.part("Bolt"), make.part("Nut")
    need(make, bolt, 2, days=5)
    need(make, nut, days=5)
    put = {"by": make.owner, "today": make.today}
    on_list = acts.put_on_list(make.boat, shop, f"p{bolt.pk}", **put)
    acts.put_on_list(make.boat, shop, f"p{nut.pk}", **put)
    assert (Order.objects.count(), rows(make)) == (1, {})
    made = buy(make, shop, line=on_list[0])
    assert Order.objects.filter(state="draft").get().lines.get().part == nut
    acts.bring_back(made, on_list=True, **put)
    draft = Order.objects.get()
    assert sorted(line.what for line in draft.lines.all()) == ["Bolt", "Nut"]
    acts.take_off_list(make.boat, list(draft.lines.all()))
    assert (Order.objects.count(), set(rows(make))) == (0, {"Bolt", "Nut"})


def test_what_town_refuses(make, shop):
    """What is not wanted, twice the same, no system known, and a delivery that was no town run."""
    bolt = make.part("Bolt", is_spare=True, minimum=D(1))
    refuse("no_system", lambda: buy(make, shop, key=f"p{bolt.pk}"))
    made = buy(make, shop, key=f"p{bolt.pk}", bought=Bought(system=make.system))
    refuse("gone", lambda: buy(make, shop, key=f"p{bolt.pk}"))
    acts.bring_back(made, by=make.owner, today=make.today)
    refuse("undone_already", lambda: acts.bring_back(made, by=make.owner, today=make.today))
    placed = place_order(make.draft(supplier=shop), on=make.today, today=make.today)
    refuse("placed", lambda: buy(make, shop, line=placed.lines.get()))


# --- at once ----------------------------------------------------------------------------------------------------------


@pytest.mark.django_db(transaction=True)
def test_two_people_who_tick_the_same_row_order_it_once():
    make = Factory.start()
    part, supplier = make.part("Bolt"), make.supplier("Shop", is_shop=True)
    ask(make, part, supplier, days=1)
    need(make, part, 2, days=30)
    key = f"p{part.pk}"
    boat = Boat.objects.get(pk=make.boat.pk)
    deeds = [
        lambda: shopping.order_ticked(boat, [Tick(key)], by=make.owner, today=make.today),
        lambda: shopping.order_ticked(boat, [Tick(key)], by=make.crew, today=make.today),
        lambda: acts.buy_in_town(boat, supplier, key=key, by=make.crew, today=make.today),
    ]
    outcomes = at_once(deeds)
    assert [getattr(outcome, "code", "done") for outcome in outcomes].count("gone") == 2
    assert Line.objects.filter(part=part).count() == 1
    assert list(differences()) == []


@pytest.mark.django_db(transaction=True)
def test_things_bought_at_once_in_one_shop_stand_on_one_order():
    make = Factory.start()
    supplier = make.supplier("Shop", is_shop=True)
    parts = [make.part(f"Part {number}") for number in range(4)]
    for part in parts:
        need(make, part, days=5)
    boat = Boat.objects.get(pk=make.boat.pk)
    outcomes = at_once(
        [
            lambda part=part: acts.buy_in_town(
                boat, supplier, key=f"p{part.pk}", by=make.owner, today=make.today
            )
            for part in parts
        ]
    )
    assert [type(outcome).__name__ for outcome in outcomes] == ["Delivery"] * 4
    assert Order.objects.get().lines.count() == 4
    assert sum(row.quantity for row in Holding.objects.there()) == 4
    assert list(differences()) == []
