"""Parts: the list, one part's page, making and changing parts, their numbers and photos."""

from typing import Any
from urllib.parse import urlencode

from django.http import HttpResponse
from django.shortcuts import render

from refit.boat.actions.papers import add_paper
from refit.boat.models import PaperKind
from refit.boat.refusals import Refused
from refit.boat.rights import Right
from refit.buying.actions.orders import share_anew
from refit.calc.cautions import NAMES
from refit.calc.problems import Problem
from refit.calc.text import clean, fold
from refit.pages import paper_owners, seeing
from refit.pages.acting import Done, act, at, press, refused_page
from refit.pages.forms.parts import FACTS, NewPartForm, NumberForm, PartForm, PhotoForm
from refit.pages.lists import exported, sieved
from refit.pages.part_lists import COLUMNS, KEYS, PartSieve, facts_of, lines_of, rows_of, with_sums
from refit.pages.part_page import beside
from refit.pages.views import offers
from refit.stores.actions import parts as acts
from refit.stores.actions.pieces import keep_in_pieces
from refit.stores.models import Part, PartNumber


def parts(request: Any) -> HttpResponse:
    """List the parts, or hand the list over as a file."""
    seen = seeing.parts(request.member)
    rows = with_sums(seen.select_related("system").prefetch_related("numbers"), request.today)
    listing = sieved(request, PartSieve, rows, KEYS)
    file = exported(
        request, "Parts", COLUMNS, listing, lambda some: lines_of(request.boat, some, request.today)
    )
    if file:
        return file
    context = {
        "page": listing.page,
        "filter": listing.filter,
        "rows": rows_of(request.boat, listing.rows, request.today),
        "any": bool(listing.page.paginator.count) or seen.exists(),
    }
    return render(request, "parts/parts.html", context)


def part(request: Any, pk: int) -> HttpResponse:
    """Show one part: where it is, how many, who wants it, its orders, its ins and outs."""
    return render(request, "parts/part.html", _page(request, _part(request, pk)))


def new(request: Any) -> HttpResponse:
    """Make a part; a barcode that was scanned, or the words that were looked for, are filled in."""
    if request.method == "POST":
        form = NewPartForm(request.boat, request.POST)
        if form.is_valid():
            response = act(request, form, lambda: _made(request, form))
            if response:
                return response
        return refused_page(request, "parts/new.html", {"form": form})
    form = NewPartForm(request.boat, initial=_given(request))
    return render(request, "parts/new.html", {"form": form})


def change(request: Any, pk: int) -> HttpResponse:
    """Change what is known of a part."""
    found = _part(request, pk)
    if request.method == "POST":
        form = PartForm(request.boat, request.POST, part=found)
        if form.is_valid():
            response = act(request, form, lambda: _changed(request, found, form))
            if response:
                return response
        return refused_page(request, "parts/change.html", {"form": form, "part": found})
    initial = {name: getattr(found, name) for name in FACTS}
    form = PartForm(request.boat, initial=initial, part=found)
    return render(request, "parts/change.html", {"form": form, "part": found})


def number_add(request: Any, pk: int) -> HttpResponse:
    """Give a part one more number."""
    found = _part(request, pk)
    # The undo of a removal carries the number in its address, as its button sends nothing else.
    form = NumberForm(request.boat, request.POST if "number" in request.POST else request.GET)
    if form.is_valid():
        response = act(request, form, lambda: _numbered(request, found, form))
        if response:
            return response
    return refused_page(request, "parts/part.html", _page(request, found, number_form=form))


def number_remove(request: Any, pk: int, number: int) -> HttpResponse:
    """Take a number off a part."""
    found = _part(request, pk)
    gone = seeing.one(PartNumber.objects.filter(part=found).select_related("part"), pk=number)
    again = urlencode({"number": gone.number, "kind": gone.kind, "whose": gone.whose})

    def deed() -> Done:
        acts.remove_number(gone)
        undo = f"{at(request, 'part-number-add', found.pk)}?{again}"
        return Done(at(request, "part", found.pk), f"Took {gone.number} off {found}.", undo)

    return press(request, deed, at(request, "part", found.pk))


def photo(request: Any, pk: int) -> HttpResponse:
    """Give a part its photo."""
    found = _part(request, pk)
    form = PhotoForm(request.boat, request.POST, request.FILES)
    if form.is_valid():
        response = act(request, form, lambda: _pictured(request, found, form))
        if response:
            return response
    return refused_page(request, "parts/part.html", _page(request, found, photo_form=form))


def retire(request: Any, pk: int) -> HttpResponse:
    """Take a part out of use."""
    found = _part(request, pk)

    def deed() -> Done:
        acts.retire_part(found)
        return Done(_home(request, found), f"Retired {found}.", at(request, "part-use-again", found.pk))

    return press(request, deed, _home(request, found))


def use_again(request: Any, pk: int) -> HttpResponse:
    """Take a retired part into use again."""
    found = _part(request, pk)

    def deed() -> Done:
        acts.use_part_again(found)
        return Done(_home(request, found), f"{found} is in use again.", at(request, "part-retire", found.pk))

    return press(request, deed, _home(request, found))


def delete(request: Any, pk: int) -> HttpResponse:
    """Delete a part that was never used for anything."""
    found = _part(request, pk)

    def deed() -> Done:
        acts.delete_part(found)
        return Done(at(request, "parts"), f"Deleted {found}.")

    return press(request, deed, _home(request, found))


def _part(request: Any, pk: int) -> Part:
    rows = seeing.parts(request.member).select_related("system", "usual_place", "superseded_by", "photo")
    found: Part = seeing.one(rows.prefetch_related("numbers"), pk=pk)
    return found


def _home(request: Any, found: Part) -> str:
    return at(request, "part", found.pk)


def _page(request: Any, found: Part, **forms: Any) -> dict[str, Any]:
    facts = facts_of(found, request.member, request.today)
    context = {
        "part": found,
        "facts": facts,
        "where": facts.known.where,
        "on_order": facts.known.on_order,
        "short": found.is_spare and found.kept == "counted" and facts.known.where.aboard < found.minimum,
        "all_moves": urlencode({"q": found.name}),
        "danger": NAMES.get(found.hazard, ""),
        "number_form": NumberForm(request.boat),
        "photo_form": PhotoForm(request.boat),
        "kept": paper_owners.kept_of(request, "part", found),
    }
    context |= beside(request, found, facts.known.where)
    if Right.SEE_MONEY in request.rights:
        context |= offers.page_of(request, found)
    return context | forms


def _given(request: Any) -> dict[str, str]:
    """Return what an address fills in: `?gtin=` and `?name=`."""
    given = {}
    for name in ("gtin", "name"):
        try:
            given[name] = clean(request.GET.get(name, "")[:120])
        except Problem:
            continue
    return given


def _made(request: Any, form: NewPartForm) -> Done:
    made = acts.add_part(request.boat, numbers=form.numbers, **form.facts)
    return Done(_home(request, made), f"Made {made}.")


def _changed(request: Any, found: Part, form: PartForm) -> Done:
    pieces = None
    if form.facts["in_pieces"] and not found.in_pieces:
        pieces = keep_in_pieces(found, by=request.user, on=request.today, today=request.today)
    changed = acts.change_part(found, **form.facts)
    share_anew(changed)  # freight that was shared by weight follows a weight put right
    return Done(_home(request, changed), f"Changed {changed}.{f' {pieces.said}' if pieces else ''}")


def _numbered(request: Any, found: Part, form: NumberForm) -> Done:
    data = form.cleaned_data
    if any(row.kind == data["kind"] and row.folded == fold(data["number"]) for row in found.numbers.all()):
        raise Refused(f"{found} goes by {data['number']} already.", code="taken", field="number")
    made = acts.add_number(found, kind=data["kind"], number=data["number"], whose=data["whose"])
    undo = at(request, "part-number-remove", found.pk, made.pk)
    return Done(_home(request, found), f"{found} goes by {made} too.", undo)


def _pictured(request: Any, found: Part, form: PhotoForm) -> Done:
    data = form.cleaned_data["photo"].read()
    if data.startswith(b"%PDF-"):
        raise Refused("That is a PDF. Send a photo: JPEG, PNG or WebP.", code="not_a_picture", field="photo")
    paper = add_paper(request.boat, data, kind=PaperKind.PHOTO, by=request.user)
    acts.change_part(found, photo=paper)
    return Done(_home(request, found), f"Kept the photo of {found}.")
