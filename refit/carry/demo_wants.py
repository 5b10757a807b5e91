"""The demo's parts wanted, as they are: in sets, in pieces, port and starboard, what goes with what, kits and lists."""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from functools import partial
from typing import Any

from django.contrib.auth.models import User

from refit.boat.models import Boat
from refit.calc.money import to_minor
from refit.carry.demo_dates import tell_all
from refit.carry.demo_files import Files, Row
from refit.carry.demo_stores import Happening, Stores
from refit.stores.actions import keeping, kit_lists, kits, off, pieces
from refit.stores.actions import needs as wanting
from refit.stores.actions import parts as part_actions
from refit.stores.models import Holding, Need, Part

AS_IT_IS = 3  # on one day, after what went in and out


@dataclass
class Wants:
    """What the demo's jobs want since, and how its parts come and are kept."""

    boat: Boat
    files: Files
    users: dict[str, User]
    stores: Stores

    def set_up(self) -> None:
        """Say how parts come (sets, sides, newer ones, no air), what is in kits and what goes with what."""
        for name, deed in (
            ("part_ways.csv", self._ways),
            ("kits.csv", self._in_kit),
            ("with.csv", self._companion),
        ):
            tell_all(self.files, name, deed)
        lists: dict[str, list[kit_lists.Row]] = defaultdict(list)
        for row in self.files.rows("kit_lists.csv"):
            lists[row.given("list")].append((self._part(row), row.text("words"), row.amount("quantity")))
        for name, rows in lists.items():
            kit_lists.make_list(self.boat, name, rows)

    def happenings(self) -> Iterator[Happening]:
        """Yield what was cut, opened, found incomplete, kept in pieces or taken off the boat, on its day."""
        deeds = {
            "pieces": self._pieces,
            "cut": self._cut,
            "open": self._open,
            "incomplete": self._incomplete,
        }
        for row in self.files.rows("as_they_are.csv"):
            if row.text("deed") not in deeds:
                raise row.wrong(f"says {row.text('deed')!r}, which is no deed of things as they are")
            yield Happening(
                (row.whole("day") or 0, AS_IT_IS, row.number), partial(deeds[row.text("deed")], row)
            )
        for row in self.files.rows("off.csv"):
            yield Happening((row.whole("day") or 0, AS_IT_IS, 1000 + row.number), partial(self._off, row))

    def want(self) -> str:
        """Write down what jobs want since, and what was said of their wants; say how many."""
        return f"{tell_all(self.files, 'wants.csv', self._want)} things said of what jobs want"

    def _part(self, row: Row) -> Part | None:
        return self.stores.part(row) if row.text("part") else None

    def _ways(self, row: Row) -> None:
        facts: dict[str, Any] = {
            "bits_under": row.amount("bits_under", "0"),
            "sets_of": row.whole("sets_of") or 1,
            "side": row.text("side"),
            "no_air": row.yes("no_air"),
        }
        if row.text("replaced_by"):
            facts["superseded_by"] = self.stores.part(row, "replaced_by")
        # In pieces from the day on that `as_they_are.csv` says.
        self.stores.parts[row.given("part")] = part_actions.change_part(self.stores.part(row), **facts)

    def _in_kit(self, row: Row) -> None:
        kits.put_in_kit(self.stores.part(row, "kit"), self.stores.part(row), row.amount("quantity"))

    def _companion(self, row: Row) -> None:
        wanting.add_companion(
            self.stores.part(row),
            other=self.stores.part(row, "other") if row.text("other") else None,
            words=row.text("words"),
            quantity=row.amount("quantity"),
            is_tool=row.yes("tool"),
        )

    def _pieces(self, row: Row) -> None:
        part = self.stores.part(row)
        pieces.keep_in_pieces(part, **self._who_and_when(row))
        part.refresh_from_db()

    def _cut(self, row: Row) -> None:
        held = Holding.objects.there().filter(
            part=self.stores.part(row), place=self.stores.place(row, "place")
        )
        longest = held.order_by("-quantity", "id").first()
        if longest is None:
            raise row.wrong(f"cuts {row.text('part')} in {row.text('place')}, where there is none")
        to = self.stores.place(row, "to")
        pieces.cut_and_keep(longest, row.amount("quantity"), to, **self._who_and_when(row))

    def _open(self, row: Row) -> None:
        kits.open_kit(self.stores.holding(row), self.stores.place(row, "to"), **self._who_and_when(row))

    def _incomplete(self, row: Row) -> None:
        kits.mark_incomplete(self.stores.holding(row), row.given("words"), **self._who_and_when(row))

    def _off(self, row: Row) -> None:
        off.take_off(
            self.stores.job(row),
            part=self._part(row),
            name=row.text("name"),
            condition=row.given("condition"),
            place=self.stores.place(row, "place"),
            serial=row.text("serial"),
            note=row.text("note"),
            **self._who_and_when(row),
        )

    def _who_and_when(self, row: Row) -> dict[str, Any]:
        return {
            "by": self.users[row.given("by")],
            "on": row.day("day") or row.made_on,
            "today": row.made_on,
        }

    def _want(self, row: Row) -> None:
        """A row with a day says what a job came to want since; one without says more of what it wants already."""
        part, since, quantity = self._part(row), row.day("since"), row.amount("quantity")
        if since is None:
            need = Need.objects.open().filter(job=self.stores.job(row), part=part).order_by("id").first()
            if need is None:
                raise row.wrong(f"says more of {row.text('part')}, which that job does not want")
        else:
            said = [(part, row.text("words"), quantity)]
            (need,) = wanting.add_needs(self.stores.job(row), said, on=since)
            quantity = need.quantity
        wanting.change_need(
            need,
            part=part,
            words=row.text("words"),
            quantity=quantity,
            wanted_by=row.day("wanted_by"),
            one_piece=row.yes("one_piece"),
            must_fit=row.text("must_fit"),
        )
        guess, kept = row.number_or_none("guess"), row.number_or_none("keep")
        if guess is not None:
            part_actions.guess_need(need, to_minor(guess, self.boat.currency))
        if kept is not None:
            keeping.keep(need, Decimal(kept), today=row.made_on)
