"""Addresses of the program, made from the table in `refit.pages.addresses`."""

from django.contrib import admin
from django.urls import include, path, re_path

from refit.pages.addresses import ANYWHERE, BOAT
from refit.pages.guarding import guarded
from refit.pages.views.scan import label

pages = [
    *(path(row.path, guarded(row), name=row.name) for row in ANYWHERE),
    re_path(r"^[lL]/(?P<code>[^/]{1,40})/?$", label, name="label"),
    *(path(f"<slug:boat>/{row.path}", guarded(row), name=row.name) for row in BOAT),
]

urlpatterns = [
    path("admin/", admin.site.urls),
    path("", include((pages, "pages"))),
]
