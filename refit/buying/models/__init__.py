"""Buying: suppliers, orders and their lines, charges and their shares, deliveries, payments, refunds.

Amounts are whole minor units: of the order's currency where the field says so, else of the boat's.
Sums that are stored (goods, charges, landed, delivered, refunded, state) are set by `buying.costing` alone.
"""

from refit.buying.models.charges import BasisChoice, Charge, ChargeKind, Share
from refit.buying.models.corrections import Correction
from refit.buying.models.deliveries import Delivery, DeliveryLine
from refit.buying.models.disposals import Disposal, DisposalKind
from refit.buying.models.orders import (
    COMING_STATES,
    COUNTED_STATES,
    Line,
    LineKind,
    Order,
    OrderPaper,
    OrderQuerySet,
    OrderState,
    PricedBy,
    Promise,
    RateSource,
)
from refit.buying.models.payments import Means, Payment, PaymentSplit, Repeat
from refit.buying.models.refunds import Credit, CreditKind, CreditShare, Return, ReturnLine
from refit.buying.models.steps import CostStep
from refit.buying.models.suppliers import Offer, OfferQuerySet, Supplier

__all__ = [
    "COMING_STATES",
    "COUNTED_STATES",
    "BasisChoice",
    "Charge",
    "ChargeKind",
    "Correction",
    "CostStep",
    "Credit",
    "CreditKind",
    "CreditShare",
    "Delivery",
    "DeliveryLine",
    "Disposal",
    "DisposalKind",
    "Line",
    "LineKind",
    "Means",
    "Offer",
    "OfferQuerySet",
    "Order",
    "OrderPaper",
    "OrderQuerySet",
    "OrderState",
    "Payment",
    "PaymentSplit",
    "PricedBy",
    "Promise",
    "RateSource",
    "Repeat",
    "Return",
    "ReturnLine",
    "Share",
    "Supplier",
]
