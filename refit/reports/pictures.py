"""Photos on paper: turned upright, made no larger than print needs, and without what the camera wrote beside them.

Decides how a picture is made ready. What cannot be opened is told from what can: one bad photo spoils no sheet.
"""

import struct
import zlib
from dataclasses import dataclass
from io import BytesIO

from PIL import Image, ImageOps

MOST_PIXELS = 40_000_000
DOTS = 150 / 72  # pixels for each pt
KINDS = ("JPEG", "PNG", "WEBP")


@dataclass(frozen=True)
class Picture:
    """Hold a picture as JPEG and the size, in pt, at which it is printed."""

    data: bytes
    width: float
    height: float


def ready(data: bytes, width: float, height: float) -> Picture | None:
    """Return the picture as large as the room, in pt, lets it be; None for what cannot be opened."""
    try:
        with Image.open(BytesIO(data), formats=KINDS) as photo:
            if photo.width * photo.height > MOST_PIXELS:
                return None
            dots = int(max(width, height) * DOTS) or 1  # it may lie on its side yet
            photo.draft("RGB", (dots, dots))  # of a JPEG, no more is read than is needed
            upright = ImageOps.exif_transpose(photo)
            upright.thumbnail((int(width * DOTS) or 1, int(height * DOTS) or 1))
            shown = _on_white(upright)
    # Pillow's readers let all of these out on broken files.
    except (OSError, ValueError, SyntaxError, EOFError, LookupError, ArithmeticError, TypeError):
        return None
    except (struct.error, zlib.error, Image.DecompressionBombError, Image.DecompressionBombWarning):
        return None
    scale = min(width / shown.width, height / shown.height)
    out = BytesIO()
    shown.save(out, "JPEG", quality=82)
    return Picture(out.getvalue(), shown.width * scale, shown.height * scale)


def _on_white(picture: Image.Image) -> Image.Image:
    """Return the picture without holes: paper is white."""
    if picture.mode in ("RGB", "L"):
        return picture
    seen = picture.convert("RGBA")
    ground = Image.new("RGB", seen.size, "white")
    ground.paste(seen, mask=seen.getchannel("A"))
    return ground
