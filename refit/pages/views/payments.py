"""Payments: the list, what is still to pay, who is owed, store credit; writing a payment down, taking it back.

Decides what is shown and where each button leads; what may be done is decided by `buying.actions.payments`.
"""

from collections.abc import Sequence
from typing import Any

from django.db.models import Sum
from django.http import Http404, HttpResponse
from django.shortcuts import render

from refit.boat.refusals import Refused
from refit.buying import owing
from refit.buying.actions import payments as paying
from refit.buying.models import Credit, Payment, PaymentSplit, Supplier
from refit.buying.owing import Owed
from refit.calc.money import from_minor, to_minor
from refit.pages import lists, payment_list, seeing
from refit.pages.acting import Done, act, at, press, refused_page
from refit.pages.forms.payments import PaidBackForm, PaymentForm, ShareOutForm, filled

MOST_ASKED = 100  # orders and bills that one address may name


def payments(request: Any) -> HttpResponse:
    """List what was paid; on top what is still to pay, was paid too much, and is owed."""
    rows = Payment.objects.filter(boat=request.boat).select_related("payee")
    listing = lists.sieved(request, payment_list.PaymentSieve, rows, payment_list.KEYS)

    def lines(batch: list[Any]) -> Sequence[Sequence[Any]]:
        return payment_list.file_rows(payment_list.payment_rows(batch))

    file = lists.exported(request, "Payments", payment_list.COLUMNS, listing, lines)
    if file is not None:
        return file
    context = {
        "filter": listing.filter,
        "page": listing.page,
        "rows": payment_list.payment_rows(listing.rows),
        "total": listing.all.order_by().aggregate(total=Sum("amount"))["total"] or 0,
        "tabs": payment_list.tabs(request, "payments"),
        "top": _top(request),
    }
    return render(request, "payments/payments.html", context)


def to_pay(request: Any) -> HttpResponse:
    """Show what is still to pay, payee by payee, and what was paid too much."""
    everything = owing.everything(request.boat)
    left, over = [row for row in everything if row.left], [row for row in everything if row.over]
    groups: dict[int, list[Owed]] = {}
    for row in left:
        groups.setdefault(row.payee.pk if row.payee else 0, []).append(row)
    context = {
        "groups": [
            {"payee": rows[0].payee, "rows": rows, "left": sum(row.left for row in rows)}
            for rows in sorted(groups.values(), key=lambda rows: rows[0].payee.name if rows[0].payee else "~")
        ],
        "over": over,
        "left": sum(row.left for row in left),
        "count": len(left),
        "tabs": payment_list.tabs(request, "to-pay"),
    }
    return render(request, "payments/to_pay.html", context)


def we_owe(request: Any) -> HttpResponse:
    """Show what helpers paid, and what they got back."""
    rows = Payment.objects.filter(boat=request.boat, we_owe=True).select_related("payee")
    keys = {"newest": ["-paid_on", "-id"], "payer": ["payer", "-paid_on"], "amount": ["amount", "-paid_on"]}
    waiting = list(owing.we_owe(request.boat).select_related("payee").order_by("payer", "paid_on", "id"))
    listing = lists.listed(request, rows.filter(paid_back_on__isnull=False), keys)
    by_helper: dict[str, int] = {}
    for payment in waiting:
        by_helper[payment.payer] = by_helper.get(payment.payer, 0) + payment.amount
    context = {
        "waiting": payment_list.payment_rows(waiting),
        "by_helper": list(by_helper.items()),
        "total": sum(by_helper.values()),
        "back": payment_list.payment_rows(listing.rows),
        "page": listing.page,
        "form": PaidBackForm(request.boat, initial={"on": request.today}),
        "tabs": payment_list.tabs(request, "we-owe"),
    }
    return render(request, "payments/we_owe.html", context)


def store_credit(request: Any) -> HttpResponse:
    """Show the balance with each supplier that owes store credit, and how it came about."""
    balances = owing.store_credits(request.boat)
    came = Credit.objects.filter(boat=request.boat, as_store_credit=True, came_on__isnull=False)
    spent = PaymentSplit.objects.filter(boat=request.boat, payment__means="credit")
    context = {
        "balances": balances,
        "total": sum(balance for _, balance in balances),
        "came": list(came.select_related("order__supplier").order_by("-came_on", "-id")[:50]),
        "spent": list(
            spent.select_related("order__supplier", "payment").order_by("-payment__paid_on", "-id")[:50]
        ),
        "tabs": payment_list.tabs(request, "store-credit"),
    }
    return render(request, "payments/store_credit.html", context)


def payment(request: Any, pk: int) -> HttpResponse:
    """Show one payment: what it went to, what it settled; take it back."""
    found = _payment(request, pk)
    return render(request, "payments/payment.html", _one(request, found))


def new(request: Any) -> HttpResponse:
    """Write down a payment: of one order, of a payee's statement, or of what the address names."""
    chosen = ShareOutForm(request.boat, request.GET or None)
    supplier, total = None, None
    if chosen.is_bound and chosen.is_valid():
        supplier, amount = chosen.cleaned_data["supplier"], chosen.cleaned_data["amount"]
        total = None if amount is None else to_minor(amount, request.boat.currency)
    asked = _asked(request, supplier)
    if request.method != "POST":
        payee = supplier or next((row.payee for row in asked if row.payee), None)
        initial = filled(asked, total, request.boat.currency) | {
            "paid_on": request.today,
            "means": "card",
            "payee": payee,
            "amount": chosen.cleaned_data.get("amount") if chosen.is_bound and chosen.is_valid() else None,
            "payer": request.user.get_short_name(),
        }
        form = PaymentForm(request.boat, asked, initial=initial)
        return render(request, "payments/new.html", _new_context(request, chosen, form, supplier))
    form = PaymentForm(request.boat, asked, request.POST)
    if form.is_valid():

        def deed() -> Done:
            made = paying.pay(
                request.boat,
                form.splits(),
                on=form.cleaned_data["paid_on"],
                today=request.today,
                by=request.user,
                amount=form.total(),
                **form.facts(),
            )
            where = at(request, "payment", made.pk)
            only = made.splits.select_related("order").all()
            if len(only) == 1 and only[0].order:
                where = at(request, "order", only[0].order.number)
            said = f"Paid {from_minor(made.amount, request.boat.currency):,f} {request.boat.currency}."
            return Done(where, said, at(request, "payment-back", made.pk))

        response = act(request, form, deed)
        if response is not None:
            return response
    return refused_page(request, "payments/new.html", _new_context(request, chosen, form, supplier))


def take_back(request: Any, pk: int) -> HttpResponse:
    """Take a payment back; what it settled is open again."""
    found = _payment(request, pk)

    def deed() -> Done:
        if found.with_order:
            raise Refused(
                "This payment was made by placing its order with what the card was charged. Correct the "
                "order, or take it back to not ordered yet.",
                code="with_order",
            )
        paying.take_back_payment(found)
        words = f"{from_minor(found.amount, request.boat.currency):,f} {request.boat.currency}"
        return Done(at(request, "payments"), f"Took back the payment of {words}.")

    return press(request, deed, at(request, "payment", pk))


def paid_back(request: Any, pk: int) -> HttpResponse:
    """Say that the helper who paid has got the money back."""
    found = _payment(request, pk)
    form = PaidBackForm(request.boat, request.POST)
    if form.is_valid():
        on = form.cleaned_data["on"]

        def deed() -> Done:
            paying.pay_back(found, on=on, today=request.today)
            said = f"Paid back to {found.payer} on {on:%-d %b %Y}."
            return Done(at(request, "we-owe"), said, at(request, "payment-owed", pk))

        response = act(request, form, deed)
        if response is not None:
            return response
    return refused_page(request, "payments/payment.html", _one(request, found) | {"form": form})


def owed_again(request: Any, pk: int) -> HttpResponse:
    """Say that the helper is still owed (undo)."""
    found = _payment(request, pk)

    def deed() -> Done:
        paying.owe_again(found)
        return Done(at(request, "we-owe"), f"{found.payer} is owed again.")

    return press(request, deed, at(request, "we-owe"))


def _payment(request: Any, pk: int) -> Payment:
    rows = Payment.objects.filter(boat=request.boat).select_related("payee", "boat", "entered_by")
    found: Payment = seeing.one(rows, pk=pk)
    return found


def _one(request: Any, found: Payment) -> dict[str, Any]:
    return {
        "payment": found,
        "row": payment_list.payment_rows([found])[0],
        "form": PaidBackForm(request.boat, initial={"on": request.today}),
    }


def _asked(request: Any, supplier: Supplier | None) -> list[Owed]:
    """Return what the payment may go to: what the address names, and all that the payee is still owed."""
    numbers, bills = (_numbers(request.GET.getlist(name)) for name in ("order", "bill"))
    rows = seeing.orders(request.member).filter(number__in=numbers).exclude(state="draft")
    named = list(rows.select_related("supplier", "boat").order_by("ordered_on", "number"))
    found = {owed.key: owed for owed in owing.of_orders(named).values()}
    if bills:
        charges = owing.bills(request.boat).filter(pk__in=bills)
        found |= {owed.key: owed for owed in owing.of_bills(charges)}
    if len(found) != len(numbers) + len(bills):
        raise Http404("Not found.")
    if supplier is not None:
        found |= {owed.key: owed for owed in owing.to_pay(request.boat, supplier)}
    return list(found.values())


def _numbers(words: list[str]) -> set[int]:
    """Return the numbers that an address names; anything else is not found."""
    right = (word.isascii() and word.isdigit() and len(word) < 19 for word in words)
    if len(words) > MOST_ASKED or not all(right):
        raise Http404("Not found.")
    return {int(word) for word in words}


def _new_context(
    request: Any, chosen: ShareOutForm, form: PaymentForm, supplier: Supplier | None
) -> dict[str, Any]:
    credit = next((left for one, left in owing.store_credits(request.boat) if one == supplier), 0)
    return {
        "chosen": chosen,
        "form": form,
        "supplier": supplier,
        "asked": [(name, value) for name in ("order", "bill") for value in request.GET.getlist(name)],
        "left": sum(row.owed.left for row in form.rows),
        "store_credit": credit,
    }


def _top(request: Any) -> dict[str, Any]:
    everything = owing.everything(request.boat)
    helpers = owing.we_owe(request.boat).aggregate(total=Sum("amount"))["total"] or 0
    return {
        "left": sum(row.left for row in everything),
        "count": sum(1 for row in everything if row.left),
        "over": sum(1 for row in everything if row.over),
        "helpers": helpers,
        "credit": sum(balance for _, balance in owing.store_credits(request.boat)),
        "no_paper": owing.cash_without_paper(Payment.objects.filter(boat=request.boat)).count(),
    }
