"""Numbers of upkeep: how early what is due is announced."""

from cakewright.sources.reference import Reference, Status

_OURS = "chosen by us"

GAUGE_SOON_DAYS = Reference("upkeep.gauge_soon_days", 14.0, "d", Status.DEFAULT, _OURS, "announced so long before")
