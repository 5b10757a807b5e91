"""What an uploaded file really is, found from its content.

Accepts JPEG, PNG, WebP, HEIC and PDF; refuses everything else, and pictures that would unfold to more than can be held.
Makes the JPEG that is shown where a browser may not know the picture's own kind.
"""

import hashlib
import io
import warnings
from dataclasses import dataclass

from PIL import Image, ImageOps, UnidentifiedImageError
from pillow_heif import register_heif_opener

from refit.boat.refusals import Refused

MOST_PIXELS = 40_000_000
MOST_BYTES = 25 * 1024 * 1024
HEIC = "image/heic"
TYPES = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp", "HEIF": HEIC}
SUFFIXES = {
    "image/jpeg": ".jpg",
    "image/png": ".png",
    "image/webp": ".webp",
    HEIC: ".heic",
    "application/pdf": ".pdf",
}
SHOWN_EDGE = 2400  # sharp enough to read a till receipt by

# Many phones keep their photos as HEIC; the preview that some carry inside is of no use here.
register_heif_opener(thumbnails=False)


@dataclass(frozen=True)
class Checked:
    """A file that is what it says: its bytes, media type and digest."""

    data: bytes
    content_type: str
    sha256: str


def check(data: bytes) -> Checked:
    """Return the file with its true type, or raise `Refused` with what is wrong."""
    if not data:
        raise Refused("The file is empty. Take the photo again.", code="empty")
    if len(data) > MOST_BYTES:
        raise Refused("The file is over 25 MB. Send a smaller one.", code="too_large")
    if data.startswith(b"%PDF-") and b"%%EOF" in data[-2048:]:
        return Checked(data, "application/pdf", hashlib.sha256(data).hexdigest())
    kind = _picture_type(data)
    return Checked(data, kind, hashlib.sha256(data).hexdigest())


def _picture_type(data: bytes) -> str:
    wrong = Refused(
        "This file is not a JPEG, PNG, WebP or HEIC picture, nor a PDF. Take a photo, or save it as one of these.",
        code="not_a_picture",
    )
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # the size is judged below, before anything is unfolded
            with Image.open(io.BytesIO(data), formats=tuple(TYPES)) as picture:
                if picture.width * picture.height > MOST_PIXELS:
                    raise Refused(
                        f"The picture has {picture.width} × {picture.height} points; at most 40 million are taken.",
                        code="too_large",
                    )
                kind = TYPES[picture.format or ""]
                picture.load()
                return kind
    except Refused:
        raise
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, KeyError, EOFError, RuntimeError):
        raise wrong from None
    except Image.DecompressionBombError:
        raise Refused(
            "The picture is too large; at most 40 million points are taken.", code="too_large"
        ) from None


def thumbnail(data: bytes, edge: int) -> bytes:
    """Return a JPEG of the picture, upright, no edge longer than `edge` points."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with Image.open(io.BytesIO(data), formats=tuple(TYPES)) as picture:
            upright = ImageOps.exif_transpose(picture)
            upright.thumbnail((edge, edge))
            out = io.BytesIO()
            upright.convert("RGB").save(out, "JPEG", quality=82)
            return out.getvalue()
