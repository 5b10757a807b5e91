"""Saving the same few columns of many rows, quickly: one statement, run once for each row.

Django's bulk_update builds an expression for each value of each row, which took most of the time that a season's
orders need. Decides nothing about what is saved.
"""

from collections.abc import Sequence
from typing import Any

from django.db import connection, transaction


def store(rows: Sequence[Any], columns: Sequence[str]) -> None:
    """Save these columns of rows that are in the database already, all of one model."""
    if not rows:
        return
    meta = type(rows[0])._meta
    fields = [meta.get_field(name) for name in columns]
    quote = connection.ops.quote_name
    sets = ", ".join(f"{quote(field.column)} = %s" for field in fields)
    statement = f"UPDATE {quote(meta.db_table)} SET {sets} WHERE {quote(meta.pk.column)} = %s"
    values = [
        [*(field.get_db_prep_save(getattr(row, field.attname), connection) for field in fields), row.pk]
        for row in rows
    ]
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.executemany(statement, values)
