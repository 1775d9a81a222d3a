"""Does an energy figure make sense? Published magnitudes as a check, since the meter of the cell is the truth."""

from __future__ import annotations

from cakewright.errors import InputError
from cakewright.findings import Finding, Severity
from cakewright.sources import physics as numbers


def kwh_per_kg(kwh: float, parts_kg: float) -> float:
    """Electricity of a build per kg of parts."""
    if not (kwh >= 0 and parts_kg > 0):
        raise InputError(f"{kwh} kWh for {parts_kg} kg", remedy="energy zero or more, parts above zero")
    return kwh / parts_kg


def energy_findings(kwh: float, parts_kg: float, build: str) -> list[Finding]:
    """A finding when kWh per kg lies outside everything published (Baumers et al. 2011, all processes)."""
    specific = kwh_per_kg(kwh, parts_kg)
    low, high = numbers.ENERGY_LOWEST.value, numbers.ENERGY_HIGHEST.value
    if low <= specific <= high:
        return []
    return [
        Finding(
            "energy.outside-published",
            Severity.NOTE,
            f"{specific:.0f} kWh per kg of parts; published figures run from {low:.0f} to {high:.0f}",
            where=build,
            remedy="check the power figures of the machine, or the mass of the parts (a nearly empty build is dear)",
        )
    ]
