"""A boat with at least one row in every table, and tools to try what the database refuses."""

import io
from typing import Any

from django.apps import apps
from django.db import models
from PIL import Image

from refit.boat import formkeys, guards
from refit.boat.actions import boats, labels, papers, places
from refit.boat.models import Contingency, FormKey, PlacePaper, SheetShape
from refit.buying.actions import charges, deliveries, disposals, orders, payments, refunds
from refit.buying.actions.deliveries import Arrival
from refit.buying.actions.orders import ChargeFacts
from refit.buying.models import Order
from refit.stores.actions import parts, stow
from refit.stores.actions.ledger import undo
from refit.stores.actions.stow import Counted
from refit.stores.models import Holding, PartPaper
from refit.work.models import Estimate, EstimateAmount, JobPaper
from tests.boat.whole_time import fill_time
from tests.factory import D, Factory


def picture(colour: str = "teal", size: tuple[int, int] = (60, 40), kind: str = "PNG") -> bytes:
    """Return a small picture."""
    out = io.BytesIO()
    Image.new("RGB", size, colour).save(out, kind)
    return out.getvalue()


def fill(make: Factory) -> Factory:
    """Bring at least one row into every table of a boat, by the program's own actions."""
    boat, today, by = make.boat, make.today, make.owner
    boats.set_budget(make.system, 100_00, on=today, by=by)
    place, other = make.place("S1"), make.place("S2")
    places.set_cautions(place, [("seacock", "raw water")])
    photo = papers.add_paper(boat, picture(), kind="photo", by=by)
    places.change_place(place, mark="S1", name="Settee", photo=photo)
    stow.retire_place(make.place("S3"), place, by=by, on=today, today=today)
    labels.mint(boat, 1)
    formkeys_row(make)
    SheetShape.objects.create(boat=boat, digest="d" * 64, kind="jobs", mapping={"columns": ["title"]})
    job = make.job("Renew the impeller", given_to=make.member(make.trade))
    kit = make.part("Service kit")
    part = make.part(
        "Impeller",
        numbers=[("maker", "IM-1", "Maker"), ("gtin", "4006381333931", "")],
        system=make.system,
        usual_place=place,
        superseded_by=kit,
        photo=photo,
    )
    dated = make.stock(part, place, 3, serial="B7", expires_on=today)
    make.stock(part, place, 2, serial="B8")
    plain = make.stock(kit, place, 5)
    entry = stow.take(plain, D(1), by=by, on=today, today=today, job=job)
    undo(entry, by=by, today=today)
    stow.move_things([(dated, D(1))], other, by=by, on=today, today=today)
    stow.count(place, [Counted(kit, D(5))], by=by, on=today, today=today)
    stow.not_there(make.stock(make.part("Torch"), place, 1), by=by, on=today, today=today)
    parts.add_need(job, part=part, words="", quantity=D(2))
    carrier = make.supplier("Carrier")
    order = make.order(
        make.line(kit, packs=D(5), job=job, place=place),
        charges=(ChargeFacts("freight", D(5), payee=carrier),),
        job=job,
    )
    line = order.lines.get()
    came = Arrival(line, D(1), place=place, serial="B9", came_as=part)
    deliveries.book_in(boat, [came], by=by, on=today, today=today)
    receipt = papers.add_paper(boat, picture("navy"), kind="receipt", by=by, in_tray=True)
    orders.attach_paper(order, receipt)
    fill_money(make, order)
    fill_papers(make, receipt, place, part, job)
    fill_time(make, order, job)
    return make


def fill_money(make: Factory, order: Order) -> None:
    """Bring in the money as it comes: payments, refunds, goods back, corrections, a repeat, old gear, an estimate."""
    boat, today, by = make.boat, make.today, make.owner
    carrier = make.supplier("Carrier")
    bill = charges.Bill("duty", D(3), "GBP", payee=carrier, billed_on=today)
    duty = charges.add_charge(boat, list(order.lines.all()), bill, by=by, today=today)
    splits = [payments.Split(500, order=order), payments.Split(300, charge=duty)]
    payments.pay(boat, splits, on=today, today=today, by=by, payer="Crew", we_owe=True)
    refund = refunds.Refund("goodwill", D(1), "GBP", came_on=today, reason="Late")
    line = order.lines.get()
    refunds.add_refund(order, [line], refund, by=by, today=today)
    held = Holding.objects.get(boat=boat, part__name="Impeller", lot__serial="B9")
    refunds.say_going_back(order, [(line, D(1), held)], by=by, on=today, why="Wrong one")
    payments.repeat_order(order, every_months=1, next_on=today)
    disposals.add_disposal(
        boat, kind="sold", what="Old winch", system=make.system, on=today, amount=500, by=by, today=today
    )
    Contingency.objects.create(boat=boat, amount=1000_00, set_on=today, entered_by=by)
    job = make.boat.jobs.get(number=1)
    estimate = Estimate.objects.create(boat=boat, job=job, words="Machining")
    EstimateAmount.objects.create(boat=boat, estimate=estimate, amount=100_00, set_on=today, by=by)


def fill_papers(make: Factory, paper: Any, place: Any, part: Any, job: Any) -> None:
    """Let a paper belong to a place, a part and a job too."""
    PlacePaper.objects.create(boat=make.boat, location=place, paper=paper)
    PartPaper.objects.create(boat=make.boat, part=part, paper=paper)
    JobPaper.objects.create(boat=make.boat, job=job, paper=paper)


def formkeys_row(make: Factory) -> FormKey:
    """Keep the key of a form that was sent."""
    return formkeys.claim(make.boat, make.owner, formkeys.new_key(), formkeys.digest([("a", "b")]))


def boat_models() -> list[type[models.Model]]:
    """Return every model whose rows belong to a boat."""
    return guards._boat_models()


def model_of(table: str) -> type[models.Model]:
    """Return the model of a table."""
    return next(model for model in apps.get_models() if model._meta.db_table == table)


def copy_of(row: Any, **changes: Any) -> Any:
    """Return an unsaved copy of a row with some columns changed; inserted, it passes no save() of ours."""
    values = {field.attname: getattr(row, field.attname) for field in row._meta.concrete_fields}
    values[row._meta.pk.attname] = None
    values.update(changes)
    return type(row)(**values)


def insert(row: Any) -> None:
    """Insert a row just as it is."""
    type(row)._base_manager.bulk_create([row])
