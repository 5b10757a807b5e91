"""What a job wants: rounded up to sets, changed, replaced half way, copied, from a list, with what goes with it."""

from datetime import date

import pytest

from refit.stores.actions import kit_lists, needs, stow
from refit.stores.actions.parts import add_need
from refit.stores.models import Companion, KitList, KitListLine, Need
from tests.factory import D
from tests.refusing import refuse


@pytest.fixture
def who(make) -> dict:
    return {"by": make.owner, "on": make.today, "today": make.today}


def test_what_is_fitted_in_sets_is_wanted_in_sets(make):
    bolt = make.part("Injector bolt", sets_of=4)
    assert needs.in_sets(bolt, D(6)) == (D(8), " Fitted in sets of 4: 6 becomes 8.")
    assert needs.in_sets(bolt, D(8)) == (D(8), "")
    assert needs.in_sets(None, D(6)) == (D(6), "")


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"quantity": D(0)}, "nothing"),
        ({"part": None, "words": ""}, "empty"),
        ({"one_piece": True}, "no_pieces"),
        ({"wanted_by": date(1, 1, 1)}, "day"),
        ({"wanted_by": date(9999, 1, 1)}, "day"),
    ],
)
def test_what_no_job_can_want(make, change, code):
    need = add_need(make.job(), part=make.part(), words="", quantity=D(1))
    refuse(code, lambda: needs.change_need(need, **needs.facts_of(need) | change))


def test_a_need_is_changed_and_changed_back(make):
    need = add_need(make.job(), part=None, words="long bolt", quantity=D(2))
    before = needs.facts_of(need)
    after = {"part": make.part(sets_of=4), "words": "", "quantity": D(5), "wanted_by": make.today,
             "one_piece": False, "must_fit": "M8"}  # fmt: skip
    changed = needs.change_need(need, **after)
    assert (changed.quantity, changed.words, changed.must_fit) == (8, "", "M8")
    back = needs.change_need(changed, **before)
    assert (back.part, back.words, back.quantity, back.wanted_by) == (None, "long bolt", 2, None)


def test_a_part_replaced_half_way(make, who):
    """What was taken of the old one stays; what is left is wanted of the newest."""
    newest = make.part("Filter C", sets_of=2)
    middle = make.part("Filter B", superseded_by=newest)
    old = make.part("Filter A", superseded_by=middle)
    need = add_need(make.job(), part=old, words="", quantity=D(4))
    stow.take(make.stock(old, make.place(), 1), D(1), job=need.job, **who)
    needs.use_newer(need)
    found = {row.part.name: row.quantity for row in Need.objects.all()}
    assert found == {"Filter A": 1, "Filter C": 4}
    refuse("not_replaced", lambda: needs.use_newer(need))


def test_another_jobs_needs_are_copied(make, who):
    one, other = make.job(), make.job()
    refuse("nothing", lambda: needs.copy_needs(one, other, on=make.today))
    refuse("same_job", lambda: needs.copy_needs(one, one, on=make.today))
    add_need(other, part=make.part(), words="", quantity=D(3), must_fit="M8")
    add_need(other, part=None, words="rags", quantity=D(1))
    made = needs.copy_needs(one, other, on=make.today)
    assert [(need.quantity, need.must_fit) for need in made] == [(3, "M8"), (1, "")]
    needs.remove_needs(made)
    assert Need.objects.filter(job=one).count() == 0


def test_what_goes_with_a_part(make):
    hose, clip = make.part("Hose"), make.part("Clip")
    make_it = lambda **facts: needs.add_companion(  # noqa: E731
        hose, **{"other": clip, "words": "", "quantity": D(2), "is_tool": False, **facts}
    )
    made = make_it()
    make_it(other=None, words="10 mm reamer", quantity=D(1), is_tool=True)
    refuse("twice", make_it)
    refuse("twice", lambda: make_it(other=None, words="10 mm reamer"))
    refuse("itself", lambda: make_it(other=hose))
    refuse("empty", lambda: make_it(other=None))
    refuse("nothing", lambda: make_it(quantity=D(0)))
    needs.remove_companion(made)
    assert Companion.objects.get().words == "10 mm reamer"


def test_a_list_kept_for_work_that_comes_again(make):
    job, part = make.job(), make.part()
    refuse("nothing", lambda: kit_lists.list_of_job(job, "Engine service"))
    add_need(job, part=part, words="", quantity=D(2))
    made = kit_lists.list_of_job(job, "Engine service")
    refuse("taken", lambda: kit_lists.make_list(make.boat, "Engine service", []))
    refuse("required", lambda: kit_lists.make_list(make.boat, "", []))
    line = kit_lists.add_line(made, part=None, words="rags", quantity=D(1))
    refuse("nothing", lambda: kit_lists.add_line(made, part=part, words="", quantity=D(0)))
    wants = kit_lists.use_list(made, make.job(), on=make.today)
    assert [(str(need), need.quantity) for need in wants] == [(part.name, 2), ("rags", 1)]
    kit_lists.remove_line(line)
    assert KitListLine.objects.count() == 1
    kit_lists.throw_away(made)
    assert not KitList.objects.exists()
    assert Need.objects.count() == 3
