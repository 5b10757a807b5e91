"""Suppliers: the list with what each has cost, and one supplier with its orders."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

import django_filters
from django.core.exceptions import PermissionDenied
from django.db.models import Count, Max, Q, Sum
from django.http import HttpResponse
from django.shortcuts import render

from refit.boat.rights import Right
from refit.buying.actions import orders as buying
from refit.buying.actions.terms import change_terms
from refit.buying.leads import learned_words, read_leads
from refit.buying.models import COMING_STATES, COUNTED_STATES, Offer, Supplier
from refit.calc.holidays_of import countries
from refit.pages import lists, order_list, seeing
from refit.pages.acting import Done, act, at, refused_page
from refit.pages.forms.suppliers import SupplierForm
from refit.pages.forms.terms import TermsForm, terms_again
from refit.pages.part_prices import price_words
from refit.reports.workbook import Column, Kind

KEYS = {
    "name": ["folded"],
    "orders": ["counted", "folded"],
    "spend": ["spend", "folded"],
    "last": ["last", "folded"],
}
COLUMNS = (
    Column("Supplier"),
    Column("Orders", Kind.NUMBER),
    Column("Last ordered", Kind.DATE),
    Column("Currency"),
    Column("All in", Kind.MONEY),
    Column("Web address"),
    Column("Note"),
)
COUNTED = Q(orders__state__in=COUNTED_STATES)


class SupplierSieve(django_filters.FilterSet):
    """What the list of suppliers may be narrowed to."""

    find = lists.FoldedFilter("folded")

    class Meta:
        model = Supplier
        fields: list[str] = []


def suppliers(request: Any) -> HttpResponse:
    """List the suppliers with their orders and what they have cost."""
    rows = Supplier.objects.filter(boat=request.boat).annotate(
        counted=Count("orders", filter=COUNTED),
        coming=Count("orders", filter=Q(orders__state__in=COMING_STATES)),
        spend=Sum("orders__landed", filter=COUNTED, default=0),
        last=Max("orders__ordered_on", filter=COUNTED),
    )
    listing = lists.sieved(request, SupplierSieve, rows, KEYS)
    file = lists.exported(request, "Suppliers", COLUMNS, listing, _file_rows)
    if file is not None:
        return file
    context = {"filter": listing.filter, "page": listing.page, "rows": listing.rows}
    return render(request, "suppliers/suppliers.html", context)


def supplier(request: Any, pk: int) -> HttpResponse:
    """Show one supplier with its orders; change what is known of it."""
    found = seeing.one(Supplier.objects.filter(boat=request.boat).select_related("boat"), pk=pk)
    if request.method != "POST":
        form = SupplierForm(request.boat, initial=_initial(found))
        return render(request, "suppliers/supplier.html", _context(request, found, form))
    if Right.BUY not in request.rights:
        raise PermissionDenied
    form = SupplierForm(request.boat, request.POST)
    name = found.name
    if form.is_valid():

        def deed() -> Done:
            changed = buying.change_supplier(found, **form.facts())
            return Done(at(request, "supplier", pk), f"Changed {changed.name}.")

        response = act(request, form, deed)
        if response is not None:
            return response
    found.name = name
    return refused_page(request, "suppliers/supplier.html", _context(request, found, form))


def terms(request: Any, pk: int) -> HttpResponse:
    """Say on what terms a supplier sells. The undo carries what they were in its address."""
    found = seeing.one(Supplier.objects.filter(boat=request.boat).select_related("boat"), pk=pk)
    form = TermsForm(found, request.POST if "lead_days" in request.POST else request.GET)
    if form.is_valid():
        undo = f"{at(request, 'supplier-terms', pk)}?{terms_again(found)}"

        def deed() -> Done:
            changed = change_terms(found, form.facts())
            return Done(at(request, "supplier", pk) + "#terms", f"Kept the terms of {changed.name}.", undo)

        response = act(request, form, deed)
        if response is not None:
            return response
    known = SupplierForm(request.boat, initial=_initial(found))
    context = _context(request, found, known) | {"terms_form": form}
    return refused_page(request, "suppliers/supplier.html", context)


def _context(request: Any, found: Supplier, form: SupplierForm) -> dict[str, Any]:
    leads = read_leads(request.boat, request.today)
    taught = leads.of_supplier.get(found.pk)
    rows = seeing.orders(request.member).filter(supplier=found).select_related("supplier", "job")
    listing = lists.listed(request, rows, order_list.KEYS)
    return {
        "supplier": found,
        "form": form,
        "terms_form": TermsForm(found),
        "taught": learned_words(taught) if taught else "",
        "country": dict(countries()).get(found.country, found.country),
        "currency": found.currency or request.boat.currency,
        "offers": [
            (offer, price_words(offer.price, offer.currency, request.boat.currency))
            for offer in Offer.objects.open().filter(boat=request.boat, supplier=found).select_related("part")
        ],
        # Nothing but a web address may become a link: a record brought in from elsewhere may hold anything.
        "linked": found.web.lower().startswith(("http://", "https://")),
        "page": listing.page,
        "rows": order_list.order_rows(listing.rows, request.today),
        "sums": order_list.sums(rows, request.today),
    }


def _initial(found: Supplier) -> dict[str, Any]:
    return {
        "name": found.name,
        "currency": found.currency,
        "prices": "with" if found.prices_with_tax else "without",
        "tax_percent": found.tax_percent,
        "web": found.web,
        "note": found.note,
    }


def _file_rows(rows: list[Any]) -> Sequence[Sequence[Any]]:
    return [
        [row.name, Decimal(row.counted), row.last, row.currency, row.spend, row.web, row.note] for row in rows
    ]
