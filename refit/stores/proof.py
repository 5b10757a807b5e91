"""Proof of the stores: every holding is what its movements say. Names every difference."""

from collections import defaultdict
from collections.abc import Iterator

from refit.stores.models import Holding, Movement

Key = tuple[int, int | None, int]


def differences() -> Iterator[str]:
    """Yield one sentence for every holding that its movements do not explain."""
    sums: dict[Key, int] = defaultdict(int)
    levels: dict[Key, str] = defaultdict(str)
    rows = Movement.objects.order_by("id").values_list(
        "id", "part_id", "lot_id", "from_place_id", "to_place_id", "quantity", "level_before", "level_after"
    )
    for pk, part, lot, source, target, quantity, before, after in rows.iterator(chunk_size=5000):
        thousandths = int(quantity * 1000)
        if not thousandths:
            said: Key = (part, lot, target)
            if levels[said] != before:
                yield f"Movement {pk}: level was {levels[said] or 'none'} before, not {before or 'none'}."
            levels[said] = after
            continue
        if source:
            sums[(part, lot, source)] -= thousandths
            if sums[(part, lot, source)] < 0:
                yield f"Movement {pk}: takes more of part {part} than place {source} held."
        if target:
            sums[(part, lot, target)] += thousandths
    for holding in Holding.objects.iterator(chunk_size=5000):
        key: Key = (holding.part_id, holding.lot_id, holding.place_id)
        total = sums.pop(key, 0)
        level = levels.pop(key, "")
        if total != int(holding.quantity * 1000):
            yield f"Holding {holding.pk}: {holding.quantity} is down, its movements make {total / 1000}."
        if level != holding.level:
            yield f"Holding {holding.pk}: level {holding.level or 'none'} is down, the ledger says {level or 'none'}."
    for (of, batch, place), total in sums.items():
        if total:
            yield f"Part {of}, batch {batch}, place {place}: movements make {total / 1000}, no holding is down."
    for (of, batch, place), level in levels.items():
        if level:
            yield f"Part {of}, batch {batch}, place {place}: level {level}, no holding is down."
