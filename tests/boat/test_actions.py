"""The boat's own actions: they work, they are refused by their code, and a refusal leaves no trace."""

import pytest

from refit.boat import formkeys
from refit.boat.actions import boats, labels, papers, places
from refit.boat.models import Boat, FormKey, Label, Location, Member, Paper
from refit.boat.refusals import Refused
from refit.buying import spend
from refit.calc import codes
from tests.boat.whole import picture
from tests.factory import Factory
from tests.refusing import refuse

pytestmark = pytest.mark.usefixtures("clean_ledger")


def test_a_boat_begins_with_an_owner_and_a_place_for_parcels(make):
    """Its slug is free, is no page's name, and counts on."""
    for name, slug in (
        ("Scan", "scan-1"),
        ("Tern", "tern"),
        ("Tern", "tern-2"),
        ("Öres", "ores"),
        ("船", "boat"),
    ):
        boat = boats.make_boat(make.owner, name=name, currency="SEK")
        assert boat.slug == slug
        assert boat.locations.get().kind == "unstowed"
        assert boat.members.get().role == "owner"
    refuse("currency", lambda: boats.make_boat(make.owner, name="X", currency="XAU"))


def test_the_boats_money_stays(make):
    """Every sum is kept in it."""
    assert boats.change_boat(make.boat, name="New name", currency="GBP").name == "New name"
    refuse("currency", lambda: boats.change_boat(make.boat, currency="EUR"))
    assert Boat.objects.get().slug == "test-boat"


def test_one_owner_always_stays(make):
    """Whoever leaves or changes their role."""
    owner = make.member(make.owner)
    refuse("last_owner", lambda: boats.add_member(make.boat, make.owner, "crew"))
    refuse("last_owner", lambda: boats.remove_member(make.boat, owner))
    boats.add_member(make.boat, make.crew, "owner")
    boats.remove_member(make.boat, owner)
    refuse("last_owner", lambda: boats.remove_member(make.boat, make.member(make.crew)))
    assert Member.objects.filter(boat=make.boat).count() == 3


def test_systems_and_budgets(make):
    """One of a name; the newest budget counts and the earlier ones stay."""
    assert boats.add_systems(make.boat, [("ENGINE", "200", True), ("Rig", "100", True)])[0].name == "Rig"
    refuse("taken", lambda: boats.change_system(make.system, name="Rig", group="200", of_the_boat=True))
    assert boats.change_system(make.system, name="Engine", group="300", of_the_boat=False).group == "300"
    for amount in (100, 250):
        boats.set_budget(make.system, amount, on=make.today, by=make.owner)
    refuse("negative", lambda: boats.set_budget(make.system, -1, on=make.today, by=make.owner))
    assert spend.budgets(make.boat, make.today) == {make.system.pk: 250}
    assert make.system.budgets.count() == 2


@pytest.mark.parametrize("mark", ["S1", "s1", "S 1", "S-1"])
def test_a_mark_is_used_once(make, mark):
    """However it is typed; free again when its place is retired."""
    place = make.place("S1")
    refuse("taken", lambda: make.place(mark))
    places.retire_empty(place, None)
    again = make.place(mark)
    refuse("taken", lambda: places.use_again(place))
    assert again.code != place.code


def test_places_that_cannot_be(make):
    """Each with the reason."""
    unstowed = Location.objects.get(boat=make.boat, kind="unstowed")
    refuse("kind", lambda: make.place(kind="unstowed"))
    refuse("parent", lambda: make.place(kind="area"))
    refuse("parent", lambda: places.add_place(make.boat, kind="locker", parent=None, mark="X"))
    refuse("parent", lambda: make.place(parent=unstowed))
    refuse("too_long", lambda: make.place("M" * 13))
    gone = make.place()
    places.retire_empty(gone, None)
    refuse("retired", lambda: make.place(parent=gone))
    refuse("unnamed", lambda: places.change_place(make.place(), mark="", name=""))
    deep = make.area
    for _ in range(places.DEEPEST - 1):
        deep = make.place(parent=deep, kind="box")
    refuse("too_deep", lambda: make.place(parent=deep))


def test_a_box_moves_with_all_that_is_in_it(make):
    """Never into itself; its whereabouts follow."""
    box = make.place("B1", kind="box")
    bag = make.place("B2", parent=box, kind="bag")
    places.move_place(box, make.ashore)
    bag.refresh_from_db()
    assert (bag.area, bag.where) == (make.ashore, "ashore")
    for into in (box, bag):
        refuse("into_itself", lambda into=into: places.move_place(box, into))
    refuse("kind", lambda: places.move_place(make.area, make.ashore))
    places.change_place(make.ashore, mark="", name="Loft", where="away", days_away=3)
    bag.refresh_from_db()
    assert (bag.where, bag.days_away) == ("away", 3)


def test_the_quick_list(make):
    """Marks and names, each with a label of its own."""
    made = places.add_places(make.boat, "P1-P3, Forepeak", make.area)
    assert [place.plate for place in made][:3] == ["P1", "P2", "P3"]
    assert len({place.code for place in made}) == 4
    refuse("taken", lambda: places.add_places(make.boat, "P3", make.area))
    refuse("quick_list", lambda: places.add_places(make.boat, "P9-P1", make.area))


def test_labels(make):
    """Valid codes; a blank one goes to one place; taken off, the earlier leads there again; two can be swapped."""
    blank, other = labels.mint(make.boat, 2)
    assert codes.canonical(blank.code) == blank.code
    one, two = make.place("S1"), make.place("S2")
    first = one.code
    refuse("only_label", lambda: labels.unbind(Label.objects.get(code=first)))
    labels.bind(blank, one)
    refuse("in_use", lambda: labels.bind(blank, two))
    refuse("in_use", lambda: make.place(label=Label.objects.get(pk=blank.pk)))
    refuse("blank", lambda: labels.unbind(other))
    one.refresh_from_db()
    assert one.code == blank.code
    labels.swap(one, two)
    assert Label.objects.get(code=first).location == two
    labels.swap(one, two)
    labels.unbind(blank)
    one.refresh_from_db()
    assert one.code == first
    refuse("same", lambda: labels.swap(one, one))
    places.retire_empty(two, None)
    refuse("retired", lambda: labels.swap(one, two))
    refuse("retired", lambda: labels.bind(other, two))
    for how_many in (0, -1, 2001):
        refuse("how_many", lambda how_many=how_many: labels.mint(make.boat, how_many))


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "empty"),
        (b"hello", "not_a_picture"),
        (b"<svg xmlns='x'/>", "not_a_picture"),
        (b"%PDF-1.4 cut short", "not_a_picture"),
        (picture(kind="GIF"), "not_a_picture"),
        (picture()[:60], "not_a_picture"),
        (picture(size=(8000, 6000)), "too_large"),
        (b"x" * (25 * 1024 * 1024 + 1), "too_large"),
    ],
    ids=["nothing", "words", "svg", "cut pdf", "gif", "cut picture", "bomb", "huge"],
)
def test_a_file_that_is_no_paper(make, data, code):
    """Judged by its content, before it is unfolded."""
    refuse(code, lambda: papers.add_paper(make.boat, data, kind="photo", by=make.owner))


def test_a_paper_is_kept_once(make):
    """The same content is the same paper, readable by its owner only; the tray is left and entered again."""
    data = picture(kind="JPEG")
    paper = papers.add_paper(make.boat, data, kind="receipt", by=make.owner, in_tray=True)
    assert papers.add_paper(make.boat, data, kind="photo", by=make.crew) == paper
    file = papers.file_of(paper)
    assert file.read_bytes() == data
    assert file.stat().st_mode & 0o077 == 0
    papers.leave_tray(paper)
    assert not Paper.objects.get().in_tray
    papers.back_to_tray(paper)
    assert Paper.objects.get().in_tray


def test_a_form_acts_once(make):
    """The same key with the same content is done already; other content, another person or another key is new."""
    from django.db import transaction

    content = formkeys.digest([("a", "1"), ("b", "2")])
    assert content == formkeys.digest([("b", "2"), ("a", "1")])
    assert content != formkeys.digest([("a", "12"), ("b", "")])
    with transaction.atomic():
        kept = formkeys.claim(make.boat, make.owner, "key", content)
    kept.led_to = "/there/"
    kept.save()
    with pytest.raises(formkeys.AlreadyDone) as done, transaction.atomic():
        formkeys.claim(make.boat, make.owner, "key", content)
    assert (done.value.led_to, done.value.done_at) == ("/there/", kept.done_at)
    with transaction.atomic():
        formkeys.claim(make.boat, make.owner, "key", formkeys.digest([("a", "2")]))
        formkeys.claim(make.boat, make.crew, "key", content)
        formkeys.claim(None, make.owner, "other", content)
    assert FormKey.objects.count() == 4


def test_a_refusal_is_a_sentence_with_a_code():
    """And may name the field at fault."""
    refused = Refused("There is 1.", code="more", field="quantity")
    assert (refused.sentence, refused.code, refused.field) == ("There is 1.", "more", "quantity")


def test_cautions_of_a_place(make):
    """Set anew as a whole; one that is not known is no caution."""
    place = make.place()
    places.set_cautions(place, [("gas", ""), ("bilge", "pump")])
    places.set_cautions(place, [("seacock", "heads")])
    assert [(caution.kind, caution.words) for caution in place.cautions.all()] == [("seacock", "heads")]
    with pytest.raises(ValueError, match="dragon"):
        places.set_cautions(place, [("dragon", "")])


def test_boats_do_not_see_each_others_marks(make):
    """Each boat has an S1 of its own."""
    assert make.place("S1").mark == Factory.start("Other Boat", prefix="other").place("S1").mark
