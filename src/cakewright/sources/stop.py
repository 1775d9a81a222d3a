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

_USUAL = "common practice in laser-sintering cells: what a cause of a stop can have touched below it"


def _margin(cause: str, mm: float, high: float, note: str) -> Reference:
    return Reference(f"stop.margin_{cause}", mm, "mm", Status.COMMON_PRACTICE, _USUAL, note, 0.0, high)


MARGIN_POWER = _margin("power", 3.0, 20.0, "the bed cooled without control; what ends near the stop may have curled")
MARGIN_RECOATER = _margin("recoater", 2.0, 20.0, "a piece was hit or dragged; neighbours at that height may be marked")
MARGIN_POWDER = _margin("powder", 5.0, 30.0, "layers thin out before anybody sees it: the last ones are weak")
MARGIN_LASER = _margin("laser", 5.0, 30.0, "power fades before it fails, so more layers are in doubt")
MARGIN_HEAT = _margin("heat", 10.0, 60.0, "the bed was too cold or too hot for some time before the stop")
MARGIN_FOREIGN = _margin("foreign", 5.0, 60.0, "foreign matter was spread before it was seen")
MARGIN_HAND = _margin("hand", 2.0, 20.0, "somebody stopped it with everything in order")
