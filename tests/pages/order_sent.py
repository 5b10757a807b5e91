"""What the tests of the order form send, and how they read the page."""

import re

from tests.factory import Factory

LAST_OF_JUNE = "2024-06-28"  # a day on which the European Central Bank published


def new(make: Factory, query: str = "") -> str:
    return f"/{make.boat.slug}/orders/new/{query}"


def sent(make: Factory, do: str = "order", **fields) -> dict:
    """Return what the page sends for one plain line, with these fields changed (`line_0_each` for `line-0-each`)."""
    data = {
        "do": do,
        "form_key": fields.pop("form_key", "key-of-a-test"),
        "supplier": "Harbour Stores",
        "currency": "GBP",
        "prices": "with",
        "means": "card",
        "system": str(make.system.pk),
        "line-0-what": "Bits and pieces",
        "line-0-packs": "2",
        "line-0-each": "4.50",
    }
    for name, value in fields.items():
        data[re.sub(r"^(line|charge)_(\d+)_", r"\1-\2-", name)] = value
    return data


def field(html: str, name: str) -> str:
    """Return what stands in a box of the page."""
    tag = re.search(rf'<input[^>]*name="{name}"[^>]*>', html)
    assert tag, name
    value = re.search(r'value="([^"]*)"', tag[0])
    return value[1] if value else ""


def page(response) -> str:
    return response.content.decode()


def shown_fields(html: str) -> dict:
    """Return what a browser would send of the page: its boxes, ticks and chosen options."""
    form = re.search(r'<form method="post" id="order".*?</form>', html, re.DOTALL)[0]
    found: dict = {}
    for tag in re.findall(r"<input[^>]*>", form):
        name, value = re.search(r'name="([^"]*)"', tag), re.search(r'value="([^"]*)"', tag)
        if name and ('type="checkbox"' not in tag or "checked" in tag):
            otherwise = "on" if 'type="checkbox"' in tag else ""
            found.setdefault(name[1], []).append(value[1] if value else otherwise)
    for name, options in re.findall(r'<select[^>]*name="([^"]*)"[^>]*>(.*?)</select>', form, re.DOTALL):
        chosen = re.search(r'value="([^"]*)" selected', options) or re.search(r'value="([^"]*)"', options)
        found[name] = [chosen[1]]
    for name, text in re.findall(r'<textarea[^>]*name="([^"]*)"[^>]*>(.*?)</textarea>', form, re.DOTALL):
        found[name] = [text.strip("\r\n")]
    return found
