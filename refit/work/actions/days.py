"""Days that can be right: between 1950 and ten years ahead, and not before the boat was bought."""

from datetime import date

from refit.boat.models import Boat
from refit.boat.refusals import Refused

FIRST_YEAR, YEARS_AHEAD = 1950, 10


def usual_day(day: date, today: date, field: str) -> None:
    """Refuse a day that can only be a slip."""
    if day.year < FIRST_YEAR:
        raise Refused(f"{day} is too long ago; look at the year.", code="too_early", field=field)
    if day.year > today.year + YEARS_AHEAD:
        raise Refused(
            f"{day} is over {YEARS_AHEAD} years ahead; look at the year.", code="too_late", field=field
        )


def our_day(day: date, boat: Boat, field: str) -> None:
    """Refuse a day of work on the boat before she was bought, where that day is known."""
    if boat.bought_on is not None and day < boat.bought_on:
        raise Refused(
            f"{day:%-d %b %Y} is before the boat was bought, on {boat.bought_on:%-d %b %Y}; look at the day.",
            code="before_bought",
            field=field,
        )


def past_day(day: date, today: date, field: str) -> None:
    """Refuse a day that has not come, or that can only be a slip."""
    if day > today:
        raise Refused(f"{day:%-d %b %Y} has not come yet.", code="future", field=field)
    usual_day(day, today, field)
