"""May this drum be opened: dew point of the room against the temperature of the powder."""

from __future__ import annotations

import math

from cakewright.errors import InputError
from cakewright.findings import Finding, Severity
from cakewright.sources.powder import ACCLIMATISE_H, DEW_POINT_B, DEW_POINT_C, DEW_POINT_MARGIN
from cakewright.units import KELVIN_AT_0_C


def dew_point_c(room_c: float, relative_humidity: float) -> float:
    """Dew point of air in °C: Magnus form, b = 17.625, c = 243.04 °C. Humidity as a share, 0.5 for 50 %.

    Good to about 0.1 K between -40 and 50 °C. Source: `sources.powder.DEW_POINT_B`, `DEW_POINT_C`.
    """
    if not 0.0 < relative_humidity <= 1.0:
        raise InputError(f"a relative humidity of {relative_humidity:g}", remedy="give a share: 0.45 means 45 %")
    if not -KELVIN_AT_0_C < room_c < 100.0:
        raise InputError(f"a room of {room_c:g} °C", remedy="read the thermometer again")
    gamma = math.log(relative_humidity) + DEW_POINT_B.value * room_c / (DEW_POINT_C.value + room_c)
    return DEW_POINT_C.value * gamma / (DEW_POINT_B.value - gamma)


def check_opening(drum: str, *, powder_c: float, room_c: float, relative_humidity: float) -> Finding | None:
    """None when the powder is warm enough to be opened in this room, else a finding with the figures."""
    dew = dew_point_c(room_c, relative_humidity)
    if powder_c > dew + DEW_POINT_MARGIN.value:
        return None
    return Finding(
        "powder.cold-drum",
        Severity.BLOCKING,
        f"powder at {powder_c:.1f} °C, dew point of the room {dew:.1f} °C: water would settle on it",
        where=f"drum {drum}",
        remedy=f"leave it closed until the powder is above {dew + DEW_POINT_MARGIN.value:.1f} °C "
        f"(up to {ACCLIMATISE_H.value:.0f} h in the machine room)",
    )
