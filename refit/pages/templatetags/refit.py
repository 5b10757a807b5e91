"""Template words of our own, known to every template."""

from datetime import date
from decimal import Decimal
from typing import Any

from babel.numbers import get_currency_symbol
from django import template
from django.urls import NoReverseMatch, reverse
from django.utils.html import format_html

from refit.boat.formkeys import new_key
from refit.calc.money import from_minor
from refit.calc.numbers import format_quantity

register = template.Library()


@register.simple_tag(takes_context=True)
def at(context: dict[str, Any], name: str, *args: Any) -> str:
    """Return the address of a page of the boat in hand."""
    try:
        return reverse(f"pages:{name}", args=[context["boat"].slug, *args])
    except NoReverseMatch:
        raise template.TemplateSyntaxError(f"No page {name!r} with {args!r}") from None


@register.simple_tag
def form_key() -> str:
    """Return a hidden field that lets a plain button act once."""
    return format_html('<input type="hidden" name="form_key" value="{}">', new_key())


@register.filter
def money(minor: int | None, currency: str) -> str:
    """Return minor units as `1,240.00`."""
    if minor is None:
        return ""
    text = f"{from_minor(minor, currency):,f}"
    return text.replace("-", "−")


@register.filter
def signed(minor: int, currency: str) -> str:
    """Return a difference with its sign: `+980.00`."""
    return f"{'+' if minor > 0 else ''}{money(minor, currency)}"


@register.filter
def unsigned(minor: int) -> int:
    """Return an amount without its sign, where words say which way it goes."""
    return abs(minor)


@register.filter
def typed(minor: int | None, currency: str) -> str:
    """Return minor units as they are typed into a box: `1240.00`."""
    return "" if minor is None else f"{from_minor(minor, currency):f}"


@register.filter
def cash(minor: int | None, currency: str) -> str:
    """Return minor units with the currency's sign: `£1,240.00`."""
    if minor is None:
        return ""
    sign = get_currency_symbol(currency, locale="en_GB")
    text = money(abs(minor), currency)
    gap = "" if len(sign) == 1 else " "
    return f"{'−' if minor < 0 else ''}{sign}{gap}{text}"


@register.filter
def qty(quantity: Decimal | None) -> str:
    """Return a quantity without trailing zeros: `4.3`."""
    return "" if quantity is None else format_quantity(quantity).replace("-", "−")


@register.filter
def day(value: date | None) -> str:
    """Return a day as `9 Mar 2026`."""
    return "" if value is None else f"{value:%-d %b %Y}"


@register.filter
def unit(part: Any) -> str:
    """Return a part's unit as shown beside a number; nothing for what is simply counted."""
    return "" if part.unit == "each" else part.get_unit_display()
