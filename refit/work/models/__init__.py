"""The work list: jobs, what they come after and when, who worked on them, how they were done. Knows no parts."""

from refit.work.models.dates import (
    After,
    Booking,
    CalendarFeed,
    DayAway,
    Milestone,
    MilestoneKind,
    WorkTerms,
)
from refit.work.models.doing import Bag, DoneBy, Finish, Hours
from refit.work.models.jobs import (
    OPEN_STATES,
    TRANSITIONS,
    Before,
    Estimate,
    EstimateAmount,
    Job,
    JobPaper,
    JobQuerySet,
    JobTrait,
    Moment,
    Priority,
    State,
    Trait,
)

__all__ = [
    "OPEN_STATES",
    "TRANSITIONS",
    "After",
    "Bag",
    "Before",
    "Booking",
    "CalendarFeed",
    "DayAway",
    "DoneBy",
    "Estimate",
    "EstimateAmount",
    "Finish",
    "Hours",
    "Job",
    "JobPaper",
    "JobQuerySet",
    "JobTrait",
    "Milestone",
    "MilestoneKind",
    "Moment",
    "Priority",
    "State",
    "Trait",
    "WorkTerms",
]
