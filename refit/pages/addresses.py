"""The table of addresses: address, view, right. Every page of the program is one row here.

An address without a right does not start: a test and `guarded` both ask for it.
"""

from refit.boat.rights import Right
from refit.pages.buy_addresses import BUYING
from refit.pages.guarding import Address
from refit.pages.plan_addresses import FEED, PLAN
from refit.pages.store_addresses import STORES
from refit.pages.views import (
    accounts,
    bills,
    boats,
    copy,
    corrections,
    deliveries,
    disposals,
    entry,
    estimates,
    everything,
    find,
    forecast,
    importing,
    jobs,
    labels,
    lockers,
    moves,
    order_form,
    orders,
    paper_links,
    papers,
    parts,
    payments,
    people,
    places,
    refunds,
    repeats,
    scan,
    spares,
    spend,
    stow,
    suppliers,
    systems,
    today,
)
from refit.pages.work_addresses import WORK

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
    Address("lockers/quick/undo/", places.quick_undo, Right.SET_UP, "places-quick-undo", methods=("POST",)),
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
    # The copy that a phone keeps
    Address("copy/", copy.copy, Right.SEE_ALL, "copy", methods=("GET",)),
    Address("copy.html", copy.file, Right.SEE_ALL, "copy-html", methods=("GET",)),
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
    *STORES,
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
    # Dates, hours, how jobs were done, fitted gear
    *WORK,
    # The plan and what shows dates
    *PLAN,
    # What a job may still cost
    Address(
        "jobs/<int:number>/need/<int:need>/guess/",
        estimates.guess,
        Right.BUY,
        "need-guess",
        methods=("POST",),
    ),
    Address("jobs/<int:number>/estimate/", estimates.add, Right.BUY, "estimate-add", methods=("POST",)),
    Address(
        "jobs/<int:number>/estimate/<int:pk>/change/",
        estimates.change,
        Right.BUY,
        "estimate-change",
        methods=("POST",),
    ),
    Address(
        "jobs/<int:number>/estimate/<int:pk>/close/",
        estimates.close,
        Right.BUY,
        "estimate-close",
        methods=("POST",),
    ),
    Address(
        "jobs/<int:number>/estimate/<int:pk>/open/",
        estimates.reopen,
        Right.BUY,
        "estimate-open",
        methods=("POST",),
    ),
    Address(
        "jobs/<int:number>/estimate/<int:pk>/remove/",
        estimates.remove,
        Right.BUY,
        "estimate-remove",
        methods=("POST",),
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
    Address("orders/<int:number>/correct/", corrections.correct, Right.BUY, "order-correct"),
    # What to order by when, the town run, chasing, prices
    *BUYING,
    # Bills, money back, goods back
    Address("bills/", bills.bills, Right.SEE_MONEY, "bills", methods=("GET",)),
    Address("orders/<int:number>/bill/", bills.add, Right.BUY, "bill-add"),
    Address("bills/<int:pk>/came/", bills.came, Right.BUY, "bill-came"),
    Address("bills/<int:pk>/not-come/", bills.not_come, Right.BUY, "bill-not-come", methods=("POST",)),
    Address("bills/<int:pk>/change/", bills.change, Right.BUY, "bill-change"),
    Address("bills/<int:pk>/take-off/", bills.take_off, Right.BUY, "bill-take-off", methods=("POST",)),
    Address("money-back/", refunds.money_back, Right.SEE_MONEY, "money-back", methods=("GET",)),
    Address("orders/<int:number>/refund/", refunds.add, Right.BUY, "refund"),
    Address("money-back/<int:pk>/came/", refunds.came, Right.BUY, "refund-came"),
    Address(
        "money-back/<int:pk>/not-come/", refunds.not_come, Right.BUY, "refund-not-come", methods=("POST",)
    ),
    Address(
        "money-back/<int:pk>/take-back/", refunds.take_back, Right.BUY, "refund-take-back", methods=("POST",)
    ),
    Address("orders/<int:number>/going-back/", refunds.going_back, Right.BUY, "going-back"),
    Address("going-back/<int:pk>/sent/", refunds.sent, Right.BUY, "return-sent"),
    Address(
        "going-back/<int:pk>/not-sent/", refunds.not_sent, Right.BUY, "return-not-sent", methods=("POST",)
    ),
    Address("going-back/<int:pk>/keep/", refunds.keep, Right.BUY, "return-keep", methods=("POST",)),
    Address("deliveries/<int:pk>/undo/", deliveries.undo, Right.BUY, "delivery-undo", methods=("POST",)),
    Address(
        "orders/<int:number>/papers/",
        paper_links.attach("order"),
        Right.BUY,
        "order-paper",
        methods=("POST",),
    ),
    Address(
        "orders/<int:number>/papers/<str:papers>/on/",
        paper_links.put_on("order"),
        Right.BUY,
        "order-papers-on",
        methods=("POST",),
    ),
    Address(
        "orders/<int:number>/papers/<str:papers>/off/",
        paper_links.take_off("order"),
        Right.BUY,
        "order-papers-off",
        methods=("POST",),
    ),
    # Payments, and what was sold
    Address("payments/", payments.payments, Right.SEE_MONEY, "payments", methods=("GET",)),
    Address("payments/new/", payments.new, Right.BUY, "payment-new"),
    Address("payments/to-pay/", payments.to_pay, Right.SEE_MONEY, "to-pay", methods=("GET",)),
    Address("payments/we-owe/", payments.we_owe, Right.SEE_MONEY, "we-owe", methods=("GET",)),
    Address(
        "payments/store-credit/", payments.store_credit, Right.SEE_MONEY, "store-credit", methods=("GET",)
    ),
    Address("payments/again/", repeats.repeats, Right.SEE_MONEY, "repeats", methods=("GET",)),
    Address("payments/<int:pk>/", payments.payment, Right.SEE_MONEY, "payment", methods=("GET",)),
    Address("payments/<int:pk>/back/", payments.take_back, Right.BUY, "payment-back", methods=("POST",)),
    Address(
        "payments/<int:pk>/paid-back/", payments.paid_back, Right.BUY, "payment-paid-back", methods=("POST",)
    ),
    Address("payments/<int:pk>/owed/", payments.owed_again, Right.BUY, "payment-owed", methods=("POST",)),
    Address("orders/<int:number>/repeat/", repeats.set_repeat, Right.BUY, "repeat"),
    Address("orders/<int:number>/repeat/stop/", repeats.stop, Right.BUY, "repeat-stop", methods=("POST",)),
    Address("orders/<int:number>/repeat/on/", repeats.go_on, Right.BUY, "repeat-go-on", methods=("POST",)),
    Address("orders/<int:number>/again/", repeats.again, Right.BUY, "again"),
    Address(
        "orders/<int:number>/again/<int:made>/undo/",
        repeats.not_again,
        Right.BUY,
        "not-again",
        methods=("POST",),
    ),
    Address("orders/<int:number>/lost/", repeats.lost, Right.BUY, "deposit-lost"),
    Address(
        "orders/<int:number>/lost/<int:delivery>/undo/",
        repeats.deposit_found,
        Right.BUY,
        "deposit-found",
        methods=("POST",),
    ),
    Address("sold/", disposals.disposals, Right.SEE_MONEY, "disposals", methods=("GET",)),
    Address("sold/new/", disposals.new, Right.BUY, "disposal-new"),
    Address("sold/<int:pk>/back/", disposals.take_back, Right.BUY, "disposal-back", methods=("POST",)),
    Address("suppliers/", suppliers.suppliers, Right.SEE_MONEY, "suppliers", methods=("GET",)),
    Address("suppliers/<int:pk>/", suppliers.supplier, Right.SEE_MONEY, "supplier"),
    Address("receipts/", papers.tray, Right.BUY, "tray"),
    Address("receipts/<str:papers>/", papers.sort, Right.BUY, "paper-sort", methods=("POST",)),
    Address("receipts/<str:papers>/back/", papers.back, Right.BUY, "paper-back", methods=("POST",)),
    # Papers
    Address("papers/", papers.papers, Right.SEE, "papers", methods=("GET",)),
    Address("papers/<int:number>/kind/", paper_links.call_it, Right.WORK, "paper-kind", methods=("POST",)),
    Address(
        "parts/<int:pk>/papers/", paper_links.attach("part"), Right.WORK, "part-paper", methods=("POST",)
    ),
    Address(
        "parts/<int:pk>/papers/<str:papers>/on/",
        paper_links.put_on("part"),
        Right.WORK,
        "part-papers-on",
        methods=("POST",),
    ),
    Address(
        "parts/<int:pk>/papers/<str:papers>/off/",
        paper_links.take_off("part"),
        Right.WORK,
        "part-papers-off",
        methods=("POST",),
    ),
    Address(
        "jobs/<int:number>/papers/", paper_links.attach("job"), Right.WORK, "job-paper", methods=("POST",)
    ),
    Address(
        "jobs/<int:number>/papers/<str:papers>/on/",
        paper_links.put_on("job"),
        Right.WORK,
        "job-papers-on",
        methods=("POST",),
    ),
    Address(
        "jobs/<int:number>/papers/<str:papers>/off/",
        paper_links.take_off("job"),
        Right.WORK,
        "job-papers-off",
        methods=("POST",),
    ),
    Address(
        "lockers/<str:code>/papers/",
        paper_links.attach("place"),
        Right.SET_UP,
        "place-paper",
        methods=("POST",),
    ),
    Address(
        "lockers/<str:code>/papers/<str:papers>/on/",
        paper_links.put_on("place"),
        Right.SET_UP,
        "place-papers-on",
        methods=("POST",),
    ),
    Address(
        "lockers/<str:code>/papers/<str:papers>/off/",
        paper_links.take_off("place"),
        Right.SET_UP,
        "place-papers-off",
        methods=("POST",),
    ),
    Address("papers/<int:number>/", papers.paper, Right.SEE, "paper", methods=("GET",)),
    Address("papers/<int:number>/small/", papers.small, Right.SEE, "paper-small", methods=("GET",)),
    # Spend
    Address("spend/", spend.spend, Right.SEE_MONEY, "spend", methods=("GET",)),
    Address("spend.xlsx", spend.xlsx, Right.SEE_MONEY, "spend-xlsx", methods=("GET",)),
    Address("spend/lines/", spend.lines, Right.SEE_MONEY, "spend-lines", methods=("GET",)),
    Address("spend/forecast/", forecast.forecast, Right.SEE_MONEY, "forecast", methods=("GET",)),
    Address("spend/contingency/", forecast.contingency, Right.SET_UP, "contingency", methods=("POST",)),
    Address("spend/why/", forecast.why, Right.SEE_MONEY, "why", methods=("GET",)),
    Address("spend/over-time/", forecast.over_time, Right.SEE_MONEY, "over-time", methods=("GET",)),
    Address("spend/time.svg", forecast.time_svg, Right.SEE_MONEY, "time-svg", methods=("GET",)),
    Address("systems/", systems.systems, Right.SET_UP, "systems"),
    Address("systems/<int:pk>/", systems.system, Right.SET_UP, "system"),
    Address("systems/<int:pk>/budget/", systems.budget, Right.SET_UP, "system-budget", methods=("POST",)),
    # The old spreadsheet
    Address("import/", importing.start, Right.SET_UP, "import"),
    Address("import/check/", importing.look, Right.SET_UP, "import-check"),
    Address("import/write/", importing.bring_in, Right.SET_UP, "import-write", methods=("POST",)),
    Address("import/template.xlsx", importing.template, Right.SET_UP, "import-template", methods=("GET",)),
    Address("import/faults.xlsx", importing.faults, Right.SET_UP, "import-faults", methods=("GET",)),
    # The boat and its people
    Address("boat/", boats.boat, Right.OWN, "boat"),
    Address("everything/", everything.everything, Right.OWN, "everything", methods=("GET",)),
    Address("everything.xlsx", everything.workbook, Right.OWN, "everything-xlsx", methods=("GET",)),
    Address("everything.zip", everything.archive, Right.OWN, "everything-zip", methods=("GET",)),
    Address("people/", people.people, Right.OWN, "people"),
    Address("people/<int:pk>/", people.person, Right.OWN, "person", methods=("POST",)),
    Address("people/<int:pk>/remove/", people.remove, Right.OWN, "person-remove", methods=("POST",)),
)

# No boat in the address: each view says for itself who may.
ANYWHERE: tuple[Address, ...] = (
    Address("", entry.home, None, "home", methods=("GET",)),
    Address("healthz", entry.healthz, None, "healthz", methods=("GET",)),
    Address("accounts/sign-in/", accounts.sign_in, None, "sign-in"),
    Address("accounts/sign-out/", accounts.sign_out, None, "sign-out", methods=("POST",)),
    Address("accounts/password/", accounts.password, None, "password"),
    Address("accounts/first/<str:token>/", accounts.first_owner, None, "first-owner"),
    Address("accounts/boat/", accounts.first_boat, None, "first-boat"),
    Address("accounts/boat/systems/", accounts.first_systems, None, "first-systems"),
    Address("accounts/boat/lockers/", accounts.first_lockers, None, "first-lockers"),
    Address("accounts/boat/label/", accounts.first_label, None, "first-label", methods=("GET",)),
    Address("scan/", scan.scan, None, "scan"),
    FEED,
)
