"""A boat with one of everything that a page can show, made by the program's own actions."""

from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from typing import Any

from refit.boat.actions import boats, labels, papers, places
from refit.boat.models import Hindrance, Kind
from refit.buying.actions.deliveries import Arrival, book_in
from refit.buying.actions.orders import ChargeFacts, attach_paper
from refit.buying.actions.payments import Split, pay, repeat_order
from refit.buying.actions.refunds import Refund, add_refund, say_going_back
from refit.buying.models import Charge, Credit, Payment, Return
from refit.carry.importing import kept
from refit.stores.actions import parts, stow
from refit.work.estimates import add_estimate
from tests.browser.seeded_time import seed_time
from tests.carry.books import xlsx
from tests.factory import Factory
from tests.pictures import picture

D = Decimal


@dataclass
class Seeded:
    """What the browser walks over."""

    make: Factory
    locker: Any
    part: Any
    job: Any
    order: Any
    draft: Any
    blank: Any
    entry: Any
    paper: Any
    supplier: Any
    bill: Charge
    refund: Credit
    back: Return
    payment: Payment
    named: dict[str, int]


def seed(make: Factory) -> Seeded:
    """Fill the factory's boat."""
    today = make.today
    locker = make.place("S3", name="Pilot berth, outboard")
    places.set_cautions(locker, [(Hindrance.SEACOCK, "behind the aft board")])
    box = make.place("B7", parent=locker, kind=Kind.BOX, name="Engine spares")
    make.place("P1", name="Settee, forward")
    job = make.job("Raw-water pump overhaul", note="Shaft seal weeps.", given_to=make.member(make.trade))
    impeller = make.part(
        "Impeller, 8-vane, 57 mm",
        numbers=[("maker", "09-1027", "Norrvik")],
        is_spare=True,
        minimum=D(2),
        usual_place=locker,
        system=make.system,
        weight_kg=D("0.2"),
    )
    flare = make.part("Red hand flare", has_expiry=True, hazard="4.1", is_spare=True, minimum=D(4))
    solvent = make.part("Thinner", unit="l", hazard="3")
    clips = make.part("Hose clips, assorted", kept="level")
    holding = make.stock(impeller, locker, 3)
    make.stock(flare, locker, 4, expires_on=today - timedelta(days=40), serial="4412")
    make.stock(solvent, box, D("0.5"))
    make.stock(clips, locker)
    parts.add_need(job, part=impeller, words="", quantity=D(2))
    parts.add_need(job, part=None, words="Gasket, to measure", quantity=D(1))
    entry = stow.take(holding, D(1), by=make.owner, on=today, today=today, job=job)
    supplier = make.supplier("Lindqvist Marinteknik")
    order = make.order(
        make.line(impeller, packs=D(4), price=D("412.00"), job=job, place=locker),
        make.line(words="Shaft seal kit", price=D("990.00"), place=box, job=job),
        supplier=supplier,
        currency="SEK",
        rate=D("13.42"),
        charges=(
            ChargeFacts(kind="freight", amount=D("95.00")),
            ChargeFacts(kind="duty", amount=D("12"), currency="GBP", expected=True),
        ),
        expected_on=today - timedelta(days=2),
        reference="A-1177",
    )
    book_in(make.boat, [Arrival(order.lines.first(), D(2))], by=make.owner, on=today, today=today)
    paid = pay(make.boat, [Split(5000, order=order)], on=today, today=today, by=make.owner)
    refund = Refund(
        kind="goods", amount=D("95"), currency="SEK", applied_on=today, reason="Dented in transit"
    )
    applied = add_refund(order, [order.lines.first()], refund, by=make.owner, today=today)
    arrived = order.lines.first()
    lying = impeller.holdings.order_by("-id").first()
    back = say_going_back(order, [(arrived, D(1), lying)], by=make.owner, on=today, why="One too many")
    repeat_order(order, every_months=1, next_on=today)
    add_estimate(job, words="Machining the housing", amount=180_00, on=today, today=today, by=make.owner)
    draft = make.draft(make.line(words="Rubbing strake, 12 m", price=D("340")), supplier=supplier)
    boats.set_budget(make.system, 6400_00, on=today, by=make.owner)
    receipt = papers.add_paper(make.boat, picture("receipt"), kind="receipt", by=make.owner)
    attach_paper(order, receipt)
    papers.add_paper(make.boat, picture("tray"), kind="receipt", by=make.owner, in_tray=True)
    blank = labels.mint(make.boat, 1)[0]
    missing = make.stock(make.part("Torch"), locker, 1)
    stow.not_there(missing, by=make.owner, on=today, today=today)
    named = seed_time(make, job, impeller, locker, supplier)
    order.refresh_from_db()
    return Seeded(
        make=make,
        locker=locker,
        part=impeller,
        job=job,
        order=order,
        draft=draft,
        blank=blank,
        entry=entry,
        paper=receipt,
        supplier=supplier,
        bill=order.charges.get(expected=True),
        refund=applied,
        back=back,
        payment=paid,
        named=named,
    )


def sent_spreadsheet(make: Factory) -> str:
    """Send an owner's list of purchases with a row that is not right; return the key it is kept by."""
    rows = [
        ["Order no", "Shop", "Date", "Item", "Qty", "Price", "Category", "Remark by the yard"],
        ["N-1", "Northgate Chandlery", make.today, "Rope, 12 mm", 10, 4.5, "Engine", None],
        ["N-2", "Northgate Chandlery", make.today, "Shackle", "some", 3, "Engine", "for the mooring"],
    ]
    return kept.keep(make.boat, xlsx({"Purchases": rows}), "refit 2025.xlsx").key
