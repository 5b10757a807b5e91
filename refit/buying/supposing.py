"""What if a part or an order came so many days later or sooner: supplies and needs moved for a trial. Nothing is kept."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

from refit.calc.netting import Met, Source, Supply


@dataclass(frozen=True)
class Suppose:
    """Days by which orders (by number) and parts (by primary key) come later; sooner is negative."""

    orders: Mapping[int, int] = field(default_factory=dict)
    parts: Mapping[int, int] = field(default_factory=dict)


AS_IT_IS = Suppose()


def moved(supply: Supply, suppose: Suppose, today: date) -> Supply:
    """Return a supply that comes later or sooner; what is here or comes on a day that nobody knows stays as it is."""
    days = suppose.orders.get(supply.order or 0, 0) or suppose.parts.get(supply.part, 0)
    if not days or supply.on is None or supply.source not in (Source.AWAY, Source.ON_ORDER):
        return supply
    return replace(supply, on=max(supply.on + timedelta(days=days), today))


def supposed(day: date | None, order: int, suppose: Suppose, today: date) -> date | None:
    """Return the day on which what is written in words on an order comes, if the order came later or sooner."""
    days = suppose.orders.get(order, 0)
    return day if day is None or not days else max(day + timedelta(days=days), today)


def bought_later(met: Met, suppose: Suppose, today: date) -> Met:
    """Return what a need can count on if what it still has to buy came later or sooner."""
    days = suppose.parts.get(met.buy, 0)
    if not days or met.fresh_on is None:
        return met
    fresh = max(met.fresh_on + timedelta(days=days), today)
    if met.short <= 0 or met.ready_on is None:
        return replace(met, fresh_on=fresh)
    return replace(met, fresh_on=fresh, ready_on=max([fresh, *(take.on for take in met.takes if take.on)]))
