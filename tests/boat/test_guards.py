"""The guards: what the database refuses by itself, on SQLite and on PostgreSQL, whoever writes."""

from collections.abc import Callable
from functools import partial

import pytest
from django.core.management import CommandError, call_command
from django.db import IntegrityError, connection, models, transaction
from django.db.migrations.executor import MigrationExecutor

from refit.boat import guards
from refit.carry.ledger import differences
from refit.stores.models import Entry, Movement, Part
from tests.boat.whole import boat_models, copy_of, fill, insert, model_of
from tests.factory import Factory

GUARDS = guards.expected()
LEDGER = [guard for guard in GUARDS if guard.kind == "ledger"]
OF_BOAT = [guard for guard in GUARDS if guard.kind == "boat"]
FOREIGN = [guard for guard in GUARDS if guard.kind == "fk"]


def refused(match: str):
    """Expect the database to refuse, with a sentence that says why."""
    return pytest.raises(IntegrityError, match=match)


@pytest.fixture
def ours(db) -> Factory:
    return fill(Factory.start())


@pytest.fixture
def theirs(db) -> Factory:
    return fill(Factory.start("Other Boat", prefix="other"))


def test_both_boats_fill_every_table(ours):
    """The tests below try something only where there are rows."""
    empty = [model._meta.label for model in boat_models() if not model._base_manager.exists()]
    assert empty == []


def test_the_filled_boat_has_a_clean_ledger(ours, clean_ledger):
    """What the fixture makes, it makes by the rules."""
    assert Movement.objects.count() > 5


def test_every_foreign_key_between_rows_of_a_boat_is_guarded():
    """Counted another way than the guards are made."""
    mine = boat_models()
    keys = [
        (model._meta.db_table, field.column)
        for model in mine
        for field in model._meta.concrete_fields
        if field.is_relation and field.related_model in mine
    ]
    assert sorted(keys) == sorted((guard.table, guard.column) for guard in FOREIGN)
    assert {guard.table for guard in OF_BOAT} == {model._meta.db_table for model in mine}
    assert len(LEDGER) == 4


def test_names_of_guards_are_all_different():
    """PostgreSQL keeps 63 characters of a name: two guards cut alike would replace each other."""
    for vendor in ("sqlite", "postgresql"):
        names = [(guard.table, name) for guard in GUARDS for name in guards._names(vendor, guard)]
        assert len(set(names)) == len(names)
        assert max(len(name) for _, name in names) <= 63
    assert len({name for _, name in names}) == len(names)


def refuses(match: str, deed: Callable[[], object]) -> bool:
    """Return whether the database refuses a deed with this sentence; whatever happens, nothing stays."""
    try:
        with transaction.atomic():
            deed()
            transaction.set_rollback(True)
    except IntegrityError as refusal:
        return match in str(refusal)
    return False


@pytest.mark.parametrize("guard", LEDGER, ids=lambda guard: guard.name)
def test_the_ledger_is_never_changed_or_deleted(ours, guard):
    """Neither one row nor all, neither by the ORM nor by SQL."""
    row = model_of(guard.table)._base_manager.order_by("-pk").first()
    rows = type(row)._base_manager.filter(pk=row.pk)
    with connection.cursor() as cursor:
        deeds = {
            "update": [
                lambda: cursor.execute(f"UPDATE {guard.table} SET id = id"),
                row.save,
                lambda: rows.update(boat=row.boat_id),
            ],
            "delete": [
                lambda: cursor.execute(f"DELETE FROM {guard.table}"),
                lambda: rows._raw_delete("default"),
            ],
        }[guard.column]
        assert [refuses("is never changed or deleted", deed) for deed in deeds] == [True] * len(deeds)


def test_no_foreign_key_crosses_boats(ours, theirs):
    """For every guard: a row pointing at another boat's row is refused, new or changed; at its own boat's it stands."""
    wrong = []
    for guard in FOREIGN:
        model, parent = model_of(guard.table), model_of(guard.parent)
        row = model._base_manager.filter(boat=ours.boat).order_by("pk").first()
        rows = model._base_manager.filter(pk=row.pk)
        foreign = parent._base_manager.filter(boat=theirs.boat).order_by("pk").first()
        crossing = {guard.column: foreign.pk}
        if not refuses("belongs to another boat", partial(insert, copy_of(row, **crossing))):
            wrong.append(f"{guard.name} lets a new row in")
        if guard.table in guards.LEDGER:
            continue
        if not refuses("belongs to another boat", partial(rows.update, **crossing)):
            wrong.append(f"{guard.name} lets a row change")
        rows.update(**{guard.column: getattr(row, guard.column)})
    assert len(FOREIGN) > 50
    assert wrong == []


def test_every_row_stays_with_its_boat(ours, theirs):
    """`boat_id` never changes, in any table."""
    wrong = []
    for guard in OF_BOAT:
        model = model_of(guard.table)
        row = model._base_manager.filter(boat=ours.boat).order_by("pk").first()
        why = "is never changed" if guard.table in guards.LEDGER else "stays with its boat"
        move = partial(model._base_manager.filter(pk=row.pk).update, boat=theirs.boat)
        if not (refuses(why, move) or refuses("stays with its boat", move)):
            wrong.append(guard.name)
    assert wrong == []


def test_a_boat_with_a_ledger_cannot_be_deleted(ours):
    """Deleting the boat would take its ledger along."""
    with pytest.raises((IntegrityError, models.ProtectedError)), transaction.atomic():
        ours.boat.delete()
    assert Entry.objects.exists()


def drop(guard: guards.Guard) -> str:
    """Drop one guard behind the program's back; return the name of the trigger."""
    name = guards._names(connection.vendor, guard)[0]
    with connection.cursor() as cursor:
        on = f' ON "{guard.table}"' if connection.vendor == "postgresql" else ""
        cursor.execute(f'DROP TRIGGER "{name}"{on}')
    return name


@pytest.mark.parametrize("guard", [LEDGER[0], OF_BOAT[0], FOREIGN[-1]], ids=lambda guard: guard.kind)
def test_a_guard_that_is_gone_is_missed_by_name(db, guard, capsys):
    """`missing` names it, `check_ledger` fails by it, `install` puts it back."""
    assert guards.missing(connection) == []
    call_command("check_ledger")
    name = drop(guard)
    assert guards.missing(connection) == [name]
    assert list(differences()) == [f"Guard {name} is not in place; run migrate."]
    with pytest.raises(CommandError, match="1 difference found"):
        call_command("check_ledger")
    assert name in capsys.readouterr().out
    guards.install(connection)
    assert guards.missing(connection) == []


def test_a_guard_that_is_switched_off_is_missed(db):
    """PostgreSQL can keep a trigger and not fire it."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute(f'ALTER TABLE {LEDGER[0].table} DISABLE TRIGGER "{LEDGER[0].name}"')
        assert guards.missing(connection) == [LEDGER[0].name]
    else:
        drop(LEDGER[0])
        assert guards.missing(connection) == [LEDGER[0].name]


def test_lifted_guards_come_back(db):
    """The block that empties a test database leaves everything in place, even if it fails."""

    def fail_while_lifted() -> None:
        with guards.lifted(connection):
            assert len(guards.missing(connection)) >= len(GUARDS)
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail_while_lifted()
    assert guards.missing(connection) == []


def changed_name(longest: int) -> models.Field:
    """Return the name of a part as a column of this length."""
    field = models.CharField(max_length=longest)
    field.set_attributes_from_name("name")
    field.model = Part
    return field


def change_the_column(old: models.Field, new: models.Field) -> None:
    """Change the name of a part as a migration would."""
    with connection.schema_editor() as editor:
        editor.alter_field(Part, old, new, strict=True)


@pytest.mark.django_db(transaction=True)
def test_guards_survive_a_migration_that_rebuilds_a_table(monkeypatch):
    """A migration may rebuild any table, and afterwards every guard stands again."""
    make = Factory.start()
    part = make.part()
    foreign = Factory.start("Other Boat", prefix="other").system
    now, longer = Part._meta.get_field("name"), changed_name(121)
    pre_migrate = MigrationExecutor.migrate
    seen = []

    def rebuild(executor, *args, **kwargs):
        seen.append(guards.missing(connection))
        change_the_column(now, longer)
        change_the_column(longer, now)
        return pre_migrate(executor, *args, **kwargs)

    monkeypatch.setattr(MigrationExecutor, "migrate", rebuild)
    call_command("migrate", verbosity=0)
    assert len(seen[0]) >= len(GUARDS)
    assert guards.missing(connection) == []
    with refused("belongs to another boat"):
        Part.objects.filter(pk=part.pk).update(system=foreign)
    assert list(differences()) == []
