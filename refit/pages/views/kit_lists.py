"""Kit lists: what work that comes again takes; made, filled, thrown away, each with its undo."""

from decimal import Decimal, InvalidOperation
from typing import Any
from urllib.parse import urlencode

from django.db.models import Count
from django.http import HttpResponse
from django.shortcuts import render

from refit.pages import seeing
from refit.pages.acting import Done, act, at, press, refused_page
from refit.pages.forms.needs import NameForm, ThingForm
from refit.pages.job_page import near_choices
from refit.stores.actions import kit_lists as acts
from refit.stores.actions.kit_lists import Row
from refit.stores.models import KitList, KitListLine, Part

MOST_LINES = 300


def kits(request: Any) -> HttpResponse:
    """Show the lists, and make a new one."""
    form = NameForm(request.boat, request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():

        def deed() -> Done:
            made = acts.make_list(request.boat, form.cleaned_data["name"], [])
            return Done(
                at(request, "kit", made.pk),
                f"The list {made} is there to be filled.",
                at(request, "kit-delete", made.pk),
            )

        response = act(request, form, deed)
        if response:
            return response
    lists = KitList.objects.filter(boat=request.boat).annotate(things=Count("lines"))
    context = {"lists": list(lists), "form": form}
    return render(request, "kits/kits.html", context, status=422 if form.is_bound else 200)


def kit(request: Any, kit: int) -> HttpResponse:
    """Show one list."""
    return render(request, "kits/kit.html", _page(request, _kit(request, kit), ThingForm(request.boat)))


def add(request: Any, kit: int) -> HttpResponse:
    """Put one more thing on a list; the undo of taking one off sends it in its address."""
    found = _kit(request, kit)
    form = ThingForm(request.boat, request.POST if "quantity" in request.POST else request.GET)

    def deed() -> Done:
        given = form.cleaned_data
        line = acts.add_line(found, part=given["thing"], words=given["words"], quantity=given["quantity"])
        undo = at(request, "kit-line-remove", found.pk, line.pk)
        return Done(at(request, "kit", found.pk), f"{line} is on the list.", undo)

    response = act(request, form, deed) if form.is_valid() else None
    return response or refused_page(request, "kits/kit.html", _page(request, found, form))


def remove(request: Any, kit: int, line: int) -> HttpResponse:
    """Take a thing off a list."""
    found = _kit(request, kit)
    gone = seeing.one(KitListLine.objects.filter(kit_list=found).select_related("part", "boat"), pk=line)
    again = {"words": str(gone), "part": gone.part_id or "", "quantity": gone.quantity, "as_words": "1"}

    def deed() -> Done:
        acts.remove_line(gone)
        undo = f"{at(request, 'kit-add', found.pk)}?{urlencode(again)}"
        return Done(at(request, "kit", found.pk), f"{gone} is off the list.", undo)

    return press(request, deed, at(request, "kit", found.pk))


def delete(request: Any, kit: int) -> HttpResponse:
    """Throw a list away; its undo makes it again from its address."""
    found = _kit(request, kit)
    lines = [f"{line.part_id or ''}:{line.quantity}:{line.words}" for line in found.lines.all()]  # type: ignore[attr-defined]

    def deed() -> Done:
        acts.throw_away(found)
        undo = f"{at(request, 'kit-again')}?{urlencode({'name': found.name, 'line': lines}, doseq=True)}"
        return Done(at(request, "kits"), f"The list {found} is thrown away.", undo)

    return press(request, deed, at(request, "kit", found.pk))


def again(request: Any) -> HttpResponse:
    """Make a list again that was thrown away (undo)."""
    parts = Part.objects.filter(boat=request.boat)
    wanted = [_row(text) for text in request.GET.getlist("line")[:MOST_LINES]]
    known = parts.in_bulk([row[0] for row in wanted if row and row[0]])

    def deed() -> Done:
        form = NameForm(request.boat, request.GET)
        name = form.cleaned_data["name"] if form.is_valid() else ""
        rows: list[Row] = [
            (known.get(row[0]), row[2], row[1]) for row in wanted if row and (row[0] in known or row[2])
        ]
        made = acts.make_list(request.boat, name, rows)
        return Done(at(request, "kit", made.pk), f"The list {made} is there again.")

    return press(request, deed, at(request, "kits"))


def _row(text: str) -> tuple[int, Decimal, str] | None:
    """Return part, quantity and words of a line in the address of an undo; None if it was tampered with."""
    part, _, rest = text.partition(":")
    quantity, _, words = rest.partition(":")
    try:
        many = Decimal(quantity[:12])
    except InvalidOperation:
        return None
    if not (many.is_finite() and 0 < many < 10**6):
        return None
    pk = int(part) if part.isascii() and part.isdigit() and len(part) < 19 else 0
    return pk, many.quantize(Decimal("0.001")), words.replace("\x00", "")[:200]


def _kit(request: Any, pk: int) -> KitList:
    found: KitList = seeing.one(KitList.objects.filter(boat=request.boat).select_related("boat"), pk=pk)
    return found


def _page(request: Any, found: KitList, form: ThingForm) -> dict[str, Any]:
    lines = found.lines.select_related("part").order_by("id")  # type: ignore[attr-defined]
    return {"kit": found, "lines": list(lines), "form": form, "choices": near_choices(request, form.choices)}
