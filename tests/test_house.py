"""The house keeps its order: arrows go down, HTTP stays in pages, nothing hides in a signal.

Reads the sources with `ast` and the models with `apps.get_models()`; a foreign key named by a string is an arrow too.
"""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.apps import apps
from django.template.loader import get_template

BASE = Path(__file__).resolve().parent.parent
REFIT = BASE / "refit"
TEMPLATES = BASE / "templates"

# From the top down. Reports draw rows that they are given: they know no app but calc.
FLOORS = ("pages", "carry", "reports", "voyage", "buying", "stores", "work", "boat", "calc")
WITH_MODELS = ("voyage", "buying", "stores", "work", "boat")
LONGEST = {"refit": 420, "templates": 420, "tests": 800}  # "about 400"; a list of examples may run on

KNOWN_HOSTS = {
    "boat.local",  # what labels lead to unless told
    "localhost",
    "127.0.0.1",
    "www.w3.org",  # the name of SVG's namespace; nothing is fetched
}


def may_import(floor: str, other: str) -> bool:
    """Return whether a module of one floor may import from another."""
    if floor == other:
        return True
    if floor == "reports":
        return other == "calc"
    return FLOORS.index(floor) < FLOORS.index(other)


def imports(source: str, module: str) -> Iterator[str]:
    """Yield the full name of everything that a module imports, wherever in it the import stands."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            start = node.module or ""
            if node.level:
                above = module.split(".")[: -node.level]
                start = ".".join([*above, start] if start else above)
            yield start
            yield from (f"{start}.{alias.name}" for alias in node.names)


def wrong_arrows(source: str, module: str) -> list[str]:
    """Return every import of a module that goes up, as a sentence."""
    floor = module.split(".")[1]
    wrong = set()
    for name in imports(source, module):
        parts = name.split(".")
        if parts[0] == "refit" and len(parts) > 1 and parts[1] in FLOORS and not may_import(floor, parts[1]):
            wrong.add(f"{module} imports {'.'.join(parts[:3])}")
    return sorted(wrong)


def modules(*floors: str) -> Iterator[tuple[str, Path]]:
    """Yield the name and file of each module on these floors."""
    for floor in floors:
        for path in sorted((REFIT / floor).rglob("*.py")):
            parts = path.relative_to(BASE).with_suffix("").parts
            yield ".".join(parts[:-1] if parts[-1] == "__init__" else parts), path


def test_every_package_is_a_floor():
    """A new package must be given its place before it is built in."""
    packages = {path.parent.name for path in REFIT.glob("*/__init__.py")}
    assert packages <= set(FLOORS)
    assert {"pages", "carry", "reports", "buying", "stores", "work", "boat", "calc"} <= packages


def test_imports_go_down():
    """No floor imports from one above it."""
    wrong = [arrow for module, path in modules(*FLOORS) for arrow in wrong_arrows(path.read_text(), module)]
    assert wrong == []


@pytest.mark.parametrize(
    ("source", "module"),
    [
        ("from refit.buying.models import Line", "refit.stores.reading"),
        ("import refit.pages.fields", "refit.boat.models"),
        ("from refit import work", "refit.boat.proof"),
        ("def later():\n    from refit.stores import models", "refit.work.actions"),
        ("from ..stores import models", "refit.work.actions"),
        ("from refit.boat.models import Boat", "refit.reports.spend"),
        ("from refit.pages.seeing import parts", "refit.carry.demo"),
        ("from refit.boat import rights", "refit.calc.money"),
    ],
)
def test_an_arrow_the_wrong_way_is_found(source, module):
    """The check itself can fail: planted arrows are named."""
    assert wrong_arrows(source, module) != []


@pytest.mark.parametrize(
    ("source", "module"),
    [
        ("from refit.calc.money import convert", "refit.reports.spend"),
        ("from refit.reports import tables\nfrom refit.buying import spend", "refit.carry.spend"),
        ("from .problems import shown", "refit.calc.codes"),
    ],
)
def test_an_arrow_down_is_no_fault(source, module):
    """What the design allows is allowed."""
    assert wrong_arrows(source, module) == []


def test_foreign_keys_go_down():
    """No table points at a table of a higher floor."""
    wrong = []
    for model in apps.get_models():
        floor = model.__module__.split(".")[1] if model.__module__.startswith("refit.") else None
        for field in model._meta.get_fields():
            if floor is None or not field.is_relation or field.auto_created or field.related_model is None:
                continue
            target = field.related_model.__module__.split(".")
            if target[0] == "refit" and not may_import(floor, target[1]):
                wrong.append(f"{model.__name__}.{field.name}")
    assert wrong == []


def test_a_movement_points_at_no_document():
    """Documents point at movements, never the other way about."""
    movement = apps.get_model("stores", "Movement")
    pointed = {field.related_model._meta.app_label for field in movement._meta.fields if field.is_relation}
    assert pointed == {"boat", "stores", "work"}


CALC_MAY_NOT = (
    "django",
    "sqlite3",
    "psycopg",
    "time",
    "os",
    "requests",
    "urllib.request",
    "http",
    "socket",
    "random",
)


def test_calc_knows_no_django_no_clock_and_no_database():
    """Pure calculation: the same values in give the same values out, always."""
    wrong = []
    for module, path in modules("calc"):
        source = path.read_text()
        for name in imports(source, module):
            if any(name == word or name.startswith(word + ".") for word in CALC_MAY_NOT):
                wrong.append(f"{module} imports {name}")
        if re.search(r"\.(today|now|utcnow)\(", source):
            wrong.append(f"{module} asks the clock")
    assert wrong == []


def test_reports_know_no_models_and_no_http():
    """Reports turn rows into files; they ask nothing of a database or a request."""
    wrong = [
        f"{module} imports {name}"
        for module, path in modules("reports")
        for name in imports(path.read_text(), module)
        if name.startswith(("django.db", "django.http", "django.shortcuts", "django.urls", "django.views"))
    ]
    assert wrong == []


def test_http_lives_in_pages():
    """Below pages there are no views, forms, addresses or template tags; commands live in carry."""
    names = {"views", "forms", "urls", "templatetags", "middleware"}
    wrong = [module for module, _ in modules(*FLOORS[1:]) if names & set(module.split("."))]
    wrong += [
        module
        for module, _ in modules(*FLOORS)
        if ".management" in module and not module.startswith("refit.carry")
    ]
    wrong += [
        module
        for module, _ in modules(*FLOORS)
        if module.split(".")[-1] == "models" and module.split(".")[1] not in WITH_MODELS
    ]
    assert wrong == []


def test_pages_and_carry_keep_no_tables():
    """What is kept, is kept on the floors that have models."""
    keeping = {
        model.__module__.split(".")[1] for model in apps.get_models() if model.__module__.startswith("refit.")
    }
    assert keeping <= set(WITH_MODELS)


def test_the_only_signals_are_those_round_a_migration():
    """Nothing happens behind an action's back: the guards are lifted before a migration and put up after it."""
    used = []
    for module, path in modules(*FLOORS):
        for name in imports(path.read_text(), module):
            if ".signals." in name or name.startswith("django.dispatch"):
                used.append((module, name.split(".")[-1]))
    assert used == [("refit.boat.apps", "post_migrate"), ("refit.boat.apps", "pre_migrate")]


@pytest.mark.parametrize("folder", sorted(LONGEST))
def test_files_stay_short(folder):
    """A file that grows past about 400 lines is split by noun."""
    long = [
        f"{path.relative_to(BASE)}: {lines}"
        for path in sorted((BASE / folder).rglob("*"))
        if path.suffix in (".py", ".html", ".js")
        and "migrations" not in path.parts
        and "vendor" not in path.parts
        and not path.name.endswith(".min.js")
        and (lines := len(path.read_text().splitlines())) > LONGEST[folder]
    ]
    assert long == []


def test_nothing_is_fetched_from_the_world():
    """On board there is no internet: sources and templates name no host but the boat's own."""
    found = set()
    for folder, kinds in ((REFIT, (".py", ".js", ".css", ".svg")), (TEMPLATES, (".html",))):
        for path in folder.rglob("*"):
            if path.suffix in kinds and not path.name.endswith(".min.js"):
                hosts = set(re.findall(r"https?://([A-Za-z0-9][A-Za-z0-9.-]*)", path.read_text()))
                found |= {
                    f"{path.relative_to(BASE)}: {host}"
                    for host in hosts - KNOWN_HOSTS
                    if not host.startswith("example.")
                }
    assert sorted(found) == []


def templates_named_in_views() -> set[str]:
    """Return every template that the pages name."""
    found = set()
    for module, path in modules("pages"):
        if module.endswith("addresses"):
            continue  # what ends so there is an address
        for node in ast.walk(ast.parse(path.read_text())):
            word = node.value if isinstance(node, ast.Constant) else None
            if isinstance(word, str) and re.fullmatch(r"[\w/-]+\.(html|txt)", word):
                found.add(word)
    return found


def test_templates_that_views_name_are_there():
    """A page that names a template finds it, and it can be read."""
    named = templates_named_in_views()
    assert len(named) > 3
    for name in sorted(named):
        get_template(name)


def test_templates_that_templates_name_are_there():
    """So does a template that extends or includes another."""
    for path in sorted(TEMPLATES.rglob("*.html")):
        for name in re.findall(r"{%-?\s*(?:extends|include)\s+\"([^\"]+)\"", path.read_text()):
            get_template(name.split("#")[0])


def test_every_template_can_be_read():
    """No template has an unclosed block or an unknown tag."""
    for path in sorted(TEMPLATES.rglob("*.html")):
        get_template(str(path.relative_to(TEMPLATES)))
