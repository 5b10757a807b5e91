"""Tests are dealt out so that nothing is set up in two processes."""

import ast
from pathlib import Path

import pytest

from tests.together import FILES, kept_together

TESTS = Path(__file__).resolve().parent


@pytest.mark.parametrize(
    ("nodeid", "scope"),
    [
        ("tests/calc/test_money.py::test_a[x::y]", "tests/calc/test_money.py::test_a[x::y]"),
        ("tests/carry/test_demo.py::TheDemo::test_a", "tests/carry/test_demo.py::TheDemo"),
        ("tests/pages/test_places.py::TestNew::test_a[b::c]", "tests/pages/test_places.py::TestNew"),
        ("tests/carry/test_serve.py::test_a", "tests/carry/test_serve.py"),
    ],
)
def test_a_class_goes_together_and_a_file_where_it_must(nodeid, scope):
    assert kept_together(nodeid) == scope


def test_every_file_with_a_set_up_of_its_own_is_known():
    """A fixture of the whole file would else be made in each process."""
    found = set()
    for path in TESTS.rglob("test_*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if (
                isinstance(node, ast.keyword)
                and node.arg == "scope"
                and ast.unparse(node.value) == "'module'"
            ):
                found.add(path.relative_to(TESTS.parent).as_posix())
    assert found == FILES
