"""Scanning: a label's own address, and the page for photos, typed codes and makers' barcodes.

Reads only; nothing is written here.
"""

from typing import Any

from django.contrib.auth.views import redirect_to_login
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode

from refit.boat.models import Label
from refit.boat.refusals import Refused
from refit.boat.rights import Right
from refit.calc.codes import canonical, code_in
from refit.calc.problems import shown
from refit.carry.photo_codes import Found
from refit.pages import scanning
from refit.pages.forms.scan import Read, read_photos
from refit.pages.guarding import enter
from refit.pages.scanning import Membership

MOST_TEXT = 400


def scan(request: Any) -> HttpResponse:
    """Read a label or a maker's barcode: typed (`?text=`), or from photos."""
    if not request.user.is_authenticated:
        return redirect_to_login(request.get_full_path())
    boats = _boats(request)
    if request.method == "POST":
        return _photos(request, boats)
    text = request.GET.get("text", "").strip()[:MOST_TEXT]
    if text:
        return _typed(request, boats, text)
    return render(request, "scan/scan.html", {})


def label(request: Any, code: str) -> HttpResponse:
    """Lead from a label's address to its place; ask which if two boats have the code."""
    if not request.user.is_authenticated:
        return redirect_to_login(request.get_full_path())
    if request.method not in ("GET", "HEAD"):
        return render(request, "405.html", status=405)
    boats = _boats(request)
    try:
        wanted = canonical(code)
    except ValueError as problem:
        return _lost(request, str(problem), code)
    hits = scanning.labels_seen(boats, [wanted])
    if not hits:
        # The same words whether the label was never made or is another boat's.
        return _lost(request, f"No label {wanted} that is yours to open. Check the four characters.", wanted)
    if len(hits) == 1:
        return _to(request, boats, hits[0])
    return render(request, "scan/which.html", {"code": wanted, "hits": _hits(boats, hits)})


def _to(request: Any, boats: dict[int, Membership], hit: Label) -> HttpResponse:
    if hit.location is None and not boats[hit.boat_id].has(Right.SET_UP):
        return render(request, "scan/blank.html", {"code": hit.code, "its_boat": hit.boat})
    return redirect(_address(boats, hit))


def _address(boats: dict[int, Membership], hit: Label) -> str:
    if hit.location is None and not boats[hit.boat_id].has(Right.SET_UP):
        return f"/L/{hit.code}"  # which says who can give it a place
    if hit.location is None:
        return reverse("pages:label-blank", args=[hit.boat.slug, hit.code])
    return reverse("pages:locker", args=[hit.boat.slug, hit.location.code])


def _hits(boats: dict[int, Membership], labels: list[Label]) -> list[dict[str, Any]]:
    """Make the rows of a list of labels: the plate, where it leads, and the boat if there are several."""
    return [
        {
            "place": label.location,
            "code": label.code,
            "go": _address(boats, label),
            "boat_name": label.boat.name if len(boats) > 1 else "",
        }
        for label in labels
    ]


def _typed(request: Any, boats: dict[int, Membership], text: str) -> HttpResponse:
    code = code_in(text)
    if code:
        return redirect(f"/L/{code}")  # reversing would give the small l, which reads as a figure
    gtin = scanning.gtin_in(text)
    if gtin:
        return _barcode(request, boats, gtin)
    places = scanning.places_marked(boats, text)
    if len(places) == 1:
        return redirect("pages:locker", places[0].boat.slug, places[0].code)
    if places:
        hits = [Label(boat=place.boat, code=place.code, location=place) for place in places]
        return render(request, "scan/which.html", {"code": text, "hits": _hits(boats, hits)})
    return _lost(request, _why_not(text), text)


def _why_not(text: str) -> str:
    """Say what is wrong with what was typed: its last part is judged as a code, as an address carries it there."""
    try:
        canonical(text.rstrip("/").rsplit("/", 1)[-1])
    except ValueError as problem:
        return str(problem)
    return f"{shown(text)} leads to no label."


def _barcode(request: Any, boats: dict[int, Membership], gtin: str) -> HttpResponse:
    parts = scanning.parts_with(boats, [gtin])
    if len(parts) == 1:
        return redirect("pages:part", parts[0].boat.slug, parts[0].part_id)
    return render(
        request, "scan/barcode.html", {"gtin": gtin, "parts": parts, "offers": _offers(boats, gtin)}
    )


def _offers(boats: dict[int, Membership], gtin: str) -> list[dict[str, str]]:
    """Return where a part with this barcode could be made."""
    query = urlencode({"gtin": gtin})
    return [
        {"go": f"{reverse('pages:part-new', args=[each.boat.slug])}?{query}", "boat_name": each.boat.name}
        for each in boats.values()
        if each.has(Right.WORK)
    ]


def _photos(request: Any, boats: dict[int, Membership]) -> HttpResponse:
    try:
        photos = read_photos(request.FILES.getlist("photo"))
    except Refused as refused:
        return render(request, "scan/scan.html", {"wrong": refused.sentence}, status=422)
    found = [each for photo in photos for each in photo.found]
    codes = [code for code in (_label_code(each) for each in found) if code]
    gtins = [gtin for gtin in (_gtin(each) for each in found) if gtin]
    labels = sorted(scanning.labels_seen(boats, codes), key=lambda label: codes.index(label.code))
    parts = scanning.parts_with(boats, gtins)
    if len(found) == 1 and len(photos) == 1:
        if len(labels) == 1:
            return _to(request, boats, labels[0])
        if gtins:
            return _barcode(request, boats, gtins[0])
    context = {
        "hits": _hits(boats, labels),
        "parts": parts,
        "new_parts": _not_ours(boats, gtins, parts),
        "unread": [photo for photo in photos if photo.wrong],
        "others": _others(photos, codes, labels),
        "photos": len(photos),
    }
    status = 200 if labels or gtins else 422
    return render(request, "scan/read.html", context, status=status)


def _label_code(each: Found) -> str | None:
    return code_in(each.text) if each.kind in ("qr", "datamatrix") else None


def _gtin(each: Found) -> str | None:
    return scanning.gtin_in(each.text) if each.kind not in ("qr", "datamatrix") else None


def _not_ours(boats: dict[int, Membership], gtins: list[str], parts: list[Any]) -> list[dict[str, Any]]:
    """Return the barcodes that no part carries, each with where it could be made."""
    known = {shape for number in parts for shape in scanning.shapes(number.folded)}
    return [
        {"gtin": gtin, "offers": _offers(boats, gtin)} for gtin in dict.fromkeys(gtins) if gtin not in known
    ]


def _others(photos: list[Read], codes: list[str], labels: list[Label]) -> list[str]:
    """Say what else was read: labels that are not the person's, and codes that are no label of ours."""
    seen = {label.code for label in labels}
    said = [f"No label {code} that is yours to open." for code in dict.fromkeys(codes) if code not in seen]
    for each in (found for photo in photos for found in photo.found):
        if not _label_code(each) and not _gtin(each):
            said.append(f"{shown(each.text, 60)} is not one of our labels.")
    return list(dict.fromkeys(said))


def _lost(request: Any, sentence: str, text: str) -> HttpResponse:
    return render(request, "scan/lost.html", {"sentence": sentence, "text": text[:60]}, status=404)


def _boats(request: Any) -> dict[int, Membership]:
    """Return the person's boats. With only one, the page stands in that boat's frame."""
    boats = scanning.memberships(request.user)
    if len(boats) == 1:
        enter(request, next(iter(boats.values())).boat.slug)
    return boats
