"""Buying in Django's admin: orders, their lines, charges, deliveries and payments are read-only, as are their sums."""

from typing import Any

from django.contrib import admin

from refit.boat.admin import FactsAdmin, ReadOnlyAdmin
from refit.buying.actions.orders import change_supplier
from refit.buying.models import (
    Charge,
    Delivery,
    DeliveryLine,
    Line,
    Order,
    OrderPaper,
    Payment,
    PaymentSplit,
    Share,
    Supplier,
)


@admin.register(Supplier)
class SupplierAdmin(FactsAdmin):
    list_display = ("name", "currency", "boat")
    list_filter = ("boat",)
    list_select_related = ("boat",)
    search_fields = ("name",)
    facts = ("web", "note")

    def act(self, row: Supplier, facts: dict[str, Any]) -> None:
        change_supplier(row, **facts)


@admin.register(Order)
class OrderAdmin(ReadOnlyAdmin):
    list_display = ("number", "supplier", "state", "ordered_on", "currency", "goods", "landed", "delivered")
    list_filter = ("boat", "state", "currency")
    list_select_related = ("supplier",)
    search_fields = ("reference", "supplier__name")


@admin.register(Line)
class LineAdmin(ReadOnlyAdmin):
    list_display = (
        "order",
        "position",
        "what",
        "quantity",
        "arrived",
        "system",
        "job",
        "landed",
        "delivered",
    )
    list_filter = ("boat", "counted", "kind")
    list_select_related = ("order", "part", "system", "job")


@admin.register(Charge)
class ChargeAdmin(ReadOnlyAdmin):
    list_display = ("order", "kind", "words", "currency", "amount", "home", "effect", "expected")
    list_filter = ("boat", "kind", "expected")
    list_select_related = ("order",)


@admin.register(Share)
class ShareAdmin(ReadOnlyAdmin):
    list_display = ("charge", "line", "home")
    list_filter = ("boat",)
    list_select_related = ("charge", "line__part")


@admin.register(Delivery)
class DeliveryAdmin(ReadOnlyAdmin):
    list_display = ("id", "arrived_on", "by", "note", "undone_at")
    list_filter = ("boat",)
    list_select_related = ("by",)


@admin.register(DeliveryLine)
class DeliveryLineAdmin(ReadOnlyAdmin):
    list_display = ("delivery", "line", "quantity", "wont_come", "place", "value")
    list_filter = ("boat",)
    list_select_related = ("delivery", "line__part", "place")


@admin.register(Payment)
class PaymentAdmin(ReadOnlyAdmin):
    list_display = ("id", "paid_on", "means", "amount", "payer", "entered_by")
    list_filter = ("boat", "means")
    list_select_related = ("entered_by",)


@admin.register(PaymentSplit)
class PaymentSplitAdmin(ReadOnlyAdmin):
    list_display = ("payment", "order", "amount")
    list_filter = ("boat",)
    list_select_related = ("payment", "order")


@admin.register(OrderPaper)
class OrderPaperAdmin(ReadOnlyAdmin):
    list_display = ("order", "paper")
    list_filter = ("boat",)
    list_select_related = ("order", "paper")
