"""What all lists share: the order asked for, folded words, pages of 50, the list as a file, the boat's identity."""

from types import SimpleNamespace

import pytest
from django.http import QueryDict
from django.urls import reverse

from refit.boat.identity import identity
from refit.boat.models import Location
from refit.pages.lists import A_PAGE, FoldedFilter, exported, folded_words, listed, order
from refit.reports.workbook import Column, Kind
from refit.stores.models import Part

KEYS = {"mark": ("mark_sort", "name"), "newest": ("-id",)}


def asked(make=None, **query):
    get = QueryDict(mutable=True)
    get.update(query)
    boat = make.boat if make else None
    return SimpleNamespace(GET=get, boat=boat, today=make.today if make else None)


@pytest.mark.parametrize(
    ("sort", "columns"),
    [
        ("", ["mark_sort", "name", "id"]),
        ("mark", ["mark_sort", "name", "id"]),
        ("-mark", ["-mark_sort", "name", "id"]),
        ("newest", ["-id"]),
        ("-newest", ["id"]),
        ("password", ["mark_sort", "name", "id"]),
        ("--mark", ["mark_sort", "name", "id"]),
        ("mark_sort", ["mark_sort", "name", "id"]),
    ],
)
def test_a_list_is_ordered_only_by_what_its_table_names(sort, columns):
    assert order(asked(sort=sort), KEYS) == columns


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", []),
        (" - ", []),
        ("Impeller 57", ["impeller", "57"]),
        ("M8 × 40", ["m8x40"]),
        ("09 1027-B", ["09", "1027b"]),
        ("Ångström", ["angstrom"]),
    ],
)
def test_words_to_look_for_are_folded(text, words):
    assert folded_words(text) == words


@pytest.mark.django_db
def test_folded_words_are_looked_for_in_several_columns(make):
    make.place("S3", name="Pilot berth")
    make.place("P1", name="Berth S-3")
    make.place("P2", name="Sink")
    sieve = FoldedFilter("mark_folded", "folded")
    found = sieve.filter(Location.objects.exclude(mark="").order_by("id"), "s3")
    assert [place.mark for place in found] == ["S3", "P1"]
    assert sieve.filter(found, "").count() == 2


@pytest.mark.django_db
def test_marks_are_sorted_as_people_count(make):
    for mark in ("S10", "S2", "P1"):
        make.place(mark)
    places = Location.objects.exclude(mark="")
    assert [place.mark for place in listed(asked(), places, KEYS).rows] == ["P1", "S2", "S10"]
    assert [place.mark for place in listed(asked(sort="-mark"), places, KEYS).rows] == ["S10", "S2", "P1"]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("page", "first", "many"),
    [
        ("1", 0, A_PAGE),
        ("3", 100, 5),
        ("9999999999999999999999", 100, 5),
        ("-1", 100, 5),
        ("x", 0, A_PAGE),
        ("", 0, A_PAGE),
    ],
)
def test_a_list_comes_in_pages_of_fifty(make, page, first, many):
    Part.objects.bulk_create(Part(boat=make.boat, name=f"Part {n:03}", search="part") for n in range(105))
    listing = listed(asked(page=page), Part.objects.all(), {"name": ("name",)})
    assert listing.rows[0].name == f"Part {first:03}"
    assert len(listing.rows) == many


@pytest.mark.django_db
def test_the_pages_keep_the_sieve_and_the_order(make, as_owner):
    Part.objects.bulk_create(Part(boat=make.boat, name=f"Clip {n:03}", search="clip") for n in range(60))
    address = reverse("pages:parts", args=[make.boat.slug])
    page = as_owner.get(address, {"text": "clip", "sort": "-name"}).content.decode()
    assert "1 to 50 of 60" in page
    assert "?text=clip&amp;sort=-name&amp;page=2" in page
    assert "?text=clip&amp;sort=-name&amp;export=xlsx" in page
    assert 'aria-sort="descending"' in page


@pytest.mark.django_db
def test_a_file_holds_the_whole_list_and_not_only_a_page(make):
    Part.objects.bulk_create(Part(boat=make.boat, name=f"Part {n:04}", search="part") for n in range(1203))
    lots = []

    def lines(parts):
        lots.append(len(parts))
        return [[part.name, part.minimum] for part in parts]

    request = asked(make, export="csv", page="2")
    listing = listed(request, Part.objects.all(), {"name": ("name",)})
    columns = [Column("Part"), Column("Least", Kind.NUMBER)]
    answer = exported(request, "Parts", columns, listing, lines)
    rows = answer.content.decode("utf-8-sig").splitlines()
    assert len(rows) == 1204
    assert rows[1] == '"Part 0000","0"'
    assert lots == [500, 500, 203]
    for other in ("", "pdf", "XLSX"):
        assert exported(asked(make, export=other), "Parts", columns, listing, lines) is None


@pytest.mark.django_db
def test_the_identity_names_what_is_known_of_the_boat(make):
    boat = make.boat
    assert identity(boat)[0] == "Test Boat"
    boat.hull_number, boat.flag, boat.call_sign = "GB-ABC12345D679", "Testland", "MABC1"
    said = " | ".join(identity(boat))
    for words in ("GB-ABC12345D679", "Testland", "MABC1"):
        assert words in said
    assert "None" not in said
