"""Jobs in Django's admin: to be looked at; how far one is, its own page sets."""

from django.contrib import admin

from refit.boat.admin import ReadOnlyAdmin
from refit.work.models import Job


@admin.register(Job)
class JobAdmin(ReadOnlyAdmin):
    list_display = ("number", "title", "system", "state", "before", "given_to", "done_on")
    list_filter = ("boat", "state", "before")
    list_select_related = ("system", "given_to__user")
    search_fields = ("title",)
