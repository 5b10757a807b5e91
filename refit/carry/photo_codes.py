"""Reading codes out of a photo: our labels, and makers' barcodes.

Decides what counts as a picture and how hard to look. What a code means is decided by whoever asks.
"""

import io
import struct
import zlib
from dataclasses import dataclass

import zxingcpp
from PIL import Image, ImageFilter, ImageOps

PICTURES = ("JPEG", "PNG", "WEBP")
MOST_PIXELS = 40_000_000
FEW_PIXELS = 3_000_000

KINDS = {
    zxingcpp.BarcodeFormat.QRCode: "qr",
    zxingcpp.BarcodeFormat.DataMatrix: "datamatrix",
    zxingcpp.BarcodeFormat.EAN13: "ean13",
    zxingcpp.BarcodeFormat.EAN8: "ean8",
    zxingcpp.BarcodeFormat.UPCA: "upca",
    zxingcpp.BarcodeFormat.UPCE: "upce",
}


@dataclass(frozen=True)
class Found:
    """One code in a photo: what kind ("qr", "ean13" ...) and what it says."""

    kind: str
    text: str


class PhotoProblem(ValueError):
    """A file that is not looked at; code is "not_a_picture" or "too_large"."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code


def open_photo(data: bytes) -> Image.Image:
    """Open a JPEG, PNG or WebP upright and in greys; refuse everything else before it fills the memory."""
    try:
        with Image.open(io.BytesIO(data), formats=PICTURES) as picture:
            if picture.width * picture.height > MOST_PIXELS:
                raise _too_large()
            picture.draft("L", picture.size)  # a JPEG then skips its colours
            picture.load()
            return _grey(ImageOps.exif_transpose(picture))
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise _too_large() from error
    except PhotoProblem:
        raise
    # Pillow's readers let all of these out on broken files.
    except (OSError, ValueError, SyntaxError, EOFError, LookupError, ArithmeticError) as error:
        raise _not_a_picture() from error
    except (struct.error, zlib.error, TypeError) as error:
        raise _not_a_picture() from error


def read_codes(data: bytes) -> list[Found]:
    """List the codes in a photo, each once, in the order found; empty when none can be read."""
    photo = open_photo(data)
    found = _look(photo)
    found += _look(_another(photo))
    return list(dict.fromkeys(found))


def _too_large() -> PhotoProblem:
    return PhotoProblem("too_large", "This picture has more than 40 megapixels. Send a smaller one.")


def _not_a_picture() -> PhotoProblem:
    return PhotoProblem(
        "not_a_picture", "This is not a whole JPEG, PNG or WebP picture. Take the photo again."
    )


def _grey(picture: Image.Image) -> Image.Image:
    """Turn to greys; what is transparent counts as white paper."""
    if picture.has_transparency_data:
        picture = picture.convert("RGBA")
        paper = Image.new("RGBA", picture.size, "white")
        paper.alpha_composite(picture)
        picture = paper
    return picture.convert("L")


def _look(photo: Image.Image) -> list[Found]:
    """Read once, for the kinds of code we use and no others: every further kind finds ghosts in the noise."""
    codes = zxingcpp.read_barcodes(
        photo, formats=zxingcpp.BarcodeFormats(list(KINDS)), text_mode=zxingcpp.TextMode.Plain
    )
    return [Found(KINDS[code.format], code.text) for code in codes if code.format in KINDS]


def _another(photo: Image.Image) -> Image.Image:
    """Make the second look: small photos twice as large, large ones half and calmed of noise.

    More contrast was tried and made it worse.
    """
    width, height = photo.size
    if width * height < FEW_PIXELS:
        return photo.resize((width * 2, height * 2), Image.Resampling.BICUBIC)
    half = photo.resize((max(1, width // 2), max(1, height // 2)), Image.Resampling.BILINEAR)
    return half.filter(ImageFilter.GaussianBlur(1))
