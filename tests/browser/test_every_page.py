"""Every page in a real browser: no WCAG 2.2 A or AA violation (axe), no sideways scroll, nothing from outside."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.urls import reverse

from refit.pages.addresses import BOAT
from tests.browser.conftest import DESK, PHONE
from tests.browser.seeded import Seeded, seed, sent_spreadsheet
from tests.conftest import signed_in

WCAG = {
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]},
    "resultTypes": ["violations"],  # what passes is not written down piece by piece
}
FRAGMENTS = ("order-known", "book-in-parts", "parts-near")  # pieces of a page
FILES = ("sheet.pdf", ".svg", ".pdf", ".xlsx", ".zip", ".html", "papers/<int:number>/")  # not pages


def pages_of(seeded: Seeded) -> list[str]:
    """Return the address of every page that can be opened, from the table of addresses itself."""
    args = {
        "code": seeded.locker.code,
        "number": seeded.order.number,
        "pk": seeded.part.pk,
        "holding": seeded.locker.holdings.exclude(quantity=0).first().pk,
        "entry": seeded.entry.pk,
        **seeded.named,
    }
    special = {
        "label-blank": {"code": seeded.blank.code},
        "job": {"number": seeded.job.number},
        "job-change": {"number": seeded.job.number},
        "order-change": {"number": seeded.draft.number},
        "supplier": {"pk": seeded.supplier.pk},
        "system": {"pk": seeded.make.system.pk},
        "paper": {"number": seeded.paper.number},
        "bill-came": {"pk": seeded.bill.pk},
        "bill-change": {"pk": seeded.bill.pk},
        "refund-came": {"pk": seeded.refund.pk},
        "return-sent": {"pk": seeded.back.pk},
        "payment": {"pk": seeded.payment.pk},
        "cut": {"holding": seeded.named["piece"]},
        "open-kit": {"holding": seeded.named["boxed"]},
    }
    found = []
    for row in BOAT:
        if "GET" not in row.methods or any(row.path.endswith(end) for end in FILES) or "small" in row.path:
            continue
        if row.name in FRAGMENTS or row.name == "import-check":  # which needs a file
            continue
        names = [
            part.split(":")[1].rstrip(">")
            for part in row.path.split("<")[1:]
            for part in [part.split(">")[0]]
        ]
        wanted = {**args, **special.get(row.name, {})}
        found.append(
            reverse(
                f"pages:{row.name}", kwargs={"boat": seeded.make.boat.slug, **{n: wanted[n] for n in names}}
            )
        )
    home = seeded.make.boat.slug
    return [
        *found,
        f"/{home}/papers/?of=none&sort=number",
        f"/{home}/find/?q=imp",
        f"/{home}/orders/new/?job={seeded.job.number}",
        f"/{home}/orders/{seeded.draft.number}/",
        f"/{home}/jobs/2/",  # done, with gear
        f"/{home}/jobs/2/done/",
        f"/{home}/spend/?by=job",
        f"/{home}/spend/?by=month",
        reverse("pages:scan"),
        "/accounts/password/",
    ]


def open_signed_in(browser, live_server, user, **context):
    """Return a page of a browser that is signed in as this person, and the list of addresses it asks for."""
    opened = browser.new_context(locale="en-GB", **context)
    cookie = signed_in(user).cookies[settings.SESSION_COOKIE_NAME]
    opened.add_cookies(
        [{"name": settings.SESSION_COOKIE_NAME, "value": cookie.value, "url": live_server.url}]
    )
    page = opened.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    return page, asked


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize(
    ("size", "scheme"), [(PHONE, "light"), (DESK, "dark")], ids=["phone-light", "desk-dark"]
)
def test_every_page_is_clean(browser, live_server, make, settings, tmp_path, size, scheme):
    settings.DATA_DIR = tmp_path
    seeded = seed(make)
    page, asked = open_signed_in(browser, live_server, make.owner, viewport=size, color_scheme=scheme)
    faults: list[str] = []
    broken: list[str] = []
    page.on("pageerror", lambda error: broken.append(str(error)))
    page.on("console", lambda line: broken.append(line.text) if line.type == "error" else None)
    addresses = [*pages_of(seeded), f"/{make.boat.slug}/import/check/?file={sent_spreadsheet(make)}"]
    assert len(addresses) > 35
    for address in addresses:
        response = page.goto(live_server.url + address)
        assert response is not None
        if response.status != 200:
            faults.append(f"{address}: answered {response.status}")
            continue
        # The whole page at once: what the fixed bar covers for now can be scrolled from under it.
        tall = page.evaluate("document.documentElement.scrollHeight") + 200
        page.set_viewport_size({**size, "height": tall})
        for violation in Axe().run(page, options=WCAG).response["violations"]:
            faults.append(f"{address}: {violation['id']} {violation['nodes'][0]['html'][:160]}")
        page.set_viewport_size(size)
        wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        if wide > 0:
            faults.append(f"{address}: {wide} px too wide")
    assert not faults, "\n".join(faults)
    assert broken == []
    assert {url for url in asked if not url.startswith((live_server.url, "data:", "blob:"))} == set()
