"""Guards: triggers that hold what the tables alone cannot.

- A row of the stores ledger is never changed or deleted.
- A foreign key never crosses boats: one trigger for each foreign key whose both ends carry `boat`.
- `boat_id` never changes.

They are lifted before every migration and installed after it: SQLite rebuilds tables, drops their triggers and
refuses to rebuild one that a trigger of another table looks at; PostgreSQL refuses to alter a column that a trigger
names. They are named so that `missing()` can say which are not there. Otherwise they are lifted only to empty a test
database.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from django.apps import apps
from django.db import models, transaction

LEDGER = ("stores_movement", "stores_entry")


@dataclass(frozen=True)
class Guard:
    """One trigger: its name, its table, and what it looks at."""

    name: str
    table: str
    kind: str  # "ledger", "boat" or "fk"
    column: str = ""
    parent: str = ""


def expected() -> list[Guard]:
    """Return every guard that the models call for."""
    guards: list[Guard] = []
    tables = {model._meta.db_table for model in _boat_models()}
    for table in LEDGER:
        if table in tables:
            guards += [Guard(f"guard_{table}_{deed}", table, "ledger", deed) for deed in ("update", "delete")]
    for model in _boat_models():
        table = model._meta.db_table
        guards.append(Guard(f"guard_{table}_boat", table, "boat"))
        for field in model._meta.concrete_fields:
            if not isinstance(field, models.ForeignKey) or field.name == "boat":
                continue
            parent = field.related_model._meta.db_table  # type: ignore[union-attr]
            if parent in tables:
                guards.append(Guard(f"guard_{table}_{field.column}", table, "fk", field.column, parent))
    return guards


def _boat_models() -> list[type[models.Model]]:
    found = []
    for model in apps.get_models():
        if model._meta.managed and any(f.name == "boat" for f in model._meta.concrete_fields):
            found.append(model)
    return found


def install(connection) -> None:
    """Put every guard in place whose tables exist; those already there are made anew."""
    there = set(connection.introspection.table_names())
    # In one transaction: hundreds of statements that each wait for the disk take seconds.
    with transaction.atomic(using=connection.alias), connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            for statement in _POSTGRESQL_FUNCTIONS:
                cursor.execute(statement)
        for guard in expected():
            if guard.table in there and (not guard.parent or guard.parent in there):
                for statement in statements(connection.vendor, guard):
                    cursor.execute(statement)


def missing(connection) -> list[str]:
    """Return the names of the guards that are not in place."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled <> 'D'")
        else:
            cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        there = {row[0] for row in cursor.fetchall()}
    wanted = []
    for guard in expected():
        wanted += _names(connection.vendor, guard)
    return [name for name in wanted if name not in there]


def lift(connection) -> None:
    """Drop every guard. Only for a migration, or for emptying a test database."""
    there = set(connection.introspection.table_names())
    with transaction.atomic(using=connection.alias), connection.cursor() as cursor:
        for guard in expected():
            if guard.table in there:
                for name in _names(connection.vendor, guard):
                    on = f' ON "{guard.table}"' if connection.vendor == "postgresql" else ""
                    cursor.execute(f'DROP TRIGGER IF EXISTS "{name}"{on}')


@contextmanager
def lifted(connection) -> Iterator[None]:
    """Lift the guards for the length of a block."""
    lift(connection)
    try:
        yield
    finally:
        install(connection)


def install_after_migrate(sender, using, **kwargs) -> None:
    """Install the guards when migrations are through (with the one below, the only signals of the program)."""
    from django.db import connections

    install(connections[using])


def lift_before_migrate(sender, using, **kwargs) -> None:
    """Lift the guards before migrations begin; if one fails, `check_ledger` says that they are missing."""
    from django.db import connections

    lift(connections[using])


def _names(vendor: str, guard: Guard) -> list[str]:
    if vendor == "postgresql" or guard.kind in ("ledger", "boat"):
        return [_short(guard.name)]
    return [_short(guard.name) + "_i", _short(guard.name) + "_u"]


def _short(name: str) -> str:
    return name[:58]  # PostgreSQL keeps 63 characters of a name


def statements(vendor: str, guard: Guard) -> list[str]:
    """Return what puts one guard in place, made anew if it is there already."""
    return _postgresql(guard) if vendor == "postgresql" else _sqlite(guard)


def _sqlite(guard: Guard) -> list[str]:
    names = _names("sqlite", guard)
    drops = [f'DROP TRIGGER IF EXISTS "{name}"' for name in names]
    if guard.kind == "ledger":
        return [
            *drops,
            f'CREATE TRIGGER "{names[0]}" BEFORE {guard.column.upper()} ON "{guard.table}" '
            f"BEGIN SELECT RAISE(ABORT, 'ledger: {guard.table} is never changed or deleted'); END",
        ]
    if guard.kind == "boat":
        return [
            *drops,
            f'CREATE TRIGGER "{names[0]}" BEFORE UPDATE OF "boat_id" ON "{guard.table}" '
            "WHEN OLD.boat_id IS NOT NEW.boat_id AND OLD.boat_id IS NOT NULL "
            f"BEGIN SELECT RAISE(ABORT, 'boat: a row of {guard.table} stays with its boat'); END",
        ]
    when = (
        f'NEW."{guard.column}" IS NOT NULL AND '
        f'(SELECT boat_id FROM "{guard.parent}" WHERE id = NEW."{guard.column}") IS NOT NEW.boat_id'
    )
    refuse = f"SELECT RAISE(ABORT, 'boat: {guard.table}.{guard.column} belongs to another boat');"
    return [
        *drops,
        f'CREATE TRIGGER "{names[0]}" BEFORE INSERT ON "{guard.table}" WHEN {when} BEGIN {refuse} END',
        f'CREATE TRIGGER "{names[1]}" BEFORE UPDATE OF "{guard.column}" ON "{guard.table}" '
        f"WHEN {when} BEGIN {refuse} END",
    ]


_POSTGRESQL_FUNCTIONS = [
    """
    CREATE OR REPLACE FUNCTION guard_ledger() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN
      RAISE EXCEPTION 'ledger: % is never changed or deleted', TG_TABLE_NAME
        USING ERRCODE = 'integrity_constraint_violation';
    END $$
    """,
    """
    CREATE OR REPLACE FUNCTION guard_boat() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN
      IF OLD.boat_id IS NOT NULL AND OLD.boat_id IS DISTINCT FROM NEW.boat_id THEN
        RAISE EXCEPTION 'boat: a row of % stays with its boat', TG_TABLE_NAME
          USING ERRCODE = 'integrity_constraint_violation';
      END IF;
      RETURN NEW;
    END $$
    """,
    """
    CREATE OR REPLACE FUNCTION guard_same_boat() RETURNS trigger LANGUAGE plpgsql AS $$
    DECLARE
      target bigint;
      theirs bigint;
    BEGIN
      EXECUTE format('SELECT ($1).%I', TG_ARGV[0]) INTO target USING NEW;
      IF target IS NULL THEN RETURN NEW; END IF;
      EXECUTE format('SELECT boat_id FROM %I WHERE id = $1', TG_ARGV[1]) INTO theirs USING target;
      IF theirs IS DISTINCT FROM NEW.boat_id THEN
        RAISE EXCEPTION 'boat: %.% belongs to another boat', TG_TABLE_NAME, TG_ARGV[0]
          USING ERRCODE = 'integrity_constraint_violation';
      END IF;
      RETURN NEW;
    END $$
    """,
]


def _postgresql(guard: Guard) -> list[str]:
    name = _names("postgresql", guard)[0]
    drop = f'DROP TRIGGER IF EXISTS "{name}" ON "{guard.table}"'
    if guard.kind == "ledger":
        body = (
            f'BEFORE {guard.column.upper()} ON "{guard.table}" FOR EACH ROW EXECUTE FUNCTION guard_ledger()'
        )
    elif guard.kind == "boat":
        body = f'BEFORE UPDATE OF boat_id ON "{guard.table}" FOR EACH ROW EXECUTE FUNCTION guard_boat()'
    else:
        body = (
            f'BEFORE INSERT OR UPDATE OF "{guard.column}" ON "{guard.table}" FOR EACH ROW '
            f"EXECUTE FUNCTION guard_same_boat('{guard.column}', '{guard.parent}')"
        )
    return [drop, f'CREATE TRIGGER "{name}" {body}']
