"""Files that are sent: several at once, none too large to be read; and which order a receipt belongs to."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from refit.boat.models import Boat
from refit.boat.pictures import MOST_BYTES
from refit.buying.models import Order

ACCEPTED = "image/jpeg,image/png,image/webp,application/pdf"
MOST_FILES = 20


class FilesInput(forms.ClearableFileInput):
    """A file box that takes several files."""

    allow_multiple_selected = True


class FilesField(forms.FileField):
    """One file or several, each small enough to be read."""

    widget = FilesInput

    def clean(self, data: Any, initial: Any = None) -> list[Any]:
        files = [file for file in (data if isinstance(data, (list, tuple)) else [data]) if file]
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
    """Photos or PDFs of receipts."""

    papers = FilesField(label="Photos or PDFs")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["papers"].widget.attrs.update({"accept": ACCEPTED, "data-autosubmit": ""})


class SortForm(forms.Form):
    """The order that a receipt belongs to, by number; where it needs none, none is sent."""

    order = forms.CharField(required=False, max_length=9)

    def __init__(self, boat: Boat, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.boat = boat

    def clean_order(self) -> Order | None:
        number = self.cleaned_data["order"].strip()
        if "order" not in self.data:
            return None
        if not (number.isascii() and number.isdigit()):
            raise ValidationError("No such order.", code="no_order")
        found = Order.objects.select_related("supplier", "boat").filter(boat=self.boat, number=int(number))
        order = found.first()
        if order is None:
            raise ValidationError("No such order.", code="no_order")
        return order
