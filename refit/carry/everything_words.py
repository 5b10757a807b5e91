"""The words of "All my data": which tables become sheets, which stay behind and why, what their columns are called.

Decides nothing of how a column is made of the database or written: `everything` does. Columns are read off the models;
only what a person would not understand is named here.
"""

from django.contrib.auth import get_user_model
from django.db import models

from refit.boat import models as boats
from refit.boat.models import Boat, Paper
from refit.buying import models as buying
from refit.stores import models as stores
from refit.voyage.models import Gear
from refit.work import models as work

Table = tuple[str, type[models.Model]]

# The sheets, in the order in which a person would read them.
TABLES: tuple[Table, ...] = (
    ("Boat", Boat),
    ("People", boats.Member),
    ("Systems", boats.System),
    ("Budgets", boats.Budget),
    ("Contingency", boats.Contingency),
    ("Places", boats.Location),
    ("Cautions of places", boats.PlaceCaution),
    ("Labels", boats.Label),
    ("Jobs", work.Job),
    ("What jobs bring", work.JobTrait),
    ("Jobs after jobs", work.After),
    ("Bookings", work.Booking),
    ("Milestones", work.Milestone),
    ("How we work", work.WorkTerms),
    ("Days away", work.DayAway),
    ("Hours", work.Hours),
    ("How jobs were done", work.Finish),
    ("Fitted gear", Gear),
    ("Bags", work.Bag),
    ("Parts wanted", stores.Need),
    ("What goes with what", stores.Companion),
    ("Kit lists", stores.KitList),
    ("Kit lists, lines", stores.KitListLine),
    ("Estimates", work.Estimate),
    ("Estimates by date", work.EstimateAmount),
    ("Parts", stores.Part),
    ("Part numbers", stores.PartNumber),
    ("In kits", stores.KitContent),
    ("Batches", stores.Lot),
    ("What is where", stores.Holding),
    ("Not usable", stores.SetAside),
    ("In and out", stores.Movement),
    ("What was done", stores.Entry),
    ("Counts", stores.Count),
    ("Not there", stores.Missing),
    ("Suppliers", buying.Supplier),
    ("Prices", buying.Offer),
    ("Orders", buying.Order),
    ("Promises", buying.Promise),
    ("Order lines", buying.Line),
    ("Charges", buying.Charge),
    ("Shares of charges", buying.Share),
    ("Arrived", buying.Delivery),
    ("Arrived, lines", buying.DeliveryLine),
    ("Refunds", buying.Credit),
    ("Shares of refunds", buying.CreditShare),
    ("Sent back", buying.Return),
    ("Sent back, lines", buying.ReturnLine),
    ("Payments", buying.Payment),
    ("Payments, what for", buying.PaymentSplit),
    ("Orders that repeat", buying.Repeat),
    ("Corrections", buying.Correction),
    ("How costs came about", buying.CostStep),
    ("Sold and given", buying.Disposal),
    ("Papers", Paper),
    ("Papers of orders", buying.OrderPaper),
    ("Papers of parts", stores.PartPaper),
    ("Papers of jobs", work.JobPaper),
    ("Papers of places", boats.PlacePaper),
)
# Every other table of the program, and why it stays behind. Whoever takes the files reads these reasons in them.
STAYS: dict[str, str] = {
    "boat.FormKey": "keys of forms that were sent, which keep one from acting twice",
    "boat.SheetShape": "how the columns of imported files were read",
    "work.CalendarFeed": "secret addresses of calendars",
    "auth.User": "passwords (the people themselves are on the sheet People)",
    "sessions.Session": "who is signed in where",
    "axes.AccessAttempt": "wrong passwords and sign-ins",
    "axes.AccessAttemptExpiration": "wrong passwords and sign-ins",
    "axes.AccessFailureLog": "wrong passwords and sign-ins",
    "axes.AccessLog": "wrong passwords and sign-ins",
    "admin.LogEntry": "lists that the program keeps of itself, alike for all boats",
    "auth.Group": "lists that the program keeps of itself, alike for all boats",
    "auth.Permission": "lists that the program keeps of itself, alike for all boats",
    "contenttypes.ContentType": "lists that the program keeps of itself, alike for all boats",
}
# Columns that only repeat others in a form that is quick to look up.
REPEATED = ("folded", "mark_folded", "mark_sort", "search")

# What a row is called where another names it, and the columns that say so.
NAMES: dict[type[models.Model], tuple[str, ...]] = {
    boats.System: ("name",),
    boats.Location: ("mark", "name"),
    boats.Member: ("user__first_name", "user__username"),
    Paper: ("number",),
    work.Job: ("number", "title"),
    work.Estimate: ("words",),
    work.Bag: ("what",),
    stores.Part: ("name",),
    stores.Lot: ("serial", "expires_on"),
    stores.KitList: ("name",),
    stores.Entry: ("said",),
    buying.Supplier: ("name",),
    buying.Order: ("number",),
    buying.Line: ("part__name", "words"),
    buying.Charge: ("words",),
    get_user_model(): ("first_name", "username"),
}
# Amounts that are not in the boat's currency: where theirs stands.
MONEY_IN: dict[tuple[type[models.Model], str], tuple[str, ...]] = {
    (buying.Supplier, "free_freight_from"): ("currency",),
    (buying.Supplier, "usual_freight"): ("currency",),
    (buying.Line, "amount"): ("order__currency",),
    (buying.Charge, "amount"): ("currency",),
    (buying.Credit, "amount"): ("currency",),
    (buying.PaymentSplit, "settles"): ("order__currency", "charge__currency"),
}
# Worked out with each order line: when something of it last came, and what of its charges is expected only.
LAST_CAME = "last_came_on"
NOT_BILLED = "not_billed_yet"
# What is worth reading beside a row, although it stands on another sheet.
ALSO: dict[type[models.Model], tuple[tuple[str, str], ...]] = {
    stores.Movement: (("Happened on", "entry__happened_on"), ("Unit", "part__unit")),
    stores.Holding: (
        ("Unit", "part__unit"),
        ("Piece or thing", "lot__number"),
        ("Condition", "lot__condition"),
    ),
    stores.Need: (("Unit", "part__unit"),),
    work.Finish: (("Done on", "job__done_on"),),
    buying.Line: (
        *(("Ordered on", "order__ordered_on"), ("Supplier", "order__supplier__name")),
        *(("Order state", "order__state"), ("Reference", "order__reference"), ("Rate", "order__rate")),
        *(("Expected on", "order__expected_on"), ("Order note", "order__note")),
        *(("Part retired at", "part__retired_at"), ("Place retired at", "place__retired_at")),
        *(("Weight of one, kg", "part__weight_kg"), ("Last came on", LAST_CAME)),
    ),
    buying.DeliveryLine: (("Arrived on", "delivery__arrived_on"), ("Order", "line__order__number")),
    buying.Share: (("Order", "line__order__number"),),
    buying.CreditShare: (("Order", "line__order__number"), ("Came on", "credit__came_on")),
    buying.ReturnLine: (("Order", "line__order__number"), ("Sent on", "back__sent_on")),
    buying.PaymentSplit: (("Paid on", "payment__paid_on"),),
}
# Where the column's own name would not be understood.
HEADINGS: dict[str, str] = {
    "area": "Area",
    "before": "To be done",
    "Correction.before": "Before",
    "by": "By",
    "came_on": "Money came on",
    "counted": "Stands in sums",
    "delivered": "Of it arrived",
    "effect": "Adds to the cost",
    "entry": "What was done",
    "goods": "Goods",
    "guess": "Guess",
    "home": "In the boat's money",
    "kept": "Kept",
    "landed": "Cost all in",
    "lot": "Batch",
    "refunded": "Money back",
    "said": "What was done",
    "wont_come": "Won't come",
    "back": "Sent back",
    "packs": "How many as sold",
    "pack_size": "Units in one as sold",
    "unit_price": "Price of one as sold",
    "sha256": "Digest (SHA-256)",
    "size": "Bytes",
    "web": "Web address",
    "words": "In words",
    "user": "Person",
    "Gear.where": "Where it is fitted",
    "where": "Whereabouts",
    "days": "Days",
    "Job.days": "Days of work",
    "dry": "Needs dry weather",
    "bought_on": "Ours since",
    "day": "Day",
    "hour_rate": "An own hour is worth",
    "is_tool": "A tool",
    "lead_days": "Days until it is here",
    "surface_days": "Days by land or sea",
    "Offer.price": "Price of one as sold",
    "Promise.day": "Day promised",
    "weekdays": "Days worked, from Monday",
}
