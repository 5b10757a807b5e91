"""On what terms a supplier sells: how long they take, what carriage costs, until when goods may go back."""

from dataclasses import dataclass

from django.db import transaction

from refit.boat.actions.boats import lock, standing
from refit.boat.refusals import Refused
from refit.buying.actions.writing import LIMIT, LONGEST_LEAD, check_lead
from refit.buying.models import Supplier
from refit.calc.holidays_of import HolidayProblem, holidays_of


@dataclass(frozen=True)
class SupplierTerms:
    """Terms as typed; None is not known. Sums are minor units of the supplier's currency."""

    is_shop: bool = False
    lead_days: int | None = None
    surface_days: int | None = None
    in_working_days: bool = False
    country: str = ""
    region: str = ""
    free_freight_from: int | None = None
    usual_freight: int | None = None
    return_days: int | None = None
    claim_days: int | None = None

    @classmethod
    def of(cls, supplier: Supplier) -> "SupplierTerms":
        """Return the terms that a supplier has now."""
        return cls(**{name: getattr(supplier, name) for name in cls.__dataclass_fields__})


@transaction.atomic
def change_terms(supplier: Supplier, terms: SupplierTerms) -> Supplier:
    """Say on what terms a supplier sells. What nobody knows stays unknown."""
    lock(supplier.boat)
    fresh = standing(Supplier.objects.all(), supplier.pk, "This supplier")
    check_lead(terms.lead_days, "lead_days")
    check_lead(terms.surface_days, "surface_days")
    for name in ("return_days", "claim_days"):
        days = getattr(terms, name)
        if days is not None and not 0 <= days <= LONGEST_LEAD:
            raise Refused(
                f"{days:,} days cannot be right; at most {LONGEST_LEAD:,}.", code="days", field=name
            )
    for name in ("free_freight_from", "usual_freight"):
        amount = getattr(terms, name)
        if amount is not None and not 0 <= amount < LIMIT:
            raise Refused("That sum cannot be right.", code="sum", field=name)
    if terms.region and not terms.country:
        raise Refused("Of which country is that a part?", code="no_country", field="country")
    if terms.country:
        try:
            holidays_of(terms.country, terms.region, ())
        except HolidayProblem as problem:
            field = "country" if problem.code == "no_such_country" else "region"
            raise Refused(str(problem), code=problem.code, field=field) from None
    for name in SupplierTerms.__dataclass_fields__:
        setattr(fresh, name, getattr(terms, name))
    fresh.save()
    return fresh
