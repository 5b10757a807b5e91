"""Labels: sheets to print, blank labels, and what a blank label is for."""

from typing import Any

from django.http import Http404, HttpResponse, QueryDict
from django.shortcuts import redirect, render

from refit.boat.actions import labels as acts
from refit.boat.models import Label
from refit.calc.codes import canonical
from refit.carry.labels import rows_of_labels
from refit.pages import seeing
from refit.pages.acting import Done, act, at, press, refused_page
from refit.pages.forms.labels import MintForm, SheetForm
from refit.pages.forms.places import ChooseForm, NewPlaceForm, parents_of
from refit.pages.views.places import added
from refit.reports.labels import LabelProblem, LabelRow, label_sheets, module_mm, preview_svg, sheets_needed
from refit.reports.sheets import STOCKS, Stock

KEYS = ("which", "area", "run", "stock", "first", "nudge_x", "nudge_y")


def labels(request: Any) -> HttpResponse:
    """Choose labels and look at the sheet; make blank labels; note that a sheet came out well."""
    if request.method == "POST" and "printed" in request.POST:
        return _printed(request)
    mint = MintForm(request.boat, request.POST or None)
    if request.method == "POST" and mint.is_valid():
        response = act(request, mint, lambda: _minted(request, mint))
        if response:
            return response
    context = _context(request, SheetForm(request.boat, request.GET)) | {"mint": mint}
    if mint.is_bound:
        return refused_page(request, "labels/labels.html", context)
    return render(request, "labels/labels.html", context)


def _minted(request: Any, form: MintForm) -> Done:
    made = acts.mint(request.boat, int(form.cleaned_data["how_many"]))
    go = f"{at(request, 'labels')}?which=blank&run={made[0].pk}-{made[-1].pk}"
    many = f"{len(made)} blank labels" if len(made) != 1 else "1 blank label"
    return Done(go, f"Made {many}. Print them, stick them on, then scan each and say what it is for.")


def _printed(request: Any) -> HttpResponse:
    form = SheetForm(request.boat, request.GET)
    if not form.is_valid():
        return refused_page(request, "labels/labels.html", _context(request, form))

    def deed() -> Done:
        noted = form.labels()
        acts.mark_printed(noted)
        return Done(
            at(request, "lockers"), f"Noted: {len(noted)} labels are printed. Stick them on and scan one."
        )

    return press(request, deed, at(request, "labels"))


def sheet(request: Any) -> HttpResponse:
    """The chosen sheet as a PDF; `test=1` prints its first label alone."""
    form = SheetForm(request.boat, request.GET)
    if not form.is_valid():
        return refused_page(request, "labels/labels.html", _context(request, form))
    data = form.cleaned_data
    rows = form.rows()
    if "test" in request.GET:
        rows = rows[:1]
    try:
        pdf = label_sheets(
            rows,
            data["stock"],
            first_place=int(data["first"]),
            nudge_x_mm=float(data["nudge_x"]),
            nudge_y_mm=float(data["nudge_y"]),
            boat=request.boat.name,
        )
    except LabelProblem:
        return refused_page(request, "labels/labels.html", _context(request, form))
    name = "label-test" if "test" in request.GET else "labels"
    headers = {"Content-Disposition": f'inline; filename="{name}-{request.boat.slug}.pdf"'}
    return HttpResponse(pdf, content_type="application/pdf", headers=headers)


def preview(request: Any) -> HttpResponse:
    """One label as a drawing (`?code=`, `?stock=`)."""
    label = _label(request, request.GET.get("code", ""))
    try:
        drawn = preview_svg(rows_of_labels([label])[0], request.GET.get("stock", "a4-21"))
    except LabelProblem as problem:
        return HttpResponse(str(problem), status=422, content_type="text/plain; charset=utf-8")
    return HttpResponse(drawn, content_type="image/svg+xml")


def blank(request: Any, code: str) -> HttpResponse:
    """Say what a blank label is for: a place that is there already, or a new place, box or bag."""
    label = _label(request, code)
    if label.location is not None:
        return redirect(at(request, "locker", label.location.code))
    places = parents_of(request.boat)
    chosen, made = "to" in request.POST, "kind" in request.POST
    choose = ChooseForm(request.boat, places, request.POST if chosen else None)
    new = NewPlaceForm(
        request.boat, request.POST if made else None, initial={"kind": "box"}, auto_id="new_%s"
    )
    response = None
    if chosen and choose.is_valid():
        response = act(request, choose, lambda: _bound(request, label, choose.cleaned_data["to"]))
    elif made and new.is_valid():
        response = act(request, new, lambda: added(request, new, label))
    if response:
        return response
    context = {"label": label, "choose": choose, "new": new, "choices": places}
    if request.method == "POST":
        return refused_page(request, "labels/blank.html", context)
    return render(request, "labels/blank.html", context)


def _bound(request: Any, label: Label, place: Any) -> Done:
    earlier = place.code
    acts.bind(label, place)
    said = f"Label {label.code} is for {place} now. Its earlier label {earlier} still leads there."
    return Done(at(request, "locker", label.code), said, at(request, "label-unbind", label.code))


def unbind(request: Any, code: str) -> HttpResponse:
    """Make a label blank again (undo)."""
    label = _label(request, code)

    def deed() -> Done:
        acts.unbind(label)
        return Done(at(request, "label-blank", label.code), f"Label {label.code} is blank again.")

    return press(request, deed, at(request, "labels"))


def _label(request: Any, code: str) -> Label:
    try:
        wanted = canonical(code)
    except ValueError:
        raise Http404("No such label.") from None
    known = Label.objects.filter(boat=request.boat).select_related("location__area")
    found: Label = seeing.one(known, code=wanted)
    return found


def _context(request: Any, form: SheetForm) -> dict[str, Any]:
    """Return what the page of sheets shows: the choice, what is wrong with it, the drawn sheet."""
    context: dict[str, Any] = {"form": form, "mint": MintForm(request.boat), "ticks": _ticks(form)}
    context["none_printed"] = len(form.fresh) == len(form.places)  # one label to test comes first then
    if not form.is_valid():
        return context
    data = form.cleaned_data
    rows, stock, first = form.rows(), STOCKS[data["stock"]], int(data["first"])
    context |= {"count": len(rows), "stock": stock, "query": _query(form)}
    if not rows:
        return context
    context["problem"] = _problem(rows, stock, first)
    if context["problem"]:
        return context
    sheets = sheets_needed(len(rows), stock.key, first)
    return context | {
        "sheets": sheets,
        "sample": rows[0].code,
        "module": f"{module_mm(stock.key, rows[0].address):.2f}",
        "first": first,
        "sheet": _drawn(stock, rows, first) if stock.places > 1 else None,
    }


def _problem(rows: list[LabelRow], stock: Stock, first: int) -> str:
    """Say why these labels cannot be printed so, or nothing."""
    if first > stock.places:
        return f"The first free label is {first}; {stock.name} has labels 1 to {stock.places}."
    try:
        for row in rows:
            module_mm(stock.key, row.address)
    except LabelProblem as problem:
        return str(problem)
    return ""


def _drawn(stock: Stock, rows: list[LabelRow], first: int) -> dict[str, Any]:
    """Return the first sheet as cells to draw, in tenths of a millimetre; what is used has its mark in it."""
    cells = []
    for index in range(stock.places):
        x, y = stock.cell(index)
        number = index - first + 1
        row = rows[number] if 0 <= number < len(rows) else None
        cells.append(
            {
                "x": round(x * 10),
                "y": round(y * 10),
                "word_x": round((x + stock.label_w_mm / 2) * 10),
                "word_y": round((y + stock.label_h_mm / 2) * 10) + 22,
                "words": (row.mark or row.name or row.code)[:8] if row else "",
                "gone": index < first - 1,
            }
        )
    return {
        "w": round(stock.page_w_mm * 10),
        "h": round(stock.page_h_mm * 10),
        "label_w": round(stock.label_w_mm * 10),
        "label_h": round(stock.label_h_mm * 10),
        "cells": cells,
        "used": sum(1 for cell in cells if cell["words"]),
    }


def _ticks(form: SheetForm) -> list[dict[str, Any]]:
    ticked = set(form["place"].value() or [])
    return [
        {"place": place, "ticked": place.code in ticked, "fresh": place.pk in form.fresh}
        for place in form.places
    ]


def _query(form: SheetForm) -> str:
    """Return the choice as it stands in an address."""
    query = QueryDict(mutable=True)
    for key in KEYS:
        if form.data.get(key):
            query[key] = form.data[key]
    if form.cleaned_data["which"] == "ticked":
        query.setlist("place", form.cleaned_data["place"])
    return query.urlencode()
