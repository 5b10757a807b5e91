"""The table of addresses: address, view, right. Every page of the program is one row here.

An address without a right does not start: a test and `guarded` both ask for it.
"""

from refit.boat.rights import Right
from refit.pages.guarding import Address
from refit.pages.views import (
    accounts,
    boats,
    deliveries,
    entry,
    find,
    jobs,
    labels,
    lockers,
    moves,
    order_form,
    orders,
    papers,
    parts,
    people,
    places,
    scan,
    spares,
    spend,
    stow,
    suppliers,
    systems,
    today,
)

BOAT: tuple[Address, ...] = (
    # Today, find, people
    Address("", today.today, Right.SEE, "today"),
    Address("find/", find.find, Right.SEE, "find"),
    Address("clock/", today.clock_is_right, Right.STOW, "clock", methods=("POST",)),
    Address("in-and-out/", moves.moves, Right.SEE_ALL, "moves", methods=("GET",)),
    Address("in-and-out/<int:entry>/undo/", moves.undo, Right.STOW, "entry-undo", methods=("POST",)),
    Address("missing/", moves.missing, Right.SEE_ALL, "missing", methods=("GET",)),
    Address("missing/<int:pk>/close/", moves.missing_close, Right.STOW, "missing-close", methods=("POST",)),
    Address("missing/<int:pk>/open/", moves.missing_open, Right.STOW, "missing-open", methods=("POST",)),
    # Places
    Address("lockers/", lockers.lockers, Right.SEE, "lockers", methods=("GET",)),
    Address("lockers/new/", places.new, Right.SET_UP, "place-new"),
    Address("lockers/quick/", places.quick, Right.SET_UP, "places-quick"),
    Address(
        "lockers/quick/undo/", places.quick_undo, Right.SET_UP, "places-quick-undo", methods=("POST",)
    ),
    Address("lockers/swap/", places.swap, Right.SET_UP, "places-swap"),
    Address("lockers/not-stowed/", stow.not_stowed, Right.SEE_ALL, "not-stowed", methods=("GET",)),
    Address("lockers/<str:code>/", lockers.locker, Right.SEE, "locker", methods=("GET",)),
    Address("lockers/<str:code>/put-in/", stow.put_in, Right.STOW, "put-in"),
    Address("lockers/<str:code>/move/", stow.move, Right.STOW, "move"),
    Address("lockers/<str:code>/put-away/", stow.put_away, Right.STOW, "put-away"),
    Address("lockers/<str:code>/count/", stow.count, Right.STOW, "count"),
    Address("lockers/<str:code>/take/<int:holding>/", stow.take, Right.STOW, "take"),
    Address("lockers/<str:code>/correct/<int:holding>/", stow.correct, Right.STOW, "correct"),
    Address(
        "lockers/<str:code>/not-there/<int:holding>/",
        stow.not_there,
        Right.STOW,
        "not-there",
        methods=("POST",),
    ),
    Address("lockers/<str:code>/level/<int:holding>/", stow.level, Right.STOW, "level", methods=("POST",)),
    Address("lockers/<str:code>/change/", places.change, Right.SET_UP, "place-change"),
    Address("lockers/<str:code>/photo/", places.photo, Right.SET_UP, "place-photo", methods=("POST",)),
    Address("lockers/<str:code>/into/", places.into, Right.STOW, "place-into"),
    Address(
        "lockers/<str:code>/back-into/<str:parent>/",
        places.back_into,
        Right.STOW,
        "place-back-into",
        methods=("POST",),
    ),
    Address("lockers/<str:code>/retire/", places.retire, Right.SET_UP, "place-retire"),
    Address(
        "lockers/<str:code>/use-again/", places.use_again, Right.SET_UP, "place-use-again", methods=("POST",)
    ),
    # Labels
    Address("labels/", labels.labels, Right.SET_UP, "labels"),
    Address("labels/sheet.pdf", labels.sheet, Right.SET_UP, "labels-sheet", methods=("GET",)),
    Address("labels/preview.svg", labels.preview, Right.SET_UP, "labels-preview", methods=("GET",)),
    Address("labels/<str:code>/", labels.blank, Right.SET_UP, "label-blank"),
    Address("labels/<str:code>/unbind/", labels.unbind, Right.SET_UP, "label-unbind", methods=("POST",)),
    # Parts
    Address("parts/", parts.parts, Right.SEE, "parts", methods=("GET",)),
    Address("parts/new/", parts.new, Right.WORK, "part-new"),
    Address("parts/<int:pk>/", parts.part, Right.SEE, "part", methods=("GET",)),
    Address("parts/<int:pk>/change/", parts.change, Right.WORK, "part-change"),
    Address("parts/<int:pk>/number/", parts.number_add, Right.WORK, "part-number-add", methods=("POST",)),
    Address(
        "parts/<int:pk>/number/<int:number>/remove/",
        parts.number_remove,
        Right.WORK,
        "part-number-remove",
        methods=("POST",),
    ),
    Address("parts/<int:pk>/photo/", parts.photo, Right.WORK, "part-photo", methods=("POST",)),
    Address("parts/<int:pk>/retire/", parts.retire, Right.WORK, "part-retire", methods=("POST",)),
    Address("parts/<int:pk>/use-again/", parts.use_again, Right.WORK, "part-use-again", methods=("POST",)),
    Address("parts/<int:pk>/delete/", parts.delete, Right.WORK, "part-delete", methods=("POST",)),
    Address("spares/", spares.spares, Right.SEE_ALL, "spares", methods=("GET",)),
    Address("spares.pdf", spares.pdf, Right.SEE_ALL, "spares-pdf", methods=("GET",)),
    Address("spares.xlsx", spares.xlsx, Right.SEE_ALL, "spares-xlsx", methods=("GET",)),
    # Jobs
    Address("jobs/", jobs.jobs, Right.SEE, "jobs", methods=("GET",)),
    Address("jobs/new/", jobs.new, Right.WORK, "job-new"),
    Address("jobs/<int:number>/", jobs.job, Right.SEE, "job", methods=("GET",)),
    Address("jobs/<int:number>/change/", jobs.change, Right.WORK, "job-change"),
    Address("jobs/<int:number>/state/", jobs.state, Right.WORK, "job-state", methods=("POST",)),
    Address("jobs/<int:number>/need/", jobs.need_add, Right.WORK, "need-add", methods=("POST",)),
    Address(
        "jobs/<int:number>/need/<int:need>/remove/",
        jobs.need_remove,
        Right.WORK,
        "need-remove",
        methods=("POST",),
    ),
    Address(
        "jobs/<int:number>/need/<int:need>/close/",
        jobs.need_close,
        Right.WORK,
        "need-close",
        methods=("POST",),
    ),
    Address(
        "jobs/<int:number>/need/<int:need>/open/", jobs.need_open, Right.WORK, "need-open", methods=("POST",)
    ),
    # Orders
    Address("orders/", orders.orders, Right.SEE_MONEY, "orders", methods=("GET",)),
    Address("orders/new/", order_form.new, Right.BUY, "order-new"),
    Address("orders/totals/", order_form.totals, Right.BUY, "order-totals", methods=("POST",)),
    Address("orders/known/", order_form.known, Right.BUY, "order-known", methods=("GET",)),
    Address("orders/<int:number>/", orders.order, Right.SEE_MONEY, "order", methods=("GET",)),
    Address("orders/<int:number>/change/", order_form.change, Right.BUY, "order-change"),
    Address("orders/<int:number>/place/", orders.place, Right.BUY, "order-place", methods=("POST",)),
    Address("orders/<int:number>/draft/", orders.draft, Right.BUY, "order-draft", methods=("POST",)),
    Address("orders/<int:number>/cancel/", orders.cancel, Right.BUY, "order-cancel", methods=("POST",)),
    Address("orders/<int:number>/uncancel/", orders.uncancel, Right.BUY, "order-uncancel", methods=("POST",)),
    Address(
        "orders/<int:number>/throw-away/", orders.throw_away, Right.BUY, "order-throw-away", methods=("POST",)
    ),
    Address("orders/<int:number>/unbuy/", orders.unbuy, Right.BUY, "order-unbuy", methods=("POST",)),
    Address("orders/<int:number>/book-in/", deliveries.book_in, Right.BUY, "book-in"),
    Address(
        "orders/<int:number>/book-in/parts/",
        deliveries.came_as_parts,
        Right.BUY,
        "book-in-parts",
        methods=("GET",),
    ),
    Address("orders/<int:number>/all-came/", deliveries.all_came, Right.BUY, "all-came", methods=("POST",)),
    Address("deliveries/<int:pk>/undo/", deliveries.undo, Right.BUY, "delivery-undo", methods=("POST",)),
    Address("orders/<int:number>/papers/", papers.attach, Right.BUY, "order-paper", methods=("POST",)),
    Address(
        "orders/<int:number>/papers/<str:papers>/on/",
        papers.put_on,
        Right.BUY,
        "order-papers-on",
        methods=("POST",),
    ),
    Address(
        "orders/<int:number>/papers/<str:papers>/off/",
        papers.take_off,
        Right.BUY,
        "order-papers-off",
        methods=("POST",),
    ),
    Address("suppliers/", suppliers.suppliers, Right.SEE_MONEY, "suppliers", methods=("GET",)),
    Address("suppliers/<int:pk>/", suppliers.supplier, Right.SEE_MONEY, "supplier"),
    Address("receipts/", papers.tray, Right.BUY, "tray"),
    Address("receipts/<str:papers>/", papers.sort, Right.BUY, "paper-sort", methods=("POST",)),
    Address("receipts/<str:papers>/back/", papers.back, Right.BUY, "paper-back", methods=("POST",)),
    Address("papers/<int:number>/", papers.paper, Right.SEE, "paper", methods=("GET",)),
    Address("papers/<int:number>/small/", papers.small, Right.SEE, "paper-small", methods=("GET",)),
    # Spend
    Address("spend/", spend.spend, Right.SEE_MONEY, "spend", methods=("GET",)),
    Address("spend.xlsx", spend.xlsx, Right.SEE_MONEY, "spend-xlsx", methods=("GET",)),
    Address("spend/lines/", spend.lines, Right.SEE_MONEY, "spend-lines", methods=("GET",)),
    Address("systems/", systems.systems, Right.SET_UP, "systems"),
    Address("systems/<int:pk>/", systems.system, Right.SET_UP, "system"),
    Address("systems/<int:pk>/budget/", systems.budget, Right.SET_UP, "system-budget", methods=("POST",)),
    # The boat and its people
    Address("boat/", boats.boat, Right.OWN, "boat"),
    Address("people/", people.people, Right.OWN, "people"),
    Address("people/<int:pk>/", people.person, Right.OWN, "person", methods=("POST",)),
    Address("people/<int:pk>/remove/", people.remove, Right.OWN, "person-remove", methods=("POST",)),
)

# No boat in the address: each view says for itself who may.
ANYWHERE: tuple[Address, ...] = (
    Address("", entry.home, None, "home"),
    Address("healthz", entry.healthz, None, "healthz"),
    Address("accounts/sign-in/", accounts.sign_in, None, "sign-in"),
    Address("accounts/sign-out/", accounts.sign_out, None, "sign-out"),
    Address("accounts/password/", accounts.password, None, "password"),
    Address("accounts/first/<str:token>/", accounts.first_owner, None, "first-owner"),
    Address("accounts/boat/", accounts.first_boat, None, "first-boat"),
    Address("accounts/boat/systems/", accounts.first_systems, None, "first-systems"),
    Address("accounts/boat/lockers/", accounts.first_lockers, None, "first-lockers"),
    Address("scan/", scan.scan, None, "scan"),
)
