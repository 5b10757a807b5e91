"""Files that are sent: several at once, none too large to be read; and what a paper of the tray belongs to."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from refit.boat.models import Member, Paper, PaperKind
from refit.boat.pictures import MOST_BYTES
from refit.buying.models import Order
from refit.calc.text import clean
from refit.pages import paper_owners
from refit.pages.paper_owners import Owner, owner_of

# `image/*` lets a phone offer its camera; some say nothing of HEIC but its ending.
ACCEPTED = "image/*,.heic,.heif,application/pdf"
MOST_FILES = 20


class FilesInput(forms.ClearableFileInput):
    """A file box that takes several files."""

    allow_multiple_selected = True


class FilesField(forms.FileField):
    """One file or several, each small enough to be read."""

    widget = FilesInput

    def clean(self, data: Any, initial: Any = None) -> list[Any]:
        files = [file for file in (data if isinstance(data, (list, tuple)) else [data]) if file]
        if not files and not self.required:
            return []
        if not files:
            raise ValidationError("Choose a photo or PDF first.", code="required")
        if len(files) > MOST_FILES:
            raise ValidationError(f"At most {MOST_FILES} at once; this is {len(files)}.", code="too_many")
        for file in files:
            # Judged by its size before any of it is read.
            if file.size > MOST_BYTES:
                raise ValidationError(
                    f"{str(file.name)[:60]} is over 25 MB. Send a smaller one.", code="too_large"
                )
        return files


class PapersForm(forms.Form):
    """Photos or PDFs, and what they are if the person says so."""

    papers = FilesField(label="Photos or PDFs")
    kind = forms.ChoiceField(choices=[("", "As it looks"), *PaperKind.choices], required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["papers"].widget.attrs.update({"accept": ACCEPTED, "data-autosubmit": ""})

    def name_of(self, file: Any) -> str:
        """Return the name that a file came with, or none if no database could keep it."""
        try:
            return clean(file.name or "")
        except ValueError:
            return ""


def numbers_typed(text: str) -> set[int]:
    """Return the numbers of papers that a person typed, such as `14, 15`."""
    words = text.replace(",", " ").split()
    good = all(word.isascii() and word.isdigit() and len(word) < 10 for word in words)
    if not words or not good or len(words) > MOST_FILES:
        raise ValidationError("Type the numbers of papers, such as 14, 15.", code="no_paper")
    return {int(word) for word in words}


class SortForm(forms.Form):
    """What a paper of the tray belongs to: an order by number, or a thing in words; if neither is sent, nothing."""

    order = forms.CharField(required=False, max_length=9)
    to = forms.CharField(required=False, max_length=160)
    kind = forms.ChoiceField(choices=[("", "As it is"), *PaperKind.choices], required=False)

    def __init__(self, member: Member, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.member = member

    def clean_order(self) -> Owner | None:
        number = self.cleaned_data["order"].strip()
        if "order" not in self.data:
            return None
        if not (number.isascii() and number.isdigit()):
            raise ValidationError("No such order.", code="no_order")
        rows = Order.objects.select_related("supplier", "boat").filter(boat_id=self.member.boat_id)
        order = rows.filter(number=int(number)).first()
        if order is None:
            raise ValidationError("No such order.", code="no_order")
        return owner_of(order, "order")

    def clean_to(self) -> Owner | None:
        if "to" not in self.data:
            return None
        typed = self.cleaned_data["to"]
        if not typed.strip():
            raise ValidationError("Say which job, place or part it belongs to.", code="no_such")
        return paper_owners.meant(self.member, typed)

    @property
    def owner(self) -> Owner | None:
        """Return what was chosen."""
        return self.cleaned_data["order"] or self.cleaned_data["to"]

    @property
    def reason(self) -> str:
        """Return what is wrong, in one sentence."""
        if "order" in self.errors:
            return "Choose an order of this boat, or “Needs no order”."
        return next((str(sentences[0]) for sentences in self.errors.values()), "")


def kinds_of(papers: list[Paper]) -> str:
    """Return the kind of papers that are all of one kind, so that an undo can give it back."""
    kinds = {paper.kind for paper in papers}
    return kinds.pop() if len(kinds) == 1 else ""
