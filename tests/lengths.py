"""A long list takes as many queries as a short one: the boat is filled once for all the pages that are asked."""

from typing import Any

from django.db import connection
from django.test import TestCase
from django.test.utils import CaptureQueriesContext

from tests.conftest import signed_in
from tests.factory import Factory


class Lengths(TestCase):
    """Fills a boat with few things and then with many, and asks each page both times.

    A class of tests names its `pages` (address within the boat and query, by a name), says how it is `filled`, and
    compares in each test what one page took.
    """

    __test__ = False  # not by itself
    steps = (10, 100)
    reader = "owner"
    pages: dict[str, tuple[str, dict[str, str]]] = {}

    def __init_subclass__(cls) -> None:
        cls.__test__ = True

    @classmethod
    def filled(cls, make: Factory, count: int) -> None:
        raise NotImplementedError

    @classmethod
    def setUpTestData(cls) -> None:
        make = Factory.start()
        cls.taken: dict[str, list[int]] = {name: [] for name in cls.pages}
        client = signed_in(getattr(make, cls.reader))
        for count in cls.steps:
            cls.filled(make, count)
            for name, (end, query) in cls.pages.items():
                with CaptureQueriesContext(connection) as asked:
                    cls.answered(client.get(f"/{make.boat.slug}/{end.format(**cls.words(make))}", query))
                cls.taken[name].append(len(asked))

    @classmethod
    def words(cls, make: Factory) -> dict[str, Any]:
        """Return what stands in braces in the addresses."""
        return {}

    @staticmethod
    def answered(response: Any) -> None:
        assert response.status_code == 200
