"""The limits a part is judged by: those of its powder family, with what the cell has written over them."""

from __future__ import annotations

import re
from dataclasses import dataclass

from cakewright.model.cell import Material
from cakewright.sources.printability import LIMITS
from cakewright.sources.reference import Reference, Status

USUAL = "PA12"
_FAMILIES = (  # the first that is found in the name of the material decides
    (r"tpu|tpe", "TPU"),
    (r"\bpp\b|polyprop", "PP"),
    (r"pa ?-?11|nylon ?11", "PA11"),
    (r"gf|glass|bead", "PA12 glass-filled"),
    (r"pa ?-?12|nylon ?12", "PA12"),
)


@dataclass(frozen=True, slots=True)
class PartLimits:
    """The limits for one material: `family`, whether the name told it, the table, and what the cell changed."""

    family: str
    is_known: bool
    table: dict[str, Reference]
    own: dict[str, float]

    def __getitem__(self, name: str) -> float:
        """One limit in its unit."""
        return self.own.get(name, self.table[name].value)

    def status(self, name: str) -> str:
        """How far a limit can be trusted, in words."""
        return "set in the cell file" if name in self.own else str(self.table[name].status)

    @property
    def unverified(self) -> int:
        """How many of the limits nobody here has measured or set."""
        return sum(
            name not in self.own and ref.status not in (Status.MEASURED, Status.READ)
            for name, ref in self.table.items()
        )


def limits_of(material: Material) -> PartLimits:
    """The limits of a material by its name ('PA12-GF', 'TPU 90A'); PA12's when no family is in it."""
    family = family_of(material.name)
    own = {"wall_mm": material.minimum_wall_mm, **dict(material.limits)}
    return PartLimits(family or USUAL, family is not None, LIMITS[family or USUAL], own)


def family_of(name: str) -> str | None:
    """The powder family that a material's name tells, None when it tells none."""
    text = re.sub(r"[_/]+", " ", name.casefold())
    return next((family for pattern, family in _FAMILIES if re.search(pattern, text)), None)
