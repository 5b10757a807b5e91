"""What is sent to be read: photos. Each is looked at by itself, so one bad file does not spoil the rest."""

from dataclasses import dataclass

from django.core.files.uploadedfile import UploadedFile

from refit.boat.pictures import MOST_BYTES
from refit.boat.refusals import Refused
from refit.calc.text import clean
from refit.carry.photo_codes import Found, PhotoProblem, read_codes

MOST_PHOTOS = 20


@dataclass(frozen=True)
class Read:
    """One photo: its name, the codes in it, and what was wrong with it if anything was."""

    name: str
    found: tuple[Found, ...] = ()
    wrong: str = ""


def read_photos(files: list[UploadedFile]) -> list[Read]:
    """Read the codes in every photo; refuse none at all, and too many at once."""
    if not files:
        raise Refused("Take a photo of the label first, or type the four characters.", code="no_photo")
    if len(files) > MOST_PHOTOS:
        raise Refused(
            f"That is {len(files)} photos; at most {MOST_PHOTOS} at once. Send the rest after these.",
            code="too_many",
        )
    return [_read(file) for file in files]


def _read(file: UploadedFile) -> Read:
    name = _name(file)
    if (file.size or 0) > MOST_BYTES:
        return Read(name, wrong="This file is over 25 MB. Send a smaller photo.")
    try:
        found = tuple(read_codes(file.read()))
    except PhotoProblem as problem:
        return Read(name, wrong=str(problem))
    if not found:
        return Read(name, wrong="No label could be read. Hold still, come closer, find more light.")
    return Read(name, found)


def _name(file: UploadedFile) -> str:
    try:
        return clean(file.name or "")[:60] or "Photo"
    except ValueError:
        return "Photo"
