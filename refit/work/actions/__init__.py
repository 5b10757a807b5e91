"""Every change of the work list. The commonest verbs are here by name; dates and doing have modules of their own."""

from refit.work.actions.jobs import add_job, change_job, found_job, plan_job, remove_job, set_state

__all__ = ["add_job", "change_job", "found_job", "plan_job", "remove_job", "set_state"]
