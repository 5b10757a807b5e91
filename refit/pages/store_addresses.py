"""Addresses of what jobs want and of things as they are: needs, lists, pieces, kits, bags, fetching."""

from refit.boat.rights import Right
from refit.pages.guarding import Address
from refit.pages.views import as_they_are, bags, fetch, kit_lists, needs

GET, POST = ("GET",), ("POST",)
BAG = "bags/<int:bag>/"
NEED = "jobs/<int:number>/need/<int:need>/"

STORES: tuple[Address, ...] = (
    Address("parts/near/", needs.near, Right.WORK, "parts-near", methods=("GET",)),
    Address("jobs/<int:number>/need/", needs.add, Right.WORK, "need-add", methods=POST),
    Address(f"{NEED}change/", needs.change, Right.WORK, "need-change"),
    Address(f"{NEED}keep/", needs.keep, Right.WORK, "need-keep", methods=POST),
    Address(f"{NEED}newer/", needs.newer, Right.WORK, "need-newer", methods=POST),
    Address(f"{NEED}with/", needs.with_it, Right.WORK, "need-with", methods=POST),
    Address("jobs/<int:number>/needs/copy/", needs.copy, Right.WORK, "needs-copy", methods=POST),
    Address("jobs/<int:number>/needs/list/", needs.from_list, Right.WORK, "needs-from-list", methods=POST),
    Address("jobs/<int:number>/needs/as-list/", needs.as_list, Right.WORK, "needs-as-list", methods=POST),
    Address(
        "jobs/<int:number>/needs/<str:needs_named>/remove/",
        needs.remove_all,
        Right.WORK,
        "needs-remove",
        methods=POST,
    ),
    # Lists kept for work that comes again
    Address("kits/", kit_lists.kits, Right.WORK, "kits"),
    Address("kits/again/", kit_lists.again, Right.WORK, "kit-again", methods=POST),
    Address("kits/<int:kit>/", kit_lists.kit, Right.WORK, "kit", methods=GET),
    Address("kits/<int:kit>/add/", kit_lists.add, Right.WORK, "kit-add", methods=POST),
    Address(
        "kits/<int:kit>/line/<int:line>/remove/",
        kit_lists.remove,
        Right.WORK,
        "kit-line-remove",
        methods=POST,
    ),
    Address("kits/<int:kit>/delete/", kit_lists.delete, Right.WORK, "kit-delete", methods=POST),
    # What goes with a part, what is in a kit, how a numbered thing is
    Address("parts/<int:pk>/with/", as_they_are.companion_add, Right.WORK, "companion-add", methods=POST),
    Address(
        "parts/<int:pk>/with/<int:companion>/remove/",
        as_they_are.companion_remove,
        Right.WORK,
        "companion-remove",
        methods=POST,
    ),
    Address("parts/<int:pk>/kit/", as_they_are.content_add, Right.WORK, "content-add", methods=POST),
    Address(
        "parts/<int:pk>/kit/<int:content>/remove/",
        as_they_are.content_remove,
        Right.WORK,
        "content-remove",
        methods=POST,
    ),
    Address("things/<int:lot>/condition/", as_they_are.condition, Right.STOW, "lot-condition", methods=POST),
    Address("lockers/<str:code>/cut/<int:holding>/", as_they_are.cut, Right.STOW, "cut"),
    Address("lockers/<str:code>/open-kit/<int:holding>/", as_they_are.open_kit, Right.STOW, "open-kit"),
    Address(
        "lockers/<str:code>/incomplete/<int:holding>/",
        as_they_are.incomplete,
        Right.STOW,
        "kit-incomplete",
        methods=POST,
    ),
    # Taken off the boat; bag and tag
    Address("jobs/<int:number>/off/", bags.taken_off, Right.WORK, "job-off"),
    Address("jobs/<int:number>/bag/", bags.of_job, Right.WORK, "job-bag"),
    Address("labels/<str:code>/bag/", bags.of_label, Right.WORK, "label-bag"),
    Address(f"{BAG}photos/", bags.photos, Right.WORK, "bag-photos", methods=POST),
    Address(f"{BAG}photos/<str:papers>/off/", bags.photos_off, Right.WORK, "bag-photos-off", methods=POST),
    Address(f"{BAG}together/", bags.together, Right.WORK, "bag-together", methods=POST),
    Address(f"{BAG}apart/", bags.apart, Right.WORK, "bag-apart", methods=POST),
    Address(f"{BAG}undo/", bags.undo, Right.WORK, "bag-undo", methods=POST),
    Address(f"{BAG}change/", bags.change, Right.WORK, "bag-change"),
    Address(f"{BAG}need/", bags.need, Right.WORK, "bag-need", methods=POST),
    # Fetching
    Address("jobs/<int:number>/fetch/", fetch.of_job, Right.SEE, "job-fetch", methods=GET),
    Address("jobs/<int:number>/fetch.pdf", fetch.pdf_of_job, Right.SEE, "job-fetch-pdf", methods=GET),
    Address("fetch/", fetch.of_jobs, Right.SEE, "fetch", methods=GET),
    Address("fetch.pdf", fetch.pdf_of_jobs, Right.SEE, "fetch-pdf", methods=GET),
    Address("fetch/take/", fetch.take, Right.STOW, "fetch-take", methods=POST),
)
