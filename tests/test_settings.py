"""Settings: what was measured to matter, and wrong values that fail loudly."""

import stat

import pytest
from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.db import connection

from refit import environment


def test_sqlite_waits_instead_of_dying(db):
    """Write-ahead log, whole synchronisation, foreign keys, and transactions that lock when they begin."""
    if connection.vendor != "sqlite":
        assert connection.settings_dict["ATOMIC_REQUESTS"] is False
        return
    assert connection.settings_dict["OPTIONS"]["transaction_mode"] == "IMMEDIATE"
    assert connection.settings_dict["OPTIONS"]["timeout"] >= 20
    found = {}
    with connection.cursor() as cursor:
        for name in ("journal_mode", "synchronous", "foreign_keys"):
            found[name] = cursor.execute(f"PRAGMA {name}").fetchone()[0]
    assert found == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1}


def test_nothing_is_asked_of_the_world():
    """Pages load nothing from elsewhere, and no page may run a script written into it."""
    directives = settings.CONTENT_SECURITY_POLICY["DIRECTIVES"]
    assert directives["default-src"] == ["'self'"]
    allowed = {source for sources in directives.values() for source in sources}
    assert allowed <= {"'self'", "'none'", "data:", "blob:"}


def test_no_lock_to_another_scheme():
    """HSTS would move printed labels to another scheme on the same port."""
    assert not settings.SECURE_HSTS_SECONDS
    assert not settings.SECURE_SSL_REDIRECT
    assert settings.SESSION_COOKIE_SAMESITE == "Lax"
    assert settings.DEBUG is False


def test_the_secret_key_is_made_once_for_its_owner_only(tmp_path, monkeypatch):
    """A second start reads the same; a key that is given wins."""
    monkeypatch.delenv("SECRET_KEY", raising=False)
    folder = tmp_path / "data"
    made = environment.secret_key(folder)
    assert len(made) > 60
    assert environment.secret_key(folder) == made
    assert stat.S_IMODE((folder / "secret_key").stat().st_mode) == 0o600
    monkeypatch.setenv("SECRET_KEY", "given")
    assert environment.secret_key(folder) == "given"


@pytest.mark.parametrize(
    "given", ["boat.local", "ftp://boat.local", "http://", "http://boat.local/x", "http://b/?q"]
)
def test_an_address_that_labels_could_not_lead_to(given, monkeypatch):
    """Said at the start, not after a sheet was printed."""
    monkeypatch.setenv("REFIT_ADDRESS", given)
    with pytest.raises(ImproperlyConfigured, match="REFIT_ADDRESS"):
        environment.label_address()


@pytest.mark.parametrize(
    ("given", "meant"),
    [
        ("", "http://boat.local:8000"),
        ("http://10.0.0.5:8000/", "http://10.0.0.5:8000"),
        ("https://x.lan", "https://x.lan"),
    ],
)
def test_an_address_that_labels_lead_to(given, meant, monkeypatch):
    """Without a slash at the end."""
    monkeypatch.setenv("REFIT_ADDRESS", given)
    assert environment.label_address() == meant


def test_the_data_folder(tmp_path, monkeypatch):
    """Where the variable says, else beside the program; cookies differ between two folders."""
    monkeypatch.delenv("REFIT_DATA", raising=False)
    assert environment.data_folder(tmp_path) == tmp_path / "data" / "boat"
    monkeypatch.setenv("REFIT_DATA", "elsewhere")
    assert environment.data_folder(tmp_path) == tmp_path / "elsewhere"
    assert environment.cookie_suffix(tmp_path) != environment.cookie_suffix(tmp_path / "b")
