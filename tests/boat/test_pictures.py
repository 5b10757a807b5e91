"""What an uploaded file really is: HEIC as phones keep it, the pixel limit, the JPEG that is shown of it."""

import io

import pytest
from PIL import Image

from refit.boat import pictures
from refit.boat.pictures import HEIC, check, thumbnail
from refit.boat.refusals import Refused


def heic(size=(120, 80), colour=(200, 40, 40)) -> bytes:
    """Return a small picture as many phones keep theirs."""
    out = io.BytesIO()
    Image.new("RGB", size, colour).save(out, "HEIF")
    return out.getvalue()


def test_heic_is_known_by_its_content():
    checked = check(heic())
    assert checked.content_type == HEIC
    assert checked.data == heic()
    assert pictures.SUFFIXES[checked.content_type] == ".heic"


def test_a_small_jpeg_is_made_of_it():
    with Image.open(io.BytesIO(thumbnail(heic(), 60))) as small:
        assert (small.format, small.size) == ("JPEG", (60, 40))
        red, green, blue = small.convert("RGB").getpixel((30, 20))
    assert red > 150
    assert max(green, blue) < 90


def test_a_photo_turned_on_its_side_stands_upright():
    out = io.BytesIO()
    sideways = Image.new("RGB", (120, 80), "teal")
    turned = sideways.getexif()
    turned[0x0112] = 6
    sideways.save(out, "HEIF", exif=turned.tobytes())
    with Image.open(io.BytesIO(thumbnail(out.getvalue(), 60))) as small:
        assert small.size == (40, 60)


def test_the_pixel_limit_holds_before_it_is_unfolded(monkeypatch):
    large = heic()
    monkeypatch.setattr(pictures, "MOST_PIXELS", 120 * 80 - 1)
    monkeypatch.setattr(Image.Image, "load", lambda self: pytest.fail("it was unfolded"))
    with pytest.raises(Refused) as refused:
        check(large)
    assert refused.value.code == "too_large"


@pytest.mark.parametrize("kept", [20, 100, 300, -10])
def test_half_a_photo_is_refused(kept):
    with pytest.raises(Refused) as refused:
        check(heic()[:kept])
    assert refused.value.code == "not_a_picture"


@pytest.mark.parametrize("kind", ["GIF", "BMP", "TIFF", "ICO"])
def test_other_pictures_are_refused(kind):
    out = io.BytesIO()
    Image.new("RGB", (40, 40), "teal").save(out, kind)
    with pytest.raises(Refused) as refused:
        check(out.getvalue())
    assert refused.value.code == "not_a_picture"


def test_a_film_in_the_same_wrapping_is_refused():
    """The wrapping of HEIC (ISO 14496-12) is that of films too."""
    data = heic().replace(b"ftypheic", b"ftypisom").replace(b"mif1heic", b"isomavc1")
    with pytest.raises(Refused) as refused:
        check(data)
    assert refused.value.code == "not_a_picture"
