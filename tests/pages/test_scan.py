"""Scanning: a label's own address, typed codes, photos of labels and of makers' barcodes."""

import io
import re
import struct
import time
import zlib
from decimal import Decimal

import numpy as np
import pytest
import zxingcpp
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from PIL import Image

from refit.boat.actions import boats, labels, places
from refit.boat.models import Label
from refit.boat.rights import Role
from refit.calc.codes import check_character
from refit.carry.labels import row_of, rows_of_labels
from refit.pages.scanning import gtin_in, shapes
from refit.stores.actions import parts as part_acts
from refit.stores.models import NumberKind, Part
from tests.conftest import signed_in
from tests.factory import Factory
from tests.synthetic import Shot, photo_of

EAN13 = "4006381333931"  # the worked example of EAN-13 in GS1's and many other texts; its check digit is 1


def send(client, *files, **extra):
    return client.post("/scan/", {"photo": list(files), **extra})


def upload(data: bytes, name: str = "photo.jpg") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, data, content_type="image/jpeg")


def snap(place, seed: int = 1, **shot) -> SimpleUploadedFile:
    place = type(place).objects.select_related("area").get(pk=place.pk)
    return upload(photo_of(row_of(place), Shot(**shot), seed), f"{place.mark}.jpg")


def barcode(text: str, kind=zxingcpp.BarcodeFormat.EAN13) -> SimpleUploadedFile:
    drawn = np.asarray(zxingcpp.create_barcode(text, kind).to_image(scale=4))
    out = io.BytesIO()
    Image.fromarray(drawn).save(out, "PNG")
    return upload(out.getvalue(), "barcode.png")


def bomb(side: int = 30_000) -> bytes:
    """A PNG of some kilobytes that says it unfolds to 900 million points."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", side, side, 8, 0, 0, 0, 0)
    rows = zlib.compress(bytes(4_000_000))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


def without_tokens(response) -> str:
    """The page without the tokens of its forms, which differ each time."""
    return re.sub(
        r'name="csrfmiddlewaretoken" value="[^"]+"|"X-CSRFToken": "[^"]+"', "", response.content.decode()
    )


def unused_code(make: Factory) -> str:
    taken = set(Label.objects.values_list("code", flat=True))
    payloads = (f"7{letter}K" for letter in "ABCDEFGHJKMNPQRSTVWXYZ")
    return next(
        code
        for code in (payload + check_character(payload) for payload in payloads)
        if code not in taken and "*" not in code and not set(code) & set("ILOU")
    )


class TestLabelAddress:
    @pytest.mark.parametrize("shape", ["/L/{}", "/l/{}", "/L/{}/"])
    @pytest.mark.parametrize("case", [str.upper, str.lower])
    def test_leads_to_its_place_in_any_case(self, make, as_crew, shape, case):
        place = make.place("S3")
        response = as_crew.get(shape.format(case(place.code)))
        assert response.status_code == 302
        assert response.url == f"/{make.boat.slug}/lockers/{place.code}/"

    def test_takes_look_alikes_blanks_and_hyphens(self, make, as_crew):
        place = make.place("S3")
        Label.objects.filter(code=place.code).update(code="10A" + check_character("10A"))
        place.code = "10A" + check_character("10A")
        place.save()
        typed = "IO-A " + place.code[3]
        assert as_crew.get(f"/L/{typed}").url.endswith(f"/lockers/{place.code}/")

    def test_signed_out_signs_in_and_lands_there(self, make):
        place = make.place("S3")
        response = Client().get(f"/L/{place.code}")
        assert response.status_code == 302
        assert response.url == f"/accounts/sign-in/?next=/L/{place.code}"

    def test_signed_out_a_wrong_code_asks_for_the_name_too(self, make):
        assert "/accounts/sign-in/" in Client().get("/L/zzzz").url

    def test_a_mistyped_code_says_so_with_a_box_to_type_again(self, make, as_crew):
        place = make.place("S3")
        other = "A" if place.code[1] != "A" else "B"
        response = as_crew.get(f"/L/{place.code[0]}{other}{place.code[2:]}")
        assert response.status_code == 404
        assert "one character seems to be wrong" in response.content.decode()
        assert 'name="text"' in response.content.decode()

    def test_not_ours_and_not_yours_look_alike(self, make, as_crew):
        theirs = Factory.start("Other Boat", prefix="their-")
        place = theirs.place("S3")
        nobodys = unused_code(make)
        pages = []
        for code in (place.code, nobodys):
            response = as_crew.get(f"/L/{code}")
            assert response.status_code == 404
            pages.append(without_tokens(response).replace(code, "CODE"))
        assert pages[0] == pages[1]

    def test_what_a_trade_may_not_see_looks_the_same_to_it(self, make, as_trade):
        hidden = make.place("S3")
        pages = []
        for code in (hidden.code, unused_code(make)):
            response = as_trade.get(f"/L/{code}")
            assert response.status_code == 404
            pages.append(without_tokens(response).replace(code, "CODE"))
        assert pages[0] == pages[1]

    def test_a_trade_gets_to_the_place_of_its_jobs_parts(self, make, as_trade):
        place, part = make.place("S3"), make.part("Impeller")
        make.stock(part, place, 2)
        job = make.job("Pump", given_to=make.member(make.trade))
        part_acts.add_need(job, part=part, words="", quantity=Decimal(1))
        assert as_trade.get(f"/L/{place.code}").url == f"/{make.boat.slug}/lockers/{place.code}/"

    def test_an_outsider_finds_nothing(self, make, as_outsider):
        place = make.place("S3")
        assert as_outsider.get(f"/L/{place.code}").status_code == 404

    def test_a_blank_label_asks_what_it_is_for(self, make, as_crew, as_viewer, as_trade):
        blank = labels.mint(make.boat, 1)[0]
        assert as_crew.get(f"/L/{blank.code}").url == f"/{make.boat.slug}/labels/{blank.code}/"
        seen = as_viewer.get(f"/L/{blank.code}")
        assert seen.status_code == 200
        assert "for no place yet" in seen.content.decode()
        assert as_trade.get(f"/L/{blank.code}").status_code == 404

    def test_the_same_code_on_two_boats_asks_which(self, make):
        theirs = Factory.start("Other Boat", prefix="their-")
        boats.add_member(theirs.boat, make.crew, Role.CREW)
        one, other = make.place("S3"), theirs.place("Q9")
        Label.objects.filter(location=other).update(code=one.code)
        type(other).objects.filter(pk=other.pk).update(code=one.code)
        response = signed_in(make.crew).get(f"/L/{one.code}")
        page = response.content.decode()
        assert response.status_code == 200
        assert f"/{make.boat.slug}/lockers/{one.code}/" in page
        assert f"/{theirs.boat.slug}/lockers/{one.code}/" in page

    def test_an_earlier_label_leads_to_the_place_still(self, make, as_crew):
        place = make.place("S3")
        earlier = place.code
        fresh = labels.mint(make.boat, 1)[0]
        labels.bind(fresh, place)
        assert as_crew.get(f"/L/{earlier}").url.endswith(f"/lockers/{fresh.code}/")

    def test_a_post_is_refused(self, make, as_crew):
        assert as_crew.post(f"/L/{make.place('S3').code}").status_code == 405

    @pytest.mark.parametrize("code", ["%3Cscript%3E", "%00%00%00%00", "A" * 40, "😀", "..", "=1+1"])
    def test_odd_codes_are_not_found_and_escaped(self, make, as_crew, code):
        response = as_crew.get(f"/L/{code}")
        assert response.status_code == 404
        assert "<script>x" not in response.content.decode()
        assert "<script></" not in response.content.decode()

    def test_few_queries(self, make, as_crew, django_assert_num_queries):
        place = make.place("S3")
        for _ in range(5):
            make.place()
        with django_assert_num_queries(5):  # session, person, boats, the boat again, the label
            as_crew.get(f"/L/{place.code}")


class TestTyped:
    def test_four_characters_in_any_case_lead_to_the_label(self, make, as_crew):
        place = make.place("S3")
        assert as_crew.get("/scan/", {"text": place.code.lower()}).url == f"/L/{place.code}"

    @pytest.mark.parametrize(
        "before", ["http://boat.local:8000", "https://evil.example", "HTTP://192.168.1.4:8000", "", "//x"]
    )
    def test_an_address_of_any_host_leads_to_our_own(self, make, as_crew, before):
        place = make.place("S3")
        assert as_crew.get("/scan/", {"text": f"{before}/L/{place.code}"}).url == f"/L/{place.code}"

    def test_a_mark_leads_to_its_place(self, make, as_crew, as_trade):
        place = make.place("S3")
        assert as_crew.get("/scan/", {"text": " s 3"}).url == f"/{make.boat.slug}/lockers/{place.code}/"
        assert as_trade.get("/scan/", {"text": "S3"}).status_code == 404

    @pytest.mark.parametrize(
        "text", ["nonsense", "<script>alert(1)</script>", "=cmd|x", "x" * 5000, "a\x00b", "4006381333932"]
    )
    def test_anything_else_says_so_and_is_escaped(self, make, as_crew, text):
        response = as_crew.get("/scan/", {"text": text})
        assert response.status_code == 404
        assert "<script>alert" not in response.content.decode()
        assert "not a label code" in response.content.decode()

    def test_signed_out_comes_back_here(self, make):
        response = Client().get("/scan/", {"text": "7K2A"})
        assert response.url == "/accounts/sign-in/?next=/scan/%3Ftext%3D7K2A"

    def test_a_barcode_opens_its_part_in_any_length(self, make, as_crew):
        part = make.part("Filter")
        part_acts.add_number(part, kind=NumberKind.GTIN, number="036000291452")
        for typed in ("036000291452", "0036000291452", "00036000291452", "0 36000 29145 2"):
            assert as_crew.get("/scan/", {"text": typed}).url == f"/{make.boat.slug}/parts/{part.pk}/"

    def test_a_new_barcode_offers_to_make_the_part(self, make, as_crew, as_viewer):
        response = as_crew.get("/scan/", {"text": EAN13})
        assert response.status_code == 200
        assert f"/{make.boat.slug}/parts/new/?gtin={EAN13}" in response.content.decode()
        assert "/parts/new/" not in as_viewer.get("/scan/", {"text": EAN13}).content.decode()
        assert not Part.objects.exists()

    def test_another_boats_barcode_is_new_here(self, make, as_crew):
        theirs = Factory.start("Other Boat", prefix="their-")
        part_acts.add_number(theirs.part("Filter"), kind=NumberKind.GTIN, number=EAN13)
        page = as_crew.get("/scan/", {"text": EAN13}).content.decode()
        assert "No part of yours" in page
        assert "Filter" not in page

    def test_check_digits_by_gs1(self):
        # GS1 General Specifications, check digit calculation: 6291041500213 is its worked example.
        assert gtin_in("6291041500213") == "6291041500213"
        assert gtin_in("6291041500214") is None
        assert gtin_in("629104150021") is None
        assert "036000291452" in shapes("0036000291452")


@pytest.mark.usefixtures("clean_ledger")
class TestPhotos:
    def test_a_photo_of_a_label_lands_on_its_place(self, make, as_crew):
        place = make.place("S3", name="Pilot berth, outboard")
        response = send(as_crew, snap(place))
        assert response.status_code == 302
        assert response.url == f"/{make.boat.slug}/lockers/{place.code}/"

    def test_twelve_megapixels_dim_and_skewed_within_seconds(self, make, as_crew):
        place = make.place("S3")
        photo = snap(place, seed=4, megapixels=12, square_px=9, tilt=30, turn=40, light=0.3, blur=0.2)
        began = time.process_time()  # what else the machine does meanwhile is not the reader's
        assert send(as_crew, photo).url == f"/{make.boat.slug}/lockers/{place.code}/"
        assert time.process_time() - began < 8

    def test_several_photos_list_the_places_and_what_was_not_read(self, make, as_crew):
        one, other = make.place("S3"), make.place("P1")
        grey = io.BytesIO()
        Image.new("L", (800, 600), 90).save(grey, "JPEG")
        response = send(as_crew, snap(one), snap(other, 2), upload(grey.getvalue(), "dark <b>.jpg"))
        page = response.content.decode()
        assert response.status_code == 200
        assert f"/{make.boat.slug}/lockers/{one.code}/" in page
        assert f"/{make.boat.slug}/lockers/{other.code}/" in page
        assert "Hold still, come closer, find more light." in page
        assert "dark &lt;b&gt;.jpg" in page

    def test_a_viewer_is_not_sent_where_only_others_may_go(self, make, as_viewer):
        blank, place = labels.mint(make.boat, 1)[0], make.place("S3")
        photo = upload(photo_of(rows_of_labels([blank])[0], Shot(), 3))
        page = send(as_viewer, photo, snap(place)).content.decode()
        assert f'href="/L/{blank.code}"' in page
        assert f"/labels/{blank.code}/" not in page

    def test_another_boats_label_in_a_photo_is_not_named(self, make, as_crew):
        theirs = Factory.start("Other Boat", prefix="their-")
        response = send(as_crew, snap(theirs.place("Q9", name="Their secret")))
        assert response.status_code == 422
        assert "that is yours to open" in response.content.decode()
        assert "Their secret" not in response.content.decode()

    def test_a_blank_label_in_a_photo_asks_what_it_is_for(self, make, as_crew):
        blank = labels.mint(make.boat, 1)[0]
        photo = upload(photo_of(rows_of_labels([blank])[0], Shot(), 3))
        assert send(as_crew, photo).url == f"/{make.boat.slug}/labels/{blank.code}/"

    def test_a_barcode_opens_its_part(self, make, as_crew):
        part = make.part("Filter")
        part_acts.add_number(part, kind=NumberKind.GTIN, number=EAN13)
        assert send(as_crew, barcode(EAN13)).url == f"/{make.boat.slug}/parts/{part.pk}/"

    def test_a_twelve_figure_barcode_is_the_same_number(self, make, as_crew):
        part = make.part("Filter")
        part_acts.add_number(part, kind=NumberKind.GTIN, number="036000291452")
        photo = barcode("036000291452", zxingcpp.BarcodeFormat.UPCA)
        assert send(as_crew, photo).url == f"/{make.boat.slug}/parts/{part.pk}/"

    def test_a_new_barcode_offers_to_make_the_part(self, make, as_crew):
        page = send(as_crew, barcode(EAN13)).content.decode()
        assert f"/parts/new/?gtin={EAN13}" in page

    def test_a_strange_code_is_named_and_leads_nowhere(self, make, as_crew):
        drawn = np.asarray(
            zxingcpp.create_barcode("http://evil.example/", zxingcpp.BarcodeFormat.QRCode).to_image(scale=6)
        )
        out = io.BytesIO()
        Image.fromarray(drawn).save(out, "PNG")
        response = send(as_crew, upload(out.getvalue()))
        assert response.status_code == 422
        assert "is not one of our labels" in response.content.decode()
        assert 'href="http://evil' not in response.content.decode()

    @pytest.mark.parametrize(
        ("data", "said"),
        [
            (b"%PDF-1.4\n1 0 obj\n%%EOF", "not a whole JPEG"),
            (b"", "not a whole JPEG"),
            (b"<svg onload=alert(1)>", "not a whole JPEG"),
            (bomb(), "40 megapixels"),
        ],
        ids=["pdf", "empty", "svg", "bomb"],
    )
    def test_what_is_no_photo_is_refused_kindly(self, make, as_crew, data, said):
        file = upload(data) if data else SimpleUploadedFile("empty.jpg", b" ")
        response = send(as_crew, file)
        assert response.status_code == 422
        assert said in response.content.decode()

    def test_more_than_twenty_are_refused_by_number(self, make, as_crew):
        response = send(as_crew, *[upload(b"x") for _ in range(21)])
        assert response.status_code == 422
        assert "That is 21 photos" in response.content.decode()

    def test_no_photo_is_asked_for(self, make, as_crew):
        response = as_crew.post("/scan/", {})
        assert response.status_code == 422
        assert "Take a photo of the label first" in response.content.decode()

    def test_signed_out_reads_nothing(self, make):
        response = send(Client(), upload(b"x"))
        assert response.url == "/accounts/sign-in/?next=/scan/"

    def test_as_many_queries_with_four_labels_as_with_two(self, make, as_crew, django_assert_num_queries):
        boards = [make.place() for _ in range(4)]
        for count in (2, 4):
            photos = [snap(place, 7) for place in boards[:count]]
            with django_assert_num_queries(5):
                send(as_crew, *photos)

    def test_a_retired_place_says_so_in_the_list(self, make, as_crew):
        one, other = make.place("S3"), make.place("P1")
        places.retire_empty(one, other)
        page = send(as_crew, snap(one), snap(other)).content.decode()
        assert "no longer in use" in page
