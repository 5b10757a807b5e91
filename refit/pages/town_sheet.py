"""The town run for the page and for paper: groups, words and figures that are ready."""

from dataclasses import dataclass

from refit.buying.models import Supplier
from refit.buying.town import ShopList, TownItem
from refit.calc.numbers import format_quantity
from refit.pages.part_prices import price_words
from refit.reports.copy import CopyTown, CopyTownRow
from refit.reports.town_sheet import Shop, TownRow


@dataclass(frozen=True)
class Item:
    """One thing with what it costs there."""

    item: TownItem
    price: str


@dataclass(frozen=True)
class Group:
    """What to bring from one shop; None is any shop."""

    shop: Supplier | None
    items: list[Item]


def groups_of(shops: list[ShopList], home: str) -> list[Group]:
    """Return what the page shows, shop by shop."""
    return [Group(each.shop, [Item(item, price_of(item, home)) for item in each.items]) for each in shops]


def price_of(item: TownItem, home: str) -> str:
    """Return what one as sold costs there, as far as is known; `home` is the boat's currency."""
    if item.line is not None:
        order = item.line.order
        return price_words(item.line.unit_price, order.currency, home) if item.line.unit_price else ""
    return price_words(item.price.price, item.price.currency, home) if item.price else ""


def paper_of(shops: list[ShopList], home: str) -> list[Shop]:
    """Return the shops as the sheet prints them."""
    return [
        Shop(
            each.shop.name if each.shop else "",
            [
                TownRow(
                    part=item.what,
                    quantity=item.quantity,
                    unit=item.unit,
                    size=item.size,
                    must_fit=item.must_fit,
                    number=item.number,
                    job=_jobs(item),
                    note="in one piece" if item.one_piece else "",
                    price=price_of(item, home),
                )
                for item in each.items
            ],
            words=each.shop.note[:80] if each.shop else "",
        )
        for each in shops
    ]


def copy_of(shops: list[ShopList]) -> list[CopyTown]:
    """Return the shops as the copy on a phone shows them: no prices."""
    return [
        CopyTown(
            each.shop.name if each.shop else "Any shop",
            tuple(
                CopyTownRow(
                    part=f"{item.what}, in one piece" if item.one_piece else item.what,
                    size=item.size,
                    quantity=f"{format_quantity(item.quantity)} {item.unit}".strip(),
                    job=_jobs(item),
                    fits=item.must_fit,
                )
                for item in each.items
            ),
        )
        for each in shops
    ]


def _jobs(item: TownItem) -> str:
    return "; ".join(f"{job.number} {job.title}" for job in item.jobs)
