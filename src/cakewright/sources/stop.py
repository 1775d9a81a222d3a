"""Numbers for a build that stopped before its end."""

from cakewright.sources.reference import Reference, Status

STOP_MARGIN = Reference(
    name="stop.margin",
    value=2.0,
    unit="mm",
    status=Status.DEFAULT,
    source="chosen by us: pieces that end this close below the stop cooled under another bed than planned",
    note="replace by what your own inspection of stopped builds shows; pieces inside it are looked at, not scrapped",
    low=0.0,
    high=20.0,
)
