"""Emptying the database after a test whose deeds were committed: only the tables that hold rows, in one transaction.

The kinds of content and the permissions stay: they are made by `migrate` and are the same for every test.
"""

from django.db import transaction

from refit.boat import guards

OF_MIGRATE = {"django_content_type", "auth_permission"}


def empty(connection) -> None:
    """Delete every row; only for that is the guard lifted under which the ledger is never deleted from."""
    with transaction.atomic(using=connection.alias), connection.cursor() as cursor:
        full = holding_rows(connection, cursor)
        ledger = [guard for guard in guards.expected() if guard.kind == "ledger" and guard.table in full]
        for guard in ledger:
            on = f' ON "{guard.table}"' if connection.vendor == "postgresql" else ""
            cursor.execute(f'DROP TRIGGER IF EXISTS "{guard.name}"{on}')
        for table in full:  # in any order: foreign keys are looked at afterwards
            cursor.execute(f'DELETE FROM "{table}"')
        if connection.vendor == "postgresql":
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")  # no trigger is made while foreign keys wait
        for guard in ledger:
            for statement in guards.statements(connection.vendor, guard):
                cursor.execute(statement)
    if guards.missing(connection):  # a test took some away
        guards.install(connection)


def holding_rows(connection, cursor) -> list[str]:
    """Return the tables of the program that are not empty."""
    tables = set(connection.introspection.django_table_names(only_existing=True, include_views=False))
    asked = " UNION ALL ".join(
        f"SELECT '{table}' WHERE EXISTS (SELECT 1 FROM \"{table}\")" for table in sorted(tables - OF_MIGRATE)
    )
    cursor.execute(asked)
    return [name for (name,) in cursor.fetchall()]
