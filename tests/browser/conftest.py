"""A real browser at a phone's size. Fails, not skips, where `CI` is set and no browser is found."""

import os
import shutil

import pytest
from django.db import connections

# A thread of the served pages gives its connection back after each answer, so that none outlives the test.
connections["default"].settings_dict["CONN_MAX_AGE"] = 0
connections.settings["default"]["CONN_MAX_AGE"] = 0

# The browser's driver runs a loop of its own in this thread; the tests themselves are plain.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")

CHROMIUM = next(
    (path for name in ("chromium", "chromium-browser", "google-chrome") if (path := shutil.which(name))), None
)
PHONE = {"width": 390, "height": 844}
DESK = {"width": 1280, "height": 800}


@pytest.fixture(scope="session")
def browser_type_launch_args():
    if CHROMIUM is None:
        if os.environ.get("CI"):
            pytest.fail("CI is set and no browser was found: install chromium.")
        pytest.skip("No browser on this machine: install chromium to run these tests.")
    quiet = [
        "--disable-gpu",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
    ]
    sandbox = ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
    return {"executable_path": CHROMIUM, "args": [*quiet, *sandbox]}


@pytest.fixture
def browser_context_args(browser_context_args):
    return {**browser_context_args, "viewport": PHONE, "has_touch": True, "locale": "en-GB"}


@pytest.fixture(autouse=True)
def closed_after(browser):
    """Close whatever a test opened, so that no thread goes on answering it."""
    yield
    for context in list(browser.contexts):
        context.close()
