"""Public holidays of a country, so that a supplier's working days can be counted without asking the world.

Decides which holidays count: public ones, with the days kept in their place when they fall on a weekend. The dates are
those of the `holidays` package, which holds them itself; religious ones of years to come are its estimates. They only
move an order-by date, so that a missing one costs a day of margin, no more.
"""

from collections.abc import Iterable
from datetime import date

import holidays
from babel import Locale

from .problems import Problem, shown

# Years for which the package has the movable holidays of a country; it warns outside them, and knows only half.
ONLY = {"IN": range(2001, 2036)}


class HolidayProblem(Problem):
    """A country or a part of one that was refused; `code` is "no_such_country" or "no_such_part"."""


def countries() -> list[tuple[str, str]]:
    """Return code (ISO 3166-1, two letters) and English name of every country that is known, by name."""
    names = Locale("en").territories
    known = holidays.list_supported_countries(include_aliases=False)
    return sorted(((code, names.get(code, code)) for code in known), key=lambda row: row[1])


def parts_of(country: str) -> list[tuple[str, str]]:
    """Return code and name of each part of a country whose holidays differ, by name; HolidayProblem if unknown."""
    codes = _known_parts(country)
    aliases = dict.fromkeys(codes, "")
    for name, code in getattr(getattr(holidays, country), "subdivisions_aliases", {}).items():
        # Several names may lead to one code; the longest is the one in full.
        if code in aliases and len(name) > len(aliases[code]):
            aliases[code] = name
    return sorted(((code, name or code) for code, name in aliases.items()), key=lambda row: row[1])


def holidays_of(country: str, part: str | None, years: Iterable[int]) -> frozenset[date]:
    """Return the public holidays of a country, or of a part of it, in some years.

    `country` is an ISO 3166-1 code of two letters, `part` one of `parts_of`. Years of which nothing is known give no
    holiday. Raise HolidayProblem for what is no country or no part of it.
    """
    codes = _known_parts(country)
    if part and part not in codes:
        raise HolidayProblem(
            f"{shown(part)} is no part of {country} with holidays of its own; leave it empty.", "no_such_part"
        )
    wanted = sorted({year for year in years if country not in ONLY or year in ONLY[country]})
    return frozenset(holidays.country_holidays(country, subdiv=part or None, years=wanted, expand=False))


def _known_parts(country: str) -> list[str]:
    known: dict[str, list[str]] = holidays.list_supported_countries(include_aliases=False)
    if country not in known:
        raise HolidayProblem(
            f"{shown(country)} is no country whose holidays are known; pick one from the list, or leave it empty.",
            "no_such_country",
        )
    return known[country]
