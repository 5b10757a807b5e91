"""The forecast: what it is made of, how it stood on earlier days, and why it moved, to the minor unit."""

import random
from collections import defaultdict
from datetime import UTC, date, datetime, timedelta

import pytest
from django.utils import timezone

from refit.boat.actions import boats
from refit.buying import steps
from refit.buying.actions import charges, corrections, deliveries, orders, refunds
from refit.buying.actions.charges import Bill
from refit.buying.actions.deliveries import Arrival
from refit.buying.actions.refunds import Refund
from refit.buying.book import read
from refit.buying.forecast import Book, added, by
from refit.buying.models import CostStep, Line, Order
from refit.buying.moved import moved
from refit.buying.reading import wanted
from refit.buying.spend import Filters, facts, totals
from refit.stores.actions import parts, stow
from refit.stores.models import Need
from refit.work import estimates
from refit.work.actions import set_state
from refit.work.models import Before, Job, State
from tests.factory import D, Factory

pytestmark = pytest.mark.usefixtures("clean_ledger")
START = date(2026, 1, 5)


class Clock:
    """The day, which a test turns."""

    def __init__(self, monkeypatch):
        self.day = START
        monkeypatch.setattr(timezone, "now", self.now)

    def now(self) -> datetime:
        return datetime(self.day.year, self.day.month, self.day.day, 12, tzinfo=UTC)

    def to(self, day: date) -> date:
        self.day = day
        return day


@pytest.fixture
def clock(monkeypatch) -> Clock:
    return Clock(monkeypatch)


def book(make: Factory) -> Book:
    return Book(read(make.boat))


def total(make: Factory, day: date) -> int:
    return added(book(make).pieces(day)).total


def need(make: Factory, job: Job, what=None, quantity="1", guess=None) -> Need:
    found = parts.add_need(job, part=what, words="" if what else "Odds and ends", quantity=D(quantity))
    return parts.guess_need(found, guess) if guess is not None else found


def estimate(make: Factory, job: Job, amount: int, words: str = "Crane"):
    return estimates.add_estimate(
        job, words=words, amount=amount, on=make.today, today=make.today, by=make.owner
    )


def test_it_is_what_was_ordered_and_all_that_is_still_to_come(clock, make: Factory):
    rope, job = make.part("Rope", unit="m"), make.job("Halyards")
    make.order(make.line(rope, packs=D(10), price=D("2.00"), job=None))  # 2.00 a metre, for no job
    make.draft(make.line(words="Blocks", price=D("40.00")))
    need(make, job, rope, "30")
    need(make, job, guess=15_00)
    estimate(make, job, 300_00)
    sums = added(book(make).pieces(make.today))
    assert (sums.ordered, sums.drafts, sums.wanted, sums.estimates) == (20_00, 40_00, 60_00 + 15_00, 300_00)
    assert (sums.to_come, sums.total) == (415_00, 435_00)
    assert by(book(make).pieces(make.today), "system")[make.system.pk].total == 435_00


def test_a_refund_is_taken_off(clock, make: Factory):
    order = make.order(make.line(price=D("50.00")))
    refund = Refund("price", D("5.00"), "GBP", came_on=make.today)
    refunds.add_refund(order, list(order.lines.all()), refund, by=make.owner, today=make.today)
    assert total(make, make.today) == 45_00


@pytest.mark.parametrize(
    ("prices", "each"),
    [
        ([], None),
        (["9.00"], 9_00),
        (["9.00", "7.00"], 7_00),
        (["7.00", "9.00"], 7_00),
        (["1.00", "9.00", "8.00"], 8_00),  # the bargain of long ago no longer counts
    ],
)
def test_a_part_counts_at_the_better_of_the_last_two_prices(clock, make: Factory, prices, each):
    part, job = make.part("Filter"), make.job()
    for place, price in enumerate(prices):
        day = clock.to(START + timedelta(days=place))
        make.order(make.line(part, price=D(price)), on=day)
    need(make, job, part, "2", guess=1_00)
    (wish,) = book(make).wishes(make.today)
    assert wish.amount == (1_00 if each is None else 2 * each)
    assert wish.guessed is (each is None)


def test_what_it_cost_all_in_is_its_price(clock, make: Factory):
    part, job = make.part("Pump"), make.job()
    freight = orders.ChargeFacts("freight", D("6.00"))
    make.order(make.line(part, packs=D(3), price=D("10.00")), charges=(freight,))
    need(make, job, part, "2")
    assert book(make).wishes(make.today)[0].amount == 24_00


def test_gifts_swaps_and_second_hand_set_no_price(clock, make: Factory):
    part, job = make.part("Compass"), make.job()
    order = make.order(make.line(part, price=D("20.00")))
    Line.objects.filter(order=order).update(second_hand=True)
    need(make, job, part)
    assert [wish.amount for wish in book(make).wishes(make.today)] == [None]


def test_a_thing_without_a_price_is_counted_and_not_taken_for_nothing(clock, make: Factory):
    need(make, make.job())
    (wish,) = book(make).wishes(make.today)
    assert (wish.amount, wish.guessed) == (None, False)
    assert book(make).to_come(make.today) == []


def test_a_guess_counts_for_what_is_left_to_buy(clock, make: Factory):
    part, job, place = make.part("Bolts"), make.job(), make.place()
    holding = make.stock(part, place, 2)
    need(make, job, part, "3", guess=10_00)
    stow.take(holding, D(2), by=make.owner, on=make.today, today=make.today, job=job)
    (wish,) = book(make).wishes(make.today)
    assert (wish.to_buy, wish.amount) == (D(1), 3_33)


@pytest.mark.parametrize("change", [{"before": Before.ANOTHER_YEAR}, {"state": State.LATER}])
def test_jobs_put_off_are_left_out(clock, make: Factory, change):
    job = make.job(**change)
    need(make, job, guess=10_00)
    estimate(make, job, 20_00)
    assert total(make, make.today) == 0


def test_a_job_that_is_done_wants_nothing_but_its_estimate_stands_until_closed(clock, make: Factory):
    job = make.job()
    need(make, job, guess=10_00)
    plan = estimate(make, job, 20_00)
    clock.to(START + timedelta(days=3))
    set_state(job, State.DONE, today=make.today)
    assert total(make, make.today) == 20_00
    assert total(make, START + timedelta(days=2)) == 30_00
    estimates.close_estimate(plan, on=make.today, today=make.today)
    assert total(make, make.today) == 0


def test_a_draft_without_a_system_counts_under_none(clock, make: Factory):
    make.draft(make.line(price=D("7.00"), system=None))
    assert by(book(make).to_come(make.today), "system")[None].drafts == 7_00


# Steps


def rows(order: Order) -> list[tuple[int, date, bool]]:
    found = CostStep.objects.filter(order=order).order_by("id")
    return [(step.difference, step.counts_from, step.placing) for step in found]


def test_an_order_written_down_later_counts_from_its_day(clock, make: Factory):
    clock.to(START + timedelta(days=20))
    order = make.order(make.line(price=D("10.00")), on=START)
    assert rows(order) == [(10_00, START, True)]
    assert total(make, START) == 10_00


def test_a_later_bill_is_a_step_of_its_own_day(clock, make: Factory):
    order = make.order(make.line(price=D("10.00")))
    day = clock.to(START + timedelta(days=9))
    bill = Bill("duty", D("2.60"), "GBP")
    charges.add_charge(make.boat, list(order.lines.all()), bill, by=make.owner, today=day)
    assert rows(order) == [(10_00, START, True), (2_60, day, False)]


def test_an_order_taken_back_to_not_ordered_has_no_steps(clock, make: Factory):
    order = make.order(make.line(price=D("10.00")))
    orders.back_to_draft(order)
    assert rows(order) == []
    clock.to(START + timedelta(days=2))
    orders.place_order(order, on=make.today, today=make.today)
    assert rows(order) == [(10_00, make.today, True)]


def test_a_day_of_ordering_put_right_moves_the_steps(clock, make: Factory):
    order = make.order(make.line(price=D("10.00")))
    day = clock.to(START + timedelta(days=5))
    line = order.lines.get()
    change = corrections.LineChange(make.line(price=D("12.00"), words=line.words), line=line)
    head = corrections.Head(order.supplier, ordered_on=START + timedelta(days=5))
    corrections.correct_order(order, head, [change], by=make.owner, today=day)
    assert rows(order) == [(10_00, day, True), (2_00, day, False)]
    head = corrections.Head(order.supplier, ordered_on=START)
    corrections.correct_order(order, head, [change], by=make.owner, today=day)
    assert rows(order) == [(10_00, START, True), (2_00, day, False)]


def test_a_line_moved_to_another_system_is_a_step_of_both(clock, make: Factory):
    order = make.order(make.line(price=D("10.00")))
    day = clock.to(START + timedelta(days=5))
    line = order.lines.get()
    facts_of_line = make.line(price=D("10.00"), words=line.words, system=make.other_system)
    head = corrections.Head(order.supplier, ordered_on=START)
    change = corrections.LineChange(facts_of_line, line=line)
    corrections.correct_order(order, head, [change], by=make.owner, today=day)
    found = moved(book(make), START, day)
    assert {item.system: item.amount for item in found.items} == {
        make.system.pk: -10_00,
        make.other_system.pk: 10_00,
    }
    assert found.difference == 0


def test_the_proof_names_an_order_whose_steps_are_wrong(clock, make: Factory):
    order = make.order(make.line(price=D("10.00")))
    CostStep.objects.filter(order=order).update(difference=9_00)
    assert [f"order {order.number}" in sentence for sentence in steps.differences()] == [True]
    CostStep.objects.filter(order=order).update(difference=10_00)
    assert list(steps.differences()) == []


# Why it moved


def test_an_order_stands_with_what_had_been_foreseen_for_it(clock, make: Factory):
    """The standing rigging was guessed at 2,220.00 and ordered for 3,200.00: the rig is up 980.00."""
    part, job = make.part("Standing rigging"), make.job("Re-rig")
    need(make, job, part, guess=2220_00)
    day = clock.to(START + timedelta(days=10))
    order = make.order(make.line(part, price=D("3200.00"), job=job))
    found = moved(book(make), START, day)
    (item,) = found.items
    assert (item.order, item.words, item.amount) == (order.number, "Standing rigging", 980_00)
    assert item.foreseen == 2220_00


def test_an_estimate_closed_stands_with_the_service_that_was_ordered(clock, make: Factory):
    job = make.job("Lift out")
    plan = estimate(make, job, 400_00)
    day = clock.to(START + timedelta(days=10))
    make.order(make.line(words="Crane", price=D("450.00"), job=job, service=True))
    estimates.close_estimate(plan, on=day, today=day)
    (item,) = moved(book(make), START, day).items
    assert (item.amount, item.foreseen) == (50_00, 400_00)


def test_each_reason_is_named(clock, make: Factory):
    job = make.job("Job in hand")
    old = make.order(make.line(words="Chain", price=D("100.00")))
    plan = estimate(make, job, 50_00, "Welding")
    boats.set_budget(make.system, 1000_00, on=START, by=make.owner)
    boats.set_contingency(make.boat, 300_00, on=START, by=make.owner)
    day = clock.to(START + timedelta(days=7))
    bill = Bill("duty", D("26.00"), "GBP")
    charges.add_charge(make.boat, list(old.lines.all()), bill, by=make.owner, today=day)
    back = Refund("price", D("8.00"), "GBP", came_on=day)
    refunds.add_refund(old, list(old.lines.all()), back, by=make.owner, today=day)
    estimates.change_amount(plan, 75_00, on=day, today=day, by=make.owner)
    need(make, job, guess=4_00)
    new = make.order(make.line(words="Shackle", price=D("9.00")))
    make.draft(make.line(words="Anchor", price=D("200.00")))
    boats.set_budget(make.system, 1200_00, on=day, by=make.owner)
    boats.set_contingency(make.boat, 250_00, on=day, by=make.owner)
    found = moved(book(make), START, day)
    said = {item.words: (item.amount, item.order, item.job) for item in found.items}
    assert said == {
        "Chain: import duty added": (26_00, old.number, None),
        "Money back: money off, goods kept": (-8_00, old.number, None),
        "Welding: estimate changed": (25_00, None, job.number),
        "1 × Odds and ends: wanted since": (4_00, None, job.number),
        "Shackle": (9_00, new.number, None),
        "Anchor (not ordered yet)": (200_00, new.number + 1, None),
    }
    assert found.difference == sum(item.amount for item in found.items) == 256_00
    (change,) = found.budgets
    assert (change.before, change.now, change.amount) == (1000_00, 1200_00, 200_00)
    assert found.contingency == (300_00, 250_00)


# The property: random deeds on a season's days


Evening = tuple[dict[int, int], int, int]


def deeds(make: Factory, clock: Clock, luck: random.Random, days: int) -> dict[date, Evening]:
    """Live a season; return, for each evening, what lines came to by system, what was ordered net, and estimates."""
    seen: dict[date, Evening] = {}
    things = [make.part(f"Thing {at}") for at in range(3)]
    jobs = [make.job(system=luck.choice([make.system, make.other_system])) for _ in range(3)]
    for at in range(days):
        day = clock.to(START + timedelta(days=at))
        for _ in range(luck.randint(0, 2)):
            one_deed(make, luck, day, jobs, things)
        sums = added(book(make).pieces(day))
        seen[day] = lines_by_system(make), sums.ordered, sums.estimates
        same_as_now(make, day)
    return seen


def one_deed(make: Factory, luck: random.Random, day: date, jobs, things) -> None:
    who = {"by": make.owner, "today": day}
    job, thing = luck.choice(jobs), luck.choice(things)
    system = luck.choice([make.system, make.other_system])
    placed = list(Order.objects.counted().filter(boat=make.boat))
    order = luck.choice(placed) if placed else None
    price = D(luck.randint(1, 9000)) / 100
    deed = luck.randrange(13)
    if deed <= 2 or order is None:
        make.order(
            make.line(
                thing, packs=D(luck.randint(1, 4)), price=price, job=luck.choice([job, None]), system=system
            ),
            make.line(words="Work", price=price, job=job, system=system, service=luck.random() < 0.5),
        )
    elif deed == 3:
        parts.add_need(job, part=luck.choice([thing, None]), words="Odds", quantity=D(luck.randint(1, 5)))
        parts.guess_need(Need.objects.filter(boat=make.boat).latest("id"), luck.choice([None, 7_77]))
    elif deed == 4:
        estimates.add_estimate(job, words="Yard", amount=luck.randint(0, 900_00), on=day, **who)
    elif deed == 5:
        bill = Bill("duty", price, "GBP", basis="count")
        charges.add_charge(make.boat, list(order.lines.filter(counted=True)), bill, **who)
    elif deed == 6:
        most = refunds.left_to_refund(order)
        if most > 0:
            back = Refund("price", D(luck.randint(1, most)) / 100, "GBP", came_on=day)
            refunds.add_refund(order, list(order.lines.all()), back, **who)
    elif deed == 7:
        for line in order.lines.all():
            if line.open_quantity > 0:
                gone = luck.random() < 0.3
                quantity = D(0) if gone else line.open_quantity
                came = Arrival(line, quantity, wont_come=gone, to_job=luck.random() < 0.4)
                deliveries.book_in(make.boat, [came], on=day, **who)
                break
    elif deed == 8:
        make.draft(make.line(thing, price=price, job=luck.choice([job, None])))
    elif deed == 9:
        plan = luck.choice([row for each in jobs for row in each.estimates.filter(closed_on=None)] or [None])
        if plan and luck.random() < 0.5:
            estimates.close_estimate(plan, on=day, today=day)
        elif plan:
            estimates.change_amount(plan, luck.randint(0, 500_00), on=day, **who)
    elif deed == 10:
        draft = Order.objects.filter(boat=make.boat, state="draft").first()
        if draft:
            orders.place_order(draft, on=day, today=day)
    elif deed == 11 and not order.credits.exists():
        if not order.lines.filter(arrived__gt=0).exists() and not order.payment_splits.exists():
            orders.cancel_order(order)
    elif deed == 12:
        open_need = Need.objects.open().filter(boat=make.boat).first()
        if open_need:
            parts.close_need(open_need)


def lines_by_system(make: Factory) -> dict[int, int]:
    found: dict[int, int] = defaultdict(int)
    for line in Line.objects.filter(boat=make.boat, counted=True):
        found[line.system_id] += line.landed
    return {system: amount for system, amount in found.items() if amount}


def same_as_now(make: Factory, day: date) -> None:
    """The book of today says what spend and the wants of jobs say by their own ways."""
    found = book(make)
    money = totals(facts(make.boat, Filters()), "system")
    ordered = {
        system: sums.ordered for system, sums in by(found.pieces(day), "system").items() if sums.ordered
    }
    assert ordered == {system: sums.ordered for system, sums in money.items() if sums.ordered}
    wishes = {wish.need.pk: wish.to_buy for wish in found.wishes(day)}
    open_jobs = list(Job.objects.open().filter(boat=make.boat))
    said = {row.need.pk: row.to_buy for rows in wanted(open_jobs).values() for row in rows if row.to_buy > 0}
    assert wishes == said


@pytest.mark.parametrize("seed", range(4))
def test_named_items_add_up_to_what_it_moved_between_any_two_days(clock, make: Factory, seed: int):
    luck = random.Random(seed)
    days = 30
    seen = deeds(make, clock, luck, days)
    found = book(make)
    for day, (then, ordered, estimated) in seen.items():
        stood: dict[int, int] = defaultdict(int)
        for step in found.rows.steps:
            if step.day <= day:
                stood[step.system] += step.difference
        assert {system: amount for system, amount in stood.items() if amount} == then, day
        sums = added(found.pieces(day))
        assert (sums.ordered, sums.estimates) == (ordered, estimated), day
    for _ in range(25):
        first, last = sorted((luck.randrange(-1, days), luck.randrange(days)))
        before, after = START + timedelta(days=first), START + timedelta(days=last)
        why = moved(found, before, after)
        for system in {*why.then, *why.now}:
            items = sum(item.amount for item in why.items if item.system == system)
            assert items == why.now.get(system, 0) - why.then.get(system, 0)
        assert why.difference == added(found.pieces(after)).total - added(found.pieces(before)).total


def test_reading_the_book_takes_the_same_queries_whatever_its_length(
    clock, make: Factory, django_assert_num_queries
):
    with django_assert_num_queries(13):
        read(make.boat)
    job = make.job()
    for _ in range(12):
        make.order(make.line(make.part(), job=job))
        need(make, job, guess=1)
        estimate(make, job, 1)
    with django_assert_num_queries(13):
        rows_read = book(make)
        rows_read.pieces(make.today)
        moved(rows_read, START - timedelta(days=1), make.today)
