"""Every named constraint refuses an example of what it is for. A constraint without an example fails the first test."""

from datetime import date
from functools import partial
from typing import Any

import pytest
from django.apps import apps
from django.db import DataError, IntegrityError, connection, models, transaction

from refit.boat import guards
from tests.boat.whole import copy_of, fill, insert
from tests.factory import D, Factory

SELF = object()  # stands for the row's own number

# constraint -> (which row to start from, what to change of its copy)
EXAMPLES: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    # boat
    "boat_slug_free": ({}, {"slug": "admin"}),
    "boat_slug_given": ({}, {"slug": ""}),
    "boat_name_given": ({}, {"slug": "b", "name": ""}),
    "boat_currency_three": ({}, {"slug": "b", "currency": "GB"}),
    "member_once": ({}, {}),
    "member_role_known": ({}, {"role": "captain"}),
    "system_name_once": ({}, {}),
    "system_group_known": ({}, {"folded": "other", "group": "999"}),
    "system_name_given": ({}, {"folded": "other", "name": ""}),
    "budget_not_negative": ({}, {"amount": -1}),
    "location_code_once": ({"kind": "area"}, {}),
    "location_mark_once": ({"mark": "S1"}, {"code": "ZZZZ9"}),
    "location_one_unstowed": ({"kind": "unstowed"}, {"code": "ZZZZ9"}),
    "location_kind_known": ({"mark": "S1"}, {"code": "ZZZZ9", "mark_folded": "x", "kind": "shelf"}),
    "location_where_known": ({"mark": "S1"}, {"code": "ZZZZ9", "mark_folded": "x", "where": "abroad"}),
    "location_not_in_itself": ({"mark": "S1"}, {"code": "ZZZZ9", "mark_folded": "x", "parent_id": SELF}),
    "location_area_is_top": ({"mark": "S1"}, {"code": "ZZZZ9", "mark_folded": "x", "parent_id": None}),
    "location_named": ({"mark": "S1"}, {"code": "ZZZZ9", "mark_folded": "x", "mark": "", "name": ""}),
    "location_mark_short": ({"mark": "S1"}, {"code": "ZZZZ9", "mark_folded": "x", "mark": "M" * 13}),
    "place_caution_once": ({}, {}),
    "place_caution_known": ({}, {"kind": "dragon"}),
    "label_code_once": ({}, {}),
    "label_code_length": ({}, {"code": "AB3"}),
    "paper_number_once": ({}, {"sha256": "f" * 64}),
    "paper_kept_once": ({}, {"number": 99}),
    "paper_kind_known": ({}, {"number": 99, "sha256": "f" * 64, "kind": "map"}),
    "place_paper_once": ({}, {}),
    "contingency_not_negative": ({}, {"amount": -1}),
    "form_key_once": ({}, {}),
    "sheet_shape_once": ({}, {}),
    # work
    "job_number_once": ({}, {}),
    "job_state_known": ({}, {"number": 99, "state": "lost"}),
    "job_before_known": ({}, {"number": 99, "before": "never"}),
    "job_title_given": ({}, {"number": 99, "title": ""}),
    "job_title_short": ({}, {"number": 99, "title": "T" * 121}),
    "job_note_short": ({}, {"number": 99, "note": "N" * 4001}),
    "estimate_says_what": ({}, {"words": ""}),
    "estimate_amount_in_bounds": ({}, {"amount": 10**12}),
    "job_paper_once": ({}, {}),
    "job_priority_known": ({}, {"number": 99, "priority": 4}),
    "job_days_in_bounds": ({}, {"number": 99, "days": D("-0.001")}),
    "job_cure_in_bounds": ({}, {"number": 99, "cure_days": 366}),
    "job_celsius_in_bounds": ({}, {"number": 99, "above_celsius": 61}),
    "job_sole_use_of_a_space": ({}, {"number": 99, "sole_use": True}),
    "job_not_found_by_itself": ({}, {"number": 99, "found_during_id": SELF}),
    "job_trait_once": ({}, {}),
    "job_trait_known": ({}, {"trait": "luck"}),
    "job_paper_moment_known": ({}, {"paper_id": 987654, "moment": "during"}),
    "after_once": ({}, {}),
    "after_not_itself": ({}, {"job_id": 987654, "after_id": 987654}),
    "booking_days_in_bounds": ({}, {"days": 0}),
    "booking_says_who": ({}, {"who": ""}),
    "milestone_kind_known": ({}, {"kind": "party"}),
    "milestone_named": ({}, {"kind": "other", "name": ""}),
    "milestone_one_of_kind": ({}, {}),
    "work_terms_some_day": ({}, {"boat_id": 987654, "weekdays": "0000000"}),
    "work_terms_margin_in_bounds": ({}, {"boat_id": 987654, "margin_days": 366}),
    "work_terms_rate_in_bounds": ({}, {"boat_id": 987654, "hour_rate": -1}),
    "day_away_right_way_round": ({}, {"last": date(1999, 1, 1)}),
    "calendar_secret_long": ({}, {"member_id": 987654, "secret": "short"}),
    "hours_once_member": ({"helper": ""}, {}),
    "hours_once_helper": ({"who": None}, {}),
    "hours_of_a_day": ({}, {"day": date(1999, 1, 1), "minutes": 0}),
    "hours_of_somebody": ({"who": None}, {"day": date(1999, 1, 1), "helper": ""}),
    "bag_says_what": ({}, {"what": "", "back_on": date(1999, 1, 1)}),
    "bag_open_once": ({}, {}),
    "finish_done_by_known": ({}, {"job_id": 987654, "done_by": "luck"}),
    "finish_firm_named": ({}, {"job_id": 987654, "done_by": "firm", "name": ""}),
    # stores
    "part_name_given": ({}, {"name": ""}),
    "part_name_short": ({}, {"name": "N" * 121}),
    "part_unit_known": ({}, {"unit": "stone"}),
    "part_kept_known": ({}, {"kept": "guessed"}),
    "part_minimum_not_negative": ({}, {"minimum": D("-0.001")}),
    "part_not_by_itself": ({}, {"superseded_by_id": SELF}),
    "part_side_known": ({}, {"side": "middle"}),
    "part_sets_in_bounds": ({}, {"sets_of": 0}),
    "part_bits_not_negative": ({}, {"bits_under": D(-1)}),
    "part_pieces_are_counted": ({}, {"in_pieces": True, "kept": "level"}),
    "part_number_once": ({"kind": "maker"}, {}),
    "part_gtin_once": ({"kind": "gtin"}, {"part_id": "other"}),
    "part_number_kind_known": ({"kind": "maker"}, {"kind": "secret"}),
    "lot_once_dated": ({"expires_on__isnull": False}, {}),
    "lot_once_undated": ({"expires_on": None, "number": None}, {}),
    "lot_says_something": ({"expires_on": None, "number": None}, {"serial": ""}),
    "lot_number_once": ({"number__isnull": False}, {}),
    "lot_condition_known": ({"number__isnull": False}, {"number": 99, "condition": "so-so"}),
    "lot_condition_of_a_thing": ({"number": None}, {"serial": "B77", "condition": "good"}),
    "companion_once": ({}, {}),
    "companion_says_what": ({}, {"other_id": None, "words": ""}),
    "companion_not_itself": ({}, {"other_id": "part_id"}),
    "companion_some": ({}, {"part_id": "other", "quantity": D(0)}),
    "kit_list_name_once": ({}, {}),
    "kit_list_named": ({}, {"name": ""}),
    "kit_list_line_some": ({}, {"quantity": D(0)}),
    "kit_list_line_says_what": ({}, {"part_id": None, "words": ""}),
    "kit_content_once": ({}, {}),
    "kit_content_some": ({}, {"part_id": "other", "quantity": D(0)}),
    "kit_not_in_itself": ({}, {"part_id": "kit_id"}),
    "holding_once_lot": ({"lot__isnull": False}, {}),
    "holding_once": ({"lot": None}, {}),
    "holding_not_negative": ({}, {"quantity": D("-0.001")}),
    "holding_level_known": ({}, {"level": "much"}),
    "set_aside_some": ({}, {"quantity": D(0)}),
    "entry_kind_known": ({"undoes": None}, {"kind": "gift"}),
    "entry_not_of_itself": ({"undoes": None}, {"undoes_id": SELF}),
    "movement_goes_somewhere": ({"reverses": None}, {"from_place_id": None, "to_place_id": None}),
    "movement_not_on_the_spot": ({"reverses": None, "reason": "moved"}, {"from_place_id": "to_place_id"}),
    "movement_moves_something": ({"reverses": None}, {"quantity": D(0)}),
    "movement_reason_known": ({"reverses": None}, {"reason": "magic"}),
    "need_more_than_nothing": ({}, {"quantity": D(0)}),
    "need_says_what": ({}, {"part_id": None, "words": ""}),
    "need_reserves_what_it_wants": ({}, {"reserved": D(-1)}),
    "need_reserves_a_part": ({}, {"part_id": None, "words": "x", "reserved": D(1)}),
    "need_guess_in_bounds": ({}, {"guess": -1}),
    "part_paper_once": ({}, {}),
    # buying
    "supplier_name_once": ({}, {}),
    "supplier_name_given": ({}, {"folded": "other", "name": ""}),
    "supplier_name_short": ({}, {"folded": "other", "name": "N" * 81}),
    "supplier_sums_not_negative": ({}, {"folded": "other", "usual_freight": -1}),
    "offer_price_not_negative": ({}, {"price": D(-1)}),
    "offer_pack_some": ({}, {"pack_size": D(0)}),
    "offer_currency_three": ({}, {"currency": "GB"}),
    "order_number_once": ({}, {}),
    "order_state_known": ({}, {"number": 99, "state": "lost"}),
    "order_rate_positive": ({}, {"number": 99, "rate": D(0)}),
    "order_currency_three": ({}, {"number": 99, "currency": "GB"}),
    "order_placed_has_date": ({}, {"number": 99, "state": "ordered", "ordered_on": None}),
    "order_charged_not_negative": ({}, {"number": 99, "charged": -1}),
    "line_position_once": ({}, {}),
    "line_kind_known": ({}, {"position": 9, "kind": "gift", "part_id": None, "words": "x"}),
    "line_says_what": ({}, {"position": 9, "kind": "words", "part_id": None, "words": ""}),
    "line_part_is_part": ({}, {"position": 9, "kind": "words"}),
    "line_quantity_positive": ({}, {"position": 9, "quantity": D(0)}),
    "line_arrived_not_negative": ({}, {"position": 9, "arrived": D(-1)}),
    "line_wont_come_not_negative": ({}, {"position": 9, "wont_come": D(-1)}),
    "line_amount_in_bounds": ({}, {"position": 9, "amount": 10**12}),
    "line_counted_has_system": ({}, {"position": 9, "counted": True, "system_id": None}),
    "charge_kind_known": ({}, {"kind": "bribe"}),
    "charge_basis_known": ({}, {"basis": "mood"}),
    "charge_rate_positive": ({}, {"rate": D(-1)}),
    "charge_amount_in_bounds": ({}, {"amount": -1}),
    "charge_tax_marks": ({}, {"reclaimable": True}),
    "share_once": ({}, {}),
    "delivery_line_says_something": ({}, {"movement_id": None, "quantity": D(0), "wont_come": D(0)}),
    "payment_not_negative": ({}, {"amount": -1}),
    "payment_means_known": ({}, {"means": "shells"}),
    "payment_split_once": ({}, {}),
    "payment_paid_back_if_owed": ({}, {"we_owe": False, "paid_back_on": date(2026, 1, 1)}),
    "payment_split_once_charge": ({"order": None}, {}),
    "payment_split_for_one": ({"charge": None}, {"order_id": None}),
    "payment_split_settles_some": ({"charge": None}, {"payment_id": 987654, "settles": 0}),
    "repeat_between_one_and_sixty": ({}, {"order_id": 987654, "every_months": 61}),
    "credit_kind_known": ({}, {"kind": "bribe"}),
    "credit_amount_in_bounds": ({}, {"amount": 0}),
    "credit_has_a_day": ({}, {"applied_on": None, "came_on": None}),
    "credit_goodwill_says_why": ({"kind": "goodwill"}, {"reason": ""}),
    "credit_share_once": ({}, {}),
    "return_line_some": ({}, {"set_aside_id": None, "quantity": D(0)}),
    "disposal_kind_known": ({}, {"kind": "lost"}),
    "disposal_amount_in_bounds": ({}, {"amount": -1}),
    "disposal_gift_is_free": ({}, {"kind": "given"}),
    "disposal_says_what": ({}, {"what": ""}),
    "order_paper_once": ({}, {}),
    # voyage
    "gear_named": ({}, {"name": ""}),
    "gear_some": ({}, {"quantity": 0}),
}


def constraints() -> dict[str, tuple[type[models.Model], models.BaseConstraint]]:
    """Return every named constraint of our models."""
    return {
        constraint.name: (model, constraint)
        for model in apps.get_models()
        if model.__module__.startswith("refit.")
        for constraint in model._meta.constraints
    }


def test_every_constraint_has_an_example():
    """So that one added tomorrow is tried too."""
    assert sorted(EXAMPLES) == sorted(constraints())


def test_only_what_is_in_bounds_gets_in(db):
    """Each example is refused by the constraint that it is for, and by no other."""
    make = fill(Factory.start())
    other = make.part("Another part")
    wrong = []
    with transaction.atomic():
        guards.lift(connection)  # what the constraint refuses, the constraint alone must refuse
        for name, (model, constraint) in constraints().items():
            where, changes = EXAMPLES[name]
            row = model._base_manager.filter(**where).order_by("pk").first()
            assert row is not None, f"{name}: the filled boat has no row like {where}"
            copy = copy_of(row, **_meant(row, changes, other.pk))
            if SELF in changes.values():
                copy.pk = 987654
            sentence = _refusal(partial(insert, copy))
            if not _names(sentence, name, model, constraint):
                wrong.append(f"{name}: {sentence or 'let in'}")
        guards.install(connection)
    assert wrong == []


def _meant(row: Any, changes: dict[str, Any], other: int) -> dict[str, Any]:
    meant = {}
    for column, value in changes.items():
        if value is SELF:
            value = 987654
        elif value == "other" and column.endswith("_id"):
            value = other
        elif value in ("to_place_id", "part_id", "kit_id"):
            value = getattr(row, value)
        meant[column] = value
    return meant


def _refusal(deed) -> str:
    try:
        with transaction.atomic():
            deed()
            transaction.set_rollback(True)
    except (IntegrityError, DataError) as refusal:
        return str(refusal)
    return ""


def _names(sentence: str, name: str, model: type[models.Model], constraint: models.BaseConstraint) -> bool:
    """Return whether a refusal is this constraint's.

    SQLite names a unique constraint by its columns, and PostgreSQL refuses a long text before any check.
    """
    if connection.vendor == "postgresql":
        return name in sentence or (name.endswith("_short") and "value too long" in sentence)
    if isinstance(constraint, models.UniqueConstraint):
        columns = [model._meta.get_field(field).column for field in constraint.fields]
        return sentence == "UNIQUE constraint failed: " + ", ".join(
            f"{model._meta.db_table}.{column}" for column in columns
        )
    return sentence == f"CHECK constraint failed: {name}"


@pytest.mark.parametrize("name", ["location_mark_once", "part_gtin_once", "lot_once_undated", "holding_once"])
def test_a_partial_constraint_binds_only_its_part(make, name):
    """A retired place's mark is free again; two suppliers may use one number; batches differ by their date."""
    place, part = make.place("S1"), make.part()
    if name == "location_mark_once":
        from refit.stores.actions.stow import retire_place

        retire_place(place, None, by=make.owner, on=make.today, today=make.today)
        assert make.place("S1").pk != place.pk
    elif name == "part_gtin_once":
        rows = [("supplier", "X 1", "One"), ("maker", "X-1", "Two")]
        assert make.part("Other", numbers=rows).numbers.count() == 2
        assert make.part("Third", numbers=rows).numbers.count() == 2
    elif name == "lot_once_undated":
        make.stock(part, place, 1, serial="A")
        make.stock(part, place, 1, serial="A", expires_on=make.today)
        assert part.lots.count() == 2
    else:
        make.stock(part, place, 1)
        make.stock(part, place, 1, serial="A")
        assert part.holdings.count() == 2
