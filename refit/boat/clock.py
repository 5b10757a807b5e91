"""The boat's own day: what today is in the time zone that she keeps."""

import zoneinfo
from datetime import date

from django.utils import timezone

from refit.boat.models import Boat


def zone(boat: Boat) -> zoneinfo.ZoneInfo:
    """Return the boat's time zone, or UTC where the name is not known on this machine."""
    try:
        return zoneinfo.ZoneInfo(boat.time_zone)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError):
        return zoneinfo.ZoneInfo("UTC")


def day_of(boat: Boat) -> date:
    """Return what day it is on board, by this machine's clock."""
    return timezone.localdate(timezone=zone(boat))
