"""Electricity and gas of a build: most of it is hours, little of it is what is in the build."""

from __future__ import annotations

from dataclasses import dataclass

from cakewright.errors import InputError


@dataclass(frozen=True, slots=True)
class Utilities:
    """What a machine draws: kW while printing, kWh for warm-up, kWh per sintered kg, m³/h of inert gas."""

    printing_kw: float
    warm_up_kwh: float
    per_kg_kwh: float
    gas_m3_per_h: float
    kwh_price: float
    gas_price_per_m3: float

    def __post_init__(self) -> None:
        """Refuse negative figures."""
        for name in self.__slots__:
            if not getattr(self, name) >= 0:
                raise InputError(f"{name} is {getattr(self, name)}", remedy="give zero or more")

    def kwh(self, print_hours: float, parts_kg: float) -> float:
        """Electricity of one build."""
        return self.warm_up_kwh + self.printing_kw * print_hours + self.per_kg_kwh * parts_kg

    def price(self, print_hours: float, parts_kg: float) -> float:
        """Electricity and gas of one build."""
        return (
            self.kwh(print_hours, parts_kg) * self.kwh_price + self.gas_m3_per_h * print_hours * self.gas_price_per_m3
        )
