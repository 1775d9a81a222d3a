"""Cautions attached to the work, each with its source.

They are the usual ones and never complete: the safety data sheet, the machine's manual and local rules
win, and the licensed person decides. `cautions_for` gives those of a task on the calendar,
`cautions_of` those of a kind of work such as weighing powder.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from cakewright.model.plan import TaskKind
from cakewright.sources import safety as numbers
from cakewright.sources.reference import Status

CLOSING = "Safety data sheet, manual and local rules win. In doubt: stop, and ask the licensed person."


class Work(StrEnum):
    """Work that can hurt, in the words of the floor."""

    POWDER = "handle powder"
    BLEND = "weigh, mix and fill powder"
    MACHINE = "work at the machine"
    HOT_CAKE = "lift a hot chamber"
    OPEN_CAKE = "open a cake"
    SIEVE = "sieve and recover"
    BLAST = "blast"
    BATH = "dye or smooth"


@dataclass(frozen=True, slots=True)
class Caution:
    """One thing to wear, do or leave.

    `short` is printed on sheets, `why` explains; `source` and `status` say how far it can be trusted.
    """

    key: str
    short: str
    why: str
    source: str
    status: Status


def _practice(key: str, short: str, why: str) -> Caution:
    return Caution(key, short, why, "common practice, no source", Status.COMMON_PRACTICE)


def _dust() -> Caution:
    limit = numbers.DUST_LOWER_LIMIT
    room_m3 = numbers.DUST_EXAMPLE_MASS.value * 1000 / limit.value
    why = (
        f"PA12 dust in air can explode: from {limit.value:g} g/m³, so {numbers.DUST_EXAMPLE_MASS.value:g} kg thrown up "
        f"is enough for about {room_m3:.0f} m³; up to {numbers.DUST_MAX_PRESSURE.value:g} bar, Kst "
        f"{numbers.DUST_KST.value:g} to {numbers.DUST_KST_SECOND.value:g} bar m/s, cloud ignites at "
        f"{numbers.DUST_CLOUD_IGNITION.value:g} °C. Other powders differ: see their data sheet."
    )
    source = f"{numbers.DUST_KST.source}; {limit.source}; the room size is derived"
    return Caution("dust", "Raise no dust. No flame, no spark, no hot surface near powder.", why, source, Status.READ)


_RESPIRATOR = _practice(
    "respirator",
    "Respirator N95 or better (FFP2/FFP3), fit-tested",
    "Pouring, mixing, filling and break-out raise the most dust.",
)
_GLOVES = _practice("gloves", "Nitrile gloves", "Keeps powder off the skin and skin off the parts.")
_GOGGLES = _practice("goggles", "Tight-fitting goggles", "Fine powder goes round open glasses.")
_HEAT_GLOVES = _practice(
    "heat-gloves", "Heat-resistant gloves", "The chamber and the middle of the cake stay hot for hours."
)
_NO_AIR = _practice(
    "no-open-air",
    "No compressed air in the open; vacuum rated for combustible dust",
    "A blow gun makes the cloud that can ignite.",
)
_EARTH = _practice("earth", "Check the earth strap before powder moves", "Flowing powder charges up and can spark.")
_LAYER = Caution(
    "dust-layer",
    "Wipe or vacuum powder off floor and ledges at once",
    f"Layers thicker than about {numbers.DUST_LAYER_LIMIT.value:g} mm are a usual trigger for cleaning.",
    numbers.DUST_LAYER_LIMIT.source,
    numbers.DUST_LAYER_LIMIT.status,
)
_STATION = Caution(
    "station-distance",
    f"Recovery station {numbers.STATION_DISTANCE.value:g} m or more from desks, not on the office air",
    "Keeps dust and noise away from people who wear no protection.",
    numbers.STATION_DISTANCE.source,
    numbers.STATION_DISTANCE.status,
)
_NO_OPEN = _practice(
    "not-early",
    "Do not open early, do not blow cold air on the cake",
    "Opened hot, parts warp and yellow, and the middle burns.",
)
_TROLLEY = _practice("trolley", "Chamber on its trolley; two people or a hoist for lifting", "A full chamber is heavy.")
_OXYGEN = Caution(
    "oxygen",
    "Nitrogen: room oxygen alarm on; leave the room when it sounds",
    f"Below {numbers.OXYGEN_MINIMUM.value:g} % oxygen the air does not keep you awake, and you do not notice.",
    numbers.OXYGEN_MINIMUM.source,
    numbers.OXYGEN_MINIMUM.status,
)
_INTERLOCK = _practice("interlock", "Never bridge a door switch", "The laser and the heaters are behind the door.")
_MEDIA = _practice(
    "blast-media",
    "Blast with the cabinet's own glass or silica media, door shut, extraction on",
    "Never mix media between filled and unfilled materials; check the media's data sheet, its dust harms lungs.",
)
_EARS = _practice("hearing", "Hearing protection", "Blasting cabinets are loud.")
_BATH = _practice(
    "bath",
    "Bath: apron, chemical gloves, goggles; lid on, extraction on",
    "Dye baths are hot, smoothing chemicals have their own data sheet.",
)

_OF_WORK: dict[Work, tuple[Caution, ...]] = {
    Work.POWDER: (_RESPIRATOR, _GLOVES, _GOGGLES, _dust()),
    Work.BLEND: (_RESPIRATOR, _GLOVES, _GOGGLES, _dust(), _EARTH, _NO_AIR, _LAYER),
    Work.MACHINE: (_INTERLOCK, _OXYGEN),
    Work.HOT_CAKE: (_HEAT_GLOVES, _TROLLEY, _NO_OPEN),
    Work.OPEN_CAKE: (_RESPIRATOR, _GLOVES, _GOGGLES, _HEAT_GLOVES, _dust(), _NO_AIR, _NO_OPEN),
    Work.SIEVE: (_RESPIRATOR, _GLOVES, _GOGGLES, _dust(), _EARTH, _NO_AIR, _STATION),
    Work.BLAST: (_MEDIA, _RESPIRATOR, _GOGGLES, _EARS),
    Work.BATH: (_BATH,),
}

_WORK_OF_TASK: dict[TaskKind, tuple[Work, ...]] = {
    TaskKind.LOAD: (Work.BLEND, Work.MACHINE),
    TaskKind.PRINT: (Work.MACHINE,),
    TaskKind.COOL: (Work.HOT_CAKE,),
    TaskKind.UNLOAD: (Work.HOT_CAKE, Work.MACHINE),
    TaskKind.UNPACK: (Work.OPEN_CAKE, Work.SIEVE),
    TaskKind.CLEAN: (Work.POWDER, Work.SIEVE),
    TaskKind.FINISH: (Work.BLAST, Work.BATH),
    TaskKind.WAIT: (),
    TaskKind.CHANGE: (Work.POWDER, Work.MACHINE),
    TaskKind.SERVICE: (Work.POWDER, Work.MACHINE),
    TaskKind.CLEAN_DOWN: (Work.POWDER, Work.SIEVE),
    TaskKind.TEST: (),
    TaskKind.RESULT: (),
    TaskKind.INSPECT: (),
    TaskKind.PACK: (),
}


def cautions_of(*works: Work) -> tuple[Caution, ...]:
    """The cautions of one or several kinds of work, each once, in the order in which they matter."""
    seen: dict[str, Caution] = {}
    for work in works:
        for caution in _OF_WORK[work]:
            seen.setdefault(caution.key, caution)
    return tuple(seen.values())


def cautions_for(task: TaskKind) -> tuple[Caution, ...]:
    """The cautions of a task on the calendar; empty where only clean parts are handled."""
    return cautions_of(*_WORK_OF_TASK[task])


def to_wear(*works: Work) -> tuple[str, ...]:
    """Only what to put on, short enough for a line on a sheet."""
    worn = {"respirator", "gloves", "goggles", "heat-gloves", "hearing", "bath"}
    return tuple(c.short for c in cautions_of(*works) if c.key in worn)
