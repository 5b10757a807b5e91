"""Small pictures drawn for tests."""

import io

from PIL import Image, ImageDraw


def picture(words: str = "x", size: tuple[int, int] = (320, 240), kind: str = "JPEG") -> bytes:
    """Return a picture with these words on it."""
    drawn = Image.new("RGB", size, "white")
    ImageDraw.Draw(drawn).text((20, 20), words, fill="black")
    out = io.BytesIO()
    drawn.save(out, kind)
    return out.getvalue()
