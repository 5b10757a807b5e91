"""Logging an order: one screen from a job, a part or nothing; its totals as one types; a draft changed."""

import re
from typing import Any

from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render

from refit.buying.actions.deliveries import buy_here
from refit.buying.actions.orders import place_order, write_order
from refit.buying.models import Order
from refit.buying.reading import wanted
from refit.calc.paste import PasteProblem, parse_rows
from refit.pages.acting import Done, act, at
from refit.pages.forms.order_fields import COMMON, Choices, readable
from refit.pages.forms.order_sheet import Sheet
from refit.pages.forms.order_typed import MOST_LINES, Typed
from refit.pages.order_totals import Totals, facts_for, facts_of, totals_of, totals_of_stored
from refit.pages.seeing import jobs, one, orders, parts
from refit.stores.reading import parts_named
from refit.work.models import Job

DATE_FIELDS = {
    "ordered_on",
    "expected_on",
    "reference",
    "prices",
    "tax_percent",
    "tax_amount",
    "tax_reclaimable",
    "note",
}
START = "Type a price, and the cost all in shows here."
ACTS = ("order", "keep", "buy")
STEP = re.compile(r"(add-line|add-charge|work-out|paste)|(line|charge)-([0-9]{1,3})")
PICK = re.compile(r"([0-9]{1,3}):([0-9]{1,18})")


def new(request: Any) -> HttpResponse:
    """Show the form filled in from a job or a part, or act on it."""
    job = _from_address(request, jobs(request.member).select_related("system"), "job", "number")
    if request.method == "POST":
        return _work(request, None, job)
    typed = Typed.fresh(request.boat, request.today)
    if job is not None:
        typed.want(job, wanted([job])[job.pk])
    part = _from_address(request, _parts(request).select_related("usual_place"), "part", "pk")
    if part is not None:
        typed.want_part(part)
    return _page(request, _read(request, typed, None, Choices.read(request.boat)), Totals(notes=[START]), job)


def change(request: Any, number: int) -> HttpResponse:
    """Show a draft to be changed, or act on it."""
    drafts = orders(request.member).select_related("boat", "supplier", "job__system")
    order = one(drafts, number=number)
    if request.method == "POST":
        return _work(request, order, None)
    if not order.is_draft:
        return redirect(at(request, "order", order.number))
    sheet = _read(request, Typed.of_draft(order), order, Choices.read(request.boat))
    return _page(request, sheet, totals_of_stored(order), None)


def totals(request: Any) -> HttpResponse:
    """Show what the form comes to as it stands, keeping nothing."""
    number = request.POST.get("order", "")
    order = (
        one(orders(request.member).select_related("boat"), number=int(number)) if number.isdecimal() else None
    )
    sheet = _read(request, Typed.sent(request.POST), order, Choices.read(request.boat))
    context = {"totals": totals_of(sheet, request.user), "oob": True}
    return render(request, "order_form/_totals.html", context)


def known(request: Any) -> HttpResponse:
    """Show what is aboard, on order and wanted of a part, or of the parts that the words may mean."""
    row, text, part = 0, request.GET.get("text", ""), request.GET.get("part", "")
    for key, value in request.GET.items():
        found = re.fullmatch(r"line-([0-9]{1,3})-(what|part)", key)
        if found:
            row = int(found[1])
            text, part = (value, part) if found[2] == "what" else (text, value)
    if part:
        chosen = _parts(request).filter(pk=int(part)) if re.fullmatch("[0-9]{1,18}", part) else []
        found_parts = list(chosen)
    else:
        found_parts = parts_named(request.boat, readable(text))
    context = {
        "known": facts_of(request.boat, found_parts, request.today),
        "row": row,
        "is_chosen": bool(part),
    }
    return render(request, "order_form/_known.html", context)


def _work(request: Any, order: Order | None, job: Job | None) -> HttpResponse:
    """Do what the pressed button says: act, or show the form with a row more, less, picked or pasted."""
    do = request.POST.get("do", "")
    typed, choices = Typed.sent(request.POST), Choices.read(request.boat)
    if do not in ACTS:
        focus, problem = _step(request, typed, do, choices)
        typed.take_habits(choices)
        sheet = _read(request, typed, order, choices)
        if problem is not None:
            sheet.head.add_error("paste", problem)
        return _page(request, sheet, totals_of(sheet, request.user), job, focus=focus)
    sheet = _read(request, typed, order, choices)
    if do == "keep":
        sheet.ask_to_keep()
    else:
        sheet.ask_to_order()
    response = act(request, sheet.head, lambda: _deed(request, sheet, do)) if sheet.is_right else None
    if response is not None:
        return response
    return _page(request, sheet, totals_of(sheet, request.user), job, status=422)


def _deed(request: Any, sheet: Sheet, do: str) -> Done:
    """Write the order down; then place it, or book it in and pay it, as the button says."""
    facts = sheet.make(request.user).facts
    who = {"by": request.user, "today": request.today, "order": sheet.order}
    if do == "buy":
        head = sheet.head.cleaned_data
        order, _ = buy_here(
            request.boat, facts, straight_to_job=head["straight_to_job"], means=head["means"], **who
        )
        said = f"Bought from {order.supplier}: order {order.number}, here and paid."
        return Done(at(request, "order", order.number), said, at(request, "order-unbuy", order.number))
    order = write_order(request.boat, facts, **who)
    there = at(request, "order", order.number)
    if do == "keep":
        undo = "" if sheet.order else at(request, "order-throw-away", order.number)
        return Done(there, f"Order {order.number} is kept, not ordered yet.", undo)
    place_order(order, on=facts.ordered_on or request.today, today=request.today)
    said = f"Order {order.number} from {order.supplier}: ordered."
    return Done(there, said, at(request, "order-draft", order.number))


def _step(request: Any, typed: Typed, do: str, choices: Choices) -> tuple[int, ValidationError | None]:
    """Change the rows as a button says; return the row to go on in, and what is wrong with pasted text."""
    picked = PICK.fullmatch(request.POST.get("pick", ""))
    if picked:
        typed.pick(
            int(picked[1]),
            one(_parts(request).select_related("usual_place"), pk=int(picked[2])),
        )
        return int(picked[1]), None
    step = STEP.fullmatch(do.removeprefix("remove-"))
    if step is None:
        return -1, None
    if step[1] == "add-line" and len(typed.lines) < MOST_LINES:
        typed.lines.append({})
        return len(typed.lines) - 1, None
    if step[1] == "add-charge":
        typed.charges.append({})
    elif step[2] == "line":
        typed.remove_line(int(step[3]))
    elif step[2] == "charge":
        typed.remove_charge(int(step[3]))
    elif step[1] == "paste":
        return -1, _paste(typed, choices)
    return -1, None


def _paste(typed: Typed, choices: Choices) -> ValidationError | None:
    text = typed.head.get("paste", "")
    if len(text) > 50_000:
        return None  # the field says so
    try:
        pasted = parse_rows(text)
    except PasteProblem as problem:
        return ValidationError(str(problem), code=problem.code)
    typed.paste(pasted)
    typed.match_numbers(choices)
    if pasted.left_out:
        left = "; ".join(row[:60] for row in pasted.left_out[:6])
        typed.head["left_out"] = left
    return None


def _read(request: Any, typed: Typed, order: Order | None, choices: Choices) -> Sheet:
    typed.match(choices)
    typed.lines = typed.lines or [{}]
    return Sheet(choices, typed, request.today, order)


def _page(
    request: Any, sheet: Sheet, totals: Totals, job: Job | None, *, focus: int = -1, status: int = 200
) -> HttpResponse:
    lines = sheet.rows(facts_for(sheet), focus)
    if 0 <= focus < len(lines):
        lines[focus].form.fields["what"].widget.attrs["autofocus"] = True
    problems = sheet.problems()
    head = sheet.head
    context = {
        "sheet": sheet,
        "form": sheet.head,
        "order": sheet.order,
        "job": job,
        "lines": lines,
        "charges": sheet.charges,
        "totals": totals,
        "currencies": COMMON,
        "left_out": sheet.typed.head.get("left_out", ""),
        "here": request.get_full_path(),
        "problems": problems,
        "wrong_head": "Not saved. To put right:" if status == 422 else "To put right:",
        "job_is_folded": job is not None and not {"job", "system"} & set(head.errors),
        "shows_date": bool(DATE_FIELDS & set(head.errors)) or not head.prices_with_tax,
    }
    return render(request, "order_form/order_form.html", context, status=status)


def _from_address(request: Any, rows: Any, name: str, column: str) -> Any:
    """Return what the address names, None where it names nothing, or 404."""
    text = request.GET.get(name, "")
    if not text:
        return None
    if not re.fullmatch("[0-9]{1,18}", text):
        raise Http404("Not found.")
    return one(rows, **{column: int(text)})


def _parts(request: Any) -> Any:
    """Return the parts that may be ordered: those in use."""
    return parts(request.member).filter(retired_at=None)
