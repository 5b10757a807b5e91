"""Django's admin, for the owner of the installation: everything can be read there, little can be changed.

Decides that only a superuser gets in, and that what is made by actions is changed by actions: here only facts that no
action could refuse, through those same actions. The ledger and every stored sum are read-only.
"""

from typing import Any

from django.contrib import admin
from django.db.models import Model
from django.http import HttpRequest

from refit.boat.actions.boats import change_boat, change_system
from refit.boat.models import Boat, Budget, Label, Location, Member, Paper, System


class ReadOnlyAdmin(admin.ModelAdmin):
    """Rows that can be looked at by a superuser, and nothing else."""

    show_full_result_count = False
    list_per_page = 50
    actions = None

    def has_module_permission(self, request: HttpRequest) -> bool:
        return bool(request.user.is_active and request.user.is_superuser)

    def has_view_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return self.has_module_permission(request)

    def has_add_permission(self, request: HttpRequest, *args: Any) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return False


class FactsAdmin(ReadOnlyAdmin):
    """Rows of which some facts (`facts`) may be changed; saving goes through `act`."""

    facts: tuple[str, ...] = ()

    def has_change_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return self.has_module_permission(request)

    def get_readonly_fields(self, request: HttpRequest, obj: Model | None = None) -> list[str]:
        return [field.name for field in self.model._meta.concrete_fields if field.name not in self.facts]

    def save_model(self, request: HttpRequest, obj: Any, form: Any, change: bool) -> None:
        self.act(
            self.model._default_manager.get(pk=obj.pk), {name: getattr(obj, name) for name in self.facts}
        )

    def act(self, row: Any, facts: dict[str, Any]) -> None:
        """Change the facts by the action of the program."""
        raise NotImplementedError


@admin.register(Boat)
class BoatAdmin(FactsAdmin):
    list_display = ("name", "slug", "currency", "is_demo", "created_at")
    search_fields = ("name", "hull_number")
    facts = (
        "hull_number",
        "official_number",
        "flag",
        "port_of_registry",
        "call_sign",
        "builder",
        "year_built",
        "material",
    )

    def act(self, row: Boat, facts: dict[str, Any]) -> None:
        change_boat(row, **facts)


@admin.register(System)
class SystemAdmin(FactsAdmin):
    list_display = ("name", "group", "of_the_boat", "boat")
    list_filter = ("boat",)
    list_select_related = ("boat",)
    search_fields = ("name",)
    facts = ("group", "of_the_boat")

    def act(self, row: System, facts: dict[str, Any]) -> None:
        change_system(row, name=row.name, **facts)


@admin.register(Member)
class MemberAdmin(ReadOnlyAdmin):
    list_display = ("user", "role", "boat")
    list_filter = ("boat", "role")
    list_select_related = ("user", "boat")


@admin.register(Budget)
class BudgetAdmin(ReadOnlyAdmin):
    list_display = ("system", "amount", "set_on", "entered_by")
    list_filter = ("boat",)
    list_select_related = ("system", "entered_by")


@admin.register(Location)
class LocationAdmin(ReadOnlyAdmin):
    list_display = ("mark", "name", "kind", "where", "code", "boat", "retired_at")
    list_filter = ("boat", "kind", "where")
    list_select_related = ("boat",)
    search_fields = ("mark", "name", "code")


@admin.register(Label)
class LabelAdmin(ReadOnlyAdmin):
    list_display = ("code", "location", "boat", "made_at", "printed_at")
    list_filter = ("boat",)
    list_select_related = ("location", "boat")
    search_fields = ("code",)


@admin.register(Paper)
class PaperAdmin(ReadOnlyAdmin):
    list_display = ("number", "name", "kind", "in_tray", "size", "added_by", "added_at", "boat")
    list_filter = ("boat", "kind", "in_tray")
    list_select_related = ("added_by", "boat")
