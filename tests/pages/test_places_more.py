"""Swapping two labels, and how many queries the pages about places take."""

import pytest

from refit.boat.models import Label
from tests.factory import Factory
from tests.lengths import Lengths
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


class TestAsManyQueriesWith100PlacesAsWith10(Lengths):
    pages = {
        name: (f"lockers/{name}", {})
        for name in ("new/", "quick/", "swap/", "{code}/into/", "{code}/retire/", "{code}/change/")
    }
    steps = (10, 90)
    reader = "crew"

    @classmethod
    def filled(cls, make, count):
        if count == 10:
            cls.place = make.place("X1")
        for _ in range(count):
            make.stock(make.part(), make.place(parent=cls.place if count == 10 else None))

    @classmethod
    def words(cls, make):
        return {"code": cls.place.code}

    def same(self, name):
        few, many = self.taken[name]
        assert few == many <= 9

    def test_a_new_one(self):
        self.same("new/")

    def test_the_quick_list(self):
        self.same("quick/")

    def test_swapping(self):
        self.same("swap/")

    def test_what_is_in_it(self):
        self.same("{code}/into/")

    def test_retiring(self):
        self.same("{code}/retire/")

    def test_changing(self):
        self.same("{code}/change/")
