"""What stands beside a part on its page: what goes with it, what is in it, for which jobs it is kept, how each thing is."""

from typing import Any

from refit.pages.contents import seen_kept
from refit.pages.forms.needs import CompanionForm, ThingForm
from refit.pages.spare_list import lies_aboard
from refit.stores.actions.pieces import is_piece
from refit.stores.kept import kept_for
from refit.stores.models import Companion, Condition, Holding, KitContent, Part
from refit.stores.reading import Whereabouts, whereabouts

CONDITIONS = [choice for choice in Condition.choices if choice[0]]


def beside(request: Any, part: Part, where: Whereabouts) -> dict[str, Any]:
    """Return it; each holding is given `kept`, `piece` and `thing`."""
    kept = kept_for(request.boat, [part.pk])[part.pk]
    contents = list(KitContent.objects.filter(kit=part).select_related("part"))
    for holding in where.holdings:
        row: Any = holding
        holding.part = part
        row.piece = is_piece(holding)
        row.thing = bool(holding.lot and holding.lot.number is not None and not part.in_pieces)
    context: dict[str, Any] = {
        "companions": with_lacks(request, part, where.holdings),
        "contents": contents,
        "conditions": CONDITIONS,
        "kept_rows": seen_kept(kept, request.member),
    }
    if "work" in request.rights:
        context["with_form"] = CompanionForm(request.boat, auto_id="with_%s")
        context["kit_form"] = ThingForm(request.boat, auto_id="kit_%s")
    return context


def with_lacks(request: Any, part: Part, holdings: list[Holding]) -> list[Any]:
    """Return what goes with a part; each is given `lacking`: this lies somewhere, and that does not lie aboard."""
    rows: list[Any] = list(Companion.objects.filter(part=part).select_related("other"))
    where = whereabouts(request.boat, [row.other_id for row in rows if row.other_id], request.today)
    for row in rows:
        here = where.get(row.other_id or 0)
        row.lacking = bool(here and part.is_spare and holdings and not lies_aboard(row.other, here))
    return rows
