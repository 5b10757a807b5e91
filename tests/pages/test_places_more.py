"""Swapping two labels, and how many queries the pages about places take."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from refit.boat.models import Label
from tests.factory import Factory
from tests.pages.test_places import at, undo_of

pytestmark = pytest.mark.usefixtures("clean_ledger")


class TestSwap:
    def test_swaps_and_swaps_back_once(self, make, as_crew):
        one, other = make.place("S1"), make.place("S2")
        codes = (one.code, other.code)
        as_crew.post(at(make, "swap/"), {"one": "S1", "other": "S2"})
        self.assert_codes(one, other, codes[::-1])
        undo = undo_of(as_crew)
        as_crew.post(undo)
        self.assert_codes(one, other, codes)
        assert as_crew.post(undo).status_code == 422
        self.assert_codes(one, other, codes)

    def assert_codes(self, one, other, codes):
        one.refresh_from_db()
        other.refresh_from_db()
        assert (one.code, other.code) == codes
        assert Label.objects.get(code=codes[0]).location == one

    def test_refuses_one_place_another_boats_and_none(self, make, as_crew):
        one = make.place("S1")
        theirs = Factory.start("Other Boat", prefix="their-").place("Q9")
        for to in ("S1", theirs.code, "Q9", ""):
            assert as_crew.post(at(make, "swap/"), {"one": "S1", "other": to}).status_code == 422
        assert Label.objects.get(code=one.code).location == one


class TestQueries:
    @pytest.mark.parametrize(
        "address", ["new/", "quick/", "swap/", "{code}/into/", "{code}/retire/", "{code}/change/"]
    )
    def test_as_many_with_100_places_as_with_10(self, make, as_crew, address):
        place = make.place("X1")
        counts = []
        for more in (10, 90):
            for _ in range(more):
                make.stock(make.part(), make.place(parent=place if more == 10 else None))
            with CaptureQueriesContext(connection) as queries:
                as_crew.get(at(make, address.format(code=place.code)))
            counts.append(len(queries))
        assert counts[0] == counts[1] <= 9
