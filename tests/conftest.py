"""The fixed cast (owner, crew, trade, viewer, outsider) on one boat, and what every test that writes must leave."""

import os

os.environ.setdefault("REFIT_DATA", "/tmp/refit-tests-data")

import pytest
from django.conf import settings
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client, TransactionTestCase

from refit.carry.ledger import differences
from tests import emptying
from tests.factory import Factory
from tests.once import Cast, share_served_files
from tests.together import Together

share_served_files()
# A quick one first: what is slow on purpose about passwords is Django's to test.
settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher", *settings.PASSWORD_HASHERS]
TransactionTestCase._fixture_teardown = lambda self: emptying.empty(connection)


def pytest_xdist_make_scheduler(config, log):
    """Keep together in one process what is set up once for a class or a file; else each process sets it up."""
    return Together(config, log)


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup, django_db_blocker):
    """The test database, dropped at the end even if a served page's thread has not hung up yet."""
    yield
    if connection.vendor == "postgresql":
        with django_db_blocker.unblock(), connection.cursor() as cursor:
            cursor.execute(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
                " WHERE datname = current_database() AND pid <> pg_backend_pid()"
            )


@pytest.fixture(autouse=True)
def papers(settings, tmp_path):
    """Keep each test's papers in a folder of its own."""
    settings.PAPERS_DIR = tmp_path / "papers"


@pytest.fixture(scope="session")
def cast_of_a_boat() -> Cast:
    """Keep what the actions make of the cast, to write it again for each test."""
    return Cast()


@pytest.fixture
def make(db, cast_of_a_boat) -> Factory:
    """Return the factory: one boat in pounds with its cast, areas and systems."""
    return cast_of_a_boat.make()


@pytest.fixture
def clean_ledger(db):
    """Assert, after the test, that the ledger is clean."""
    yield
    assert list(differences()) == []


@pytest.fixture
def as_owner(make) -> Client:
    return signed_in(make.owner)


@pytest.fixture
def as_crew(make) -> Client:
    return signed_in(make.crew)


@pytest.fixture
def as_trade(make) -> Client:
    return signed_in(make.trade)


@pytest.fixture
def as_viewer(make) -> Client:
    return signed_in(make.viewer)


@pytest.fixture
def as_outsider(make) -> Client:
    return signed_in(make.outsider)


def signed_in(user: User) -> Client:
    """Return a client signed in as this person."""
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client
