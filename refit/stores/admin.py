"""The stores in Django's admin: the ledger and the holdings are read-only; of a part, a few facts may be put right."""

from typing import Any

from django.contrib import admin

from refit.boat.admin import FactsAdmin, ReadOnlyAdmin
from refit.stores.actions.parts import change_part
from refit.stores.models import Count, Entry, Holding, Lot, Missing, Movement, Need, Part, PartNumber


@admin.register(Part)
class PartAdmin(FactsAdmin):
    list_display = ("name", "specification", "unit", "kept", "system", "is_spare", "boat")
    list_filter = ("boat", "kept", "is_spare")
    list_select_related = ("system", "boat")
    search_fields = ("search",)
    facts = ("specification", "weight_kg", "hazard")

    def act(self, row: Part, facts: dict[str, Any]) -> None:
        change_part(row, **facts)


@admin.register(PartNumber)
class PartNumberAdmin(ReadOnlyAdmin):
    list_display = ("number", "kind", "whose", "part")
    list_filter = ("boat", "kind")
    list_select_related = ("part",)
    search_fields = ("folded", "number")


@admin.register(Lot)
class LotAdmin(ReadOnlyAdmin):
    list_display = ("part", "serial", "expires_on")
    list_filter = ("boat",)
    list_select_related = ("part",)


@admin.register(Holding)
class HoldingAdmin(ReadOnlyAdmin):
    list_display = ("part", "lot", "place", "quantity", "level")
    list_filter = ("boat", "level")
    list_select_related = ("part", "lot", "place")
    search_fields = ("part__search", "place__folded")


@admin.register(Entry)
class EntryAdmin(ReadOnlyAdmin):
    list_display = ("id", "kind", "said", "happened_on", "entered_at", "by")
    list_filter = ("boat", "kind")
    list_select_related = ("by",)


@admin.register(Movement)
class MovementAdmin(ReadOnlyAdmin):
    list_display = ("id", "reason", "part", "from_place", "to_place", "quantity", "level_after", "job")
    list_filter = ("boat", "reason")
    list_select_related = ("part", "from_place", "to_place", "job")
    search_fields = ("part__search",)


@admin.register(Count)
class CountAdmin(ReadOnlyAdmin):
    list_display = ("place", "counted_on", "entry")
    list_filter = ("boat",)
    list_select_related = ("place", "entry")


@admin.register(Missing)
class MissingAdmin(ReadOnlyAdmin):
    list_display = ("part", "place", "quantity", "closed_at")
    list_filter = ("boat",)
    list_select_related = ("part", "place")


@admin.register(Need)
class NeedAdmin(ReadOnlyAdmin):
    list_display = ("job", "part", "words", "quantity", "met_at")
    list_filter = ("boat",)
    list_select_related = ("job", "part")
