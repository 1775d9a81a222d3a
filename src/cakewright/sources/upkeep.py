"""Numbers of upkeep: how early what is due is announced."""

from cakewright.sources.reference import Reference, Status

_OURS = "chosen by us"

GAUGE_SOON_DAYS = Reference("upkeep.gauge_soon_days", 14.0, "d", Status.DEFAULT, _OURS, "announced so long before")
TRAINING_SOON_DAYS = Reference(
    "upkeep.training_soon_days", 30.0, "d", Status.DEFAULT, _OURS, "an authority that ends is announced so long before"
)
SERVICE_SOON_SHARE = Reference(
    "upkeep.service_soon_share", 0.9, "of the interval", Status.DEFAULT, _OURS, "from here on upkeep is announced"
)
