"""What the demo tells of buying in time. `InTime` is walked with the one demo that `test_demo.TheDemo` builds.

Days are told from the day the demo is made, so that the story can be compared between days.
"""

from collections import Counter, defaultdict
from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise

from refit.boat.models import Boat, Paper
from refit.buying.actions.chasing import promise
from refit.buying.models import Offer, Order, Promise, Supplier
from refit.buying.netted import NeedInTime, Netted, netted
from refit.buying.to_buy import Urgency, Why, to_buy
from refit.buying.town import town_rows
from refit.calc import clashes
from refit.calc.netting import Verdict
from refit.calc.plan import Held, chain
from refit.stores.models import (
    Companion,
    Condition,
    Holding,
    KitList,
    KitListLine,
    Lot,
    Movement,
    Need,
    Part,
    Reason,
    Side,
)
from refit.voyage.models import Gear
from refit.work.models import (
    After,
    Bag,
    Booking,
    DoneBy,
    Finish,
    Hours,
    Job,
    JobTrait,
    Milestone,
    MilestoneKind,
    Trait,
    WorkTerms,
)
from refit.work.planning import milestone_key

MAST_STEP = "Mast step, cast"
# Days from the day the demo is made: when the part is promised, when launch falls then, when it is meant to be, and
# when it would be if the part were here.
PROMISED, LAUNCH, TARGET, WITHOUT = 24, 34, 30, 27
WAITED_FOR = ["22", "28", "27", "95", "92"]  # mast step, stepping, furling gear, tuning, launch
VERDICTS = {
    Verdict.HERE: 94,
    Verdict.TO_ORDER: 25,
    Verdict.IN_TIME: 3,
    Verdict.ASK: 3,
    Verdict.AWAY_IN_TIME: 2,
    Verdict.ORDER_LATE: 2,
    Verdict.LATE: 1,
    Verdict.DAY_UNKNOWN: 1,
}
IN_WORDS = 6
URGENCIES = {Urgency.LATE: 2, Urgency.TONIGHT: 2, Urgency.WEEK: 7, Urgency.LATER: 11, Urgency.ASK: 9}


def launch_of(net: Netted) -> str:
    """Return the name of the launch in a plan."""
    launch = net.work.milestone(MilestoneKind.LAUNCH)
    assert launch is not None
    return milestone_key(launch)


def days_to_launch(net: Netted) -> int:
    return (net.plan.placed[launch_of(net)].finish - net.today).days


def row_of(net: Netted, part: str) -> NeedInTime:
    (row,) = [row for row in net.rows if row.need.part and row.need.part.name == part]
    return row


def pieces_of(net: Netted) -> list[clashes.Piece]:
    """Return the jobs on the days and in the spaces of the plan, with what they bring."""
    brings = defaultdict(set)
    for row in JobTrait.objects.all():
        brings[row.job_id].add(row.trait)
    found = []
    for job in net.work.jobs:
        placed = net.plan.placed[str(job.number)]
        traits = frozenset(clashes.Trait(trait) for trait in brings[job.pk] if trait in set(clashes.Trait))
        last = max(placed.finish, placed.free_from - timedelta(days=1))
        space = str(job.space_id) if job.space_id else None
        found.append(
            clashes.Piece(str(job.number), traits, placed.works_from, last, space, hands_until=placed.finish)
        )
    return found


def story(net: Netted) -> dict[str, object]:
    """Return what the plan, the netting and the buy list come to, without any date."""
    boat, today = net.boat, net.today
    met = [row.met for row in net.rows if row.met]
    bought = to_buy(boat, today, net)
    links = chain(net.plan, launch_of(net))
    return {
        "launch": days_to_launch(net),
        "hangs on": [link.key or link.words for link in links[:-1]],
        "unmet": [(clash.key, clash.words, (clash.possible - today).days) for clash in net.plan.clashes],
        "verdicts": dict(Counter(one.verdict for one in met)),
        "in words": len(net.rows) - len(met),
        "urgencies": dict(Counter(row.urgency for row in bought.rows if row.jobs)),
        "late": sorted(row.what for row in bought.rows if row.urgency == Urgency.LATE),
        "shops": [
            (shop.shop.name if shop.shop else "", len(shop.items)) for shop in town_rows(boat, today, bought)
        ],
    }


TOLD = {
    "launch": LAUNCH,
    "hangs on": [MAST_STEP, *WAITED_FOR],
    "unmet": [("22", MAST_STEP, PROMISED)],
    "verdicts": VERDICTS,
    "in words": IN_WORDS,
    "urgencies": URGENCIES,
    "late": ["Holding tank 50 l", "Rope clutch, double, new pattern"],
    "shops": [("Gullmouth Hardware", 6), ("Kelvarth Stores", 3), ("", 7)],
}


class InTime:
    """What the demo's owner sees at night and in the morning; `boat` and `today` are those of the demo."""

    boat: Boat
    today: date
    net: Netted  # as it stands; read once

    def the_mast_step_comes(self, day: int) -> Netted:
        """Return what follows if its maker now promises a day so many days from today."""
        order = Order.objects.get(lines__part__name=MAST_STEP)
        promise(
            order,
            self.today + timedelta(days=day),
            said_on=self.today,
            by=order.made_by,
            today=self.today,
        )
        return netted(self.boat, self.today)

    def test_the_plan_names_the_late_part_that_holds_up_the_launch(self):
        net = self.net
        root, *jobs, launch = chain(net.plan, launch_of(net))
        assert (root.key, root.kind, root.words) == (None, Held.PARTS, MAST_STEP)
        assert (root.start - self.today).days == PROMISED
        assert [link.key for link in jobs] == WAITED_FOR
        assert [net.jobs[Job.objects.get(boat=self.boat, number=n).pk].title for n in (28, 95, 92)] == [
            "Step the masts",
            "Tune the rig",
            "Launch: crane and slings",
        ]
        assert launch.key == launch_of(net)
        row = row_of(net, MAST_STEP)
        assert (row.met.verdict, row.met.late_days) == (Verdict.LATE, 12)
        assert [line.order.supplier.name for line in row.lines] == ["Vindhulta Beslag"]

    def test_launch_is_late_by_days_that_it_would_not_be_without_that_part(self):
        net = self.net
        target = net.plan.targets[launch_of(net)]
        assert (target - self.today).days == TARGET
        assert days_to_launch(net) == LAUNCH > TARGET
        assert (net.bare.placed[launch_of(net)].finish - self.today).days == WITHOUT < TARGET

    def test_the_part_sooner_moves_the_launch_by_as_many_days_until_the_hoist_binds(self):
        for sooner in (1, LAUNCH - WITHOUT, LAUNCH - WITHOUT + 1, PROMISED - 1):
            net = self.the_mast_step_comes(PROMISED - sooner)
            assert days_to_launch(net) == max(LAUNCH - sooner, WITHOUT), sooner
            root = chain(net.plan, launch_of(net))[0]
            if sooner < LAUNCH - WITHOUT:
                assert (root.kind, root.words) == (Held.PARTS, MAST_STEP)
            if sooner > LAUNCH - WITHOUT:
                assert (root.kind, root.words) == (Held.BOOKED, "Tresillow Yard, hoist")

    def test_the_part_later_moves_the_launch_by_as_many_days(self):
        for later in (1, 6):
            assert days_to_launch(self.the_mast_step_comes(PROMISED + later)) == LAUNCH + later

    def test_the_rigger_cannot_come_because_of_that_part_and_all_others_can(self):
        net = self.net
        (clash,) = net.plan.clashes
        assert (clash.key, clash.booked.who, clash.kind) == ("22", "Corrin Rigging", Held.PARTS)
        assert clash.words == MAST_STEP
        booked = [row for rows in net.work.bookings.values() for row in rows]
        assert len(booked) == 8
        assert {row.who for row in booked} >= {
            "The welder",
            "Marrowby Marine Survey",
            "Tresillow Yard, hoist",
        }
        assert any("gas fitter" in row.who for row in booked)

    def test_what_there_is_to_buy_is_told(self):
        assert story(self.net) == TOLD
        assert set(VERDICTS) == set(Verdict)

    def test_what_is_low_and_spares_are_bought_too(self):
        why = Counter(wish.why for row in to_buy(self.boat, self.today, self.net).rows for wish in row.wanted)
        assert why[Why.SPARE] >= 4
        assert why[Why.LOW] >= 3
        assert why[Why.GONE] >= 1

    def test_there_is_something_to_do_in_two_hours(self):
        quick = [
            job.number
            for job in self.net.work.jobs
            if job.days <= Decimal("0.25")
            and job.begun_on is None
            and self.net.plan.placed[str(job.number)].works_from == self.today
        ]
        assert quick == [18, 89, 99, 100]

    def test_an_arrow_binds_most_jobs_and_none_goes_round(self):
        net = self.net
        assert net.contradiction == ""
        assert After.objects.count() == 98
        unplanned = [job.number for job in net.work.jobs if job.days is None]
        assert unplanned == []
        assert {row.kind for row in Milestone.objects.all()} == set(MilestoneKind) - {MilestoneKind.OTHER}
        assert Milestone.objects.get(kind=MilestoneKind.HAUL_OUT).reached_on < self.today
        assert Booking.objects.exclude(cancelled_at=None).count() == 1

    def test_every_weekday_is_worked_and_no_country_rests(self):
        terms = WorkTerms.objects.get()
        assert (terms.weekdays, terms.country, terms.margin_days, terms.hour_rate) == (
            "1111111",
            "",
            3,
            12_00,
        )
        assert set(Supplier.objects.values_list("country", flat=True)) == {""}

    def test_hot_work_meets_wet_paint_once(self):
        found = [
            row for row in clashes.cautions(pieces_of(self.net)) if len(row.keys) == 2 and row.place_known
        ]
        assert [set(row.keys) for row in found if row.rule == "hot-beside-flammable"] == [{"14", "96"}]
        told = {Trait.HOT, Trait.GAS, Trait.MAINS, Trait.RIGGING, Trait.STEERING, Trait.HULL, Trait.LITHIUM}
        assert set(JobTrait.objects.values_list("trait", flat=True)) >= told

    def test_the_engine_space_takes_one_at_a_time(self):
        net = self.net
        there = [job for job in net.work.jobs if job.space and job.space.name == "Engine space"]
        assert len(there) >= 9
        spans = sorted(
            (net.plan.placed[str(j.number)].works_from, net.plan.placed[str(j.number)].finish) for j in there
        )
        assert all(one[1] < then[0] for one, then in pairwise(spans))

    def test_the_maker_promised_three_times_and_one_order_has_passed_its_day(self):
        said = Promise.objects.filter(order__lines__part__name=MAST_STEP)
        assert [bool(row.who) for row in said] == [False, True, True, True]
        days = [row.day for row in said]
        assert days == sorted(days)
        assert Order.objects.get(lines__part__name=MAST_STEP).chase_on > self.today
        row = row_of(self.net, "Autopilot ram and computer")
        assert row.met.verdict == Verdict.DAY_UNKNOWN
        assert row.lines[0].order.expected_on < self.today

    def test_suppliers_have_terms_and_two_say_nothing(self):
        silent = set(
            Supplier.objects.filter(lead_days=None, offers__isnull=False).values_list("name", flat=True)
        )
        assert silent == {"Orrinvale Galley", "Stenvarre Lines"}
        assert Supplier.objects.filter(is_shop=True).count() == 2
        assert Supplier.objects.exclude(free_freight_from=None).exclude(usual_freight=None).count() >= 3
        assert Supplier.objects.filter(in_working_days=True).count() == 3

    def test_prices_stand_side_by_side_in_packs_and_currencies(self):
        offers = Offer.objects.all()
        assert offers.count() == 65
        assert set(offers.values_list("currency", flat=True)) == {"GBP", "EUR", "USD", "SEK"}
        sellers = Counter(offers.open().values_list("part", flat=True))
        assert sum(count >= 2 for count in sellers.values()) >= 15
        assert max(sellers.values()) == 3
        assert offers.exclude(pack_size=1).count() >= 5
        assert offers.filter(seen_on__lt=self.today - timedelta(days=90)).open().exists()
        assert offers.exclude(ended_at=None).count() == 1
        by_sea = offers.filter(part__no_air=True)
        assert by_sea.exclude(surface_days=None).exists()
        assert by_sea.filter(surface_days=None).exists()

    def test_rope_is_wanted_in_one_piece_and_kept_and_ends_are_pieces(self):
        (need,) = Need.objects.filter(one_piece=True)
        assert (need.quantity, need.reserved) == (18, 18)
        held = Holding.objects.get(lot=need.reserved_lot)
        assert held.quantity == 22
        longer = Holding.objects.there().filter(part=need.part, quantity__gt=22)
        assert [holding.quantity for holding in longer] == [Decimal(55)]
        assert Need.objects.filter(reserved__gt=0).count() == 2
        assert Part.objects.filter(in_pieces=True, lots__number__isnull=False).distinct().count() >= 8

    def test_kits_sets_sides_and_newer_parts_occur(self):
        assert Movement.objects.filter(reason=Reason.KIT).count() == 3
        assert Lot.objects.get(condition=Condition.INCOMPLETE).note
        assert Part.objects.filter(sets_of__gt=1).count() == 3
        assert Need.objects.get(part__name="Glow plug", met_at=None).quantity == 4
        assert set(Part.objects.exclude(side="").values_list("side", flat=True)) == {
            Side.PORT,
            Side.STARBOARD,
        }
        row = row_of(self.net, "Rope clutch, double")
        assert row.met.buy == row.need.part.superseded_by_id
        assert (Companion.objects.count(), KitList.objects.count(), KitListLine.objects.count()) == (
            14,
            2,
            11,
        )

    def test_things_came_off_and_only_what_is_good_counts(self):
        off = Lot.objects.filter(movements__reason=Reason.OFF)
        assert set(off.values_list("condition", flat=True)) == {
            Condition.GOOD,
            Condition.OVERHAUL,
            Condition.SCRAP,
        }

    def test_bags_have_photos_and_what_must_be_bought(self):
        bags = list(Bag.objects.order_by("id"))
        assert [bag.back_on is None for bag in bags] == [True, True, False]
        for bag in bags:
            assert Paper.objects.filter(place_papers__location=bag.place).exists()
        assert Need.objects.exclude(bag=None).count() == 3

    def test_hours_finishes_and_gear_are_on_record(self):
        assert (Hours.objects.count(), Finish.objects.count(), Gear.objects.count()) == (194, 14, 33)
        assert Hours.objects.exclude(helper="").values("helper").distinct().count() == 2
        assert not Hours.objects.filter(day__gt=self.today).exists()
        gas = Finish.objects.get(job__system__name="Gas and galley")
        assert gas.done_by == DoneBy.FIRM
        assert gas.certificate
        assert gas.instrument
        assert Gear.objects.fitted().count() == 32
        assert Gear.objects.filter(warranty_until__gt=self.today).count() >= 5
        assert Gear.objects.exclude(maker="").exclude(model="").count() >= 25
