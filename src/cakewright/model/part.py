"""A part: a mesh that somebody wants, measured, with what is allowed to be done to it."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from cakewright.findings import Finding, Severity
from cakewright.model.mesh import Mesh
from cakewright.units import MM3_PER_CM3, LengthUnit


class Freedom(StrEnum):
    """How a part may be turned in the build."""

    FREE = "free"
    ABOUT_Z = "about z"  # any turn about the vertical, as it stands in its file
    UPRIGHT_CONE = "cone"  # file's Z within `cone_deg` of the vertical
    FIXED = "fixed"


@dataclass(frozen=True, slots=True)
class OrientationRule:
    """Which orientations a part may take and why.

    `up` (3,), part coordinates, is the direction that counts as up: the file's Z unless somebody chose another.
    """

    freedom: Freedom = Freedom.FREE
    reason: str = "no restriction given"
    cone_deg: float = 0.0
    up: tuple[float, float, float] = (0.0, 0.0, 1.0)


@dataclass(frozen=True, slots=True)
class Measures:
    """What a mesh measures. Volume is that of the enclosed solid from signed tetrahedra."""

    volume_mm3: float
    area_mm2: float
    size_mm: tuple[float, float, float]
    triangles: int
    shells: int
    is_watertight: bool
    is_oriented: bool

    @property
    def volume_cm3(self) -> float:
        """Volume in cm³."""
        return self.volume_mm3 / MM3_PER_CM3


@dataclass(frozen=True, slots=True)
class FileOrigin:
    """Where a mesh came from and what unit was decided for it."""

    file: str
    sha256: str
    format: str
    unit: LengthUnit
    unit_reason: str
    unit_confidence: float = 1.0


@dataclass(frozen=True, eq=False)
class Part:
    """One part revision, ready to be nested. `key` is unique within a plan."""

    key: str
    name: str
    revision: str
    mesh: Mesh
    measures: Measures
    origin: FileOrigin
    orientation: OrientationRule = field(default_factory=OrientationRule)
    is_delicate: bool = False
    findings: tuple[Finding, ...] = ()

    @property
    def is_blocked(self) -> bool:
        """True when a finding says the part cannot be planned."""
        return any(f.severity is Severity.BLOCKING for f in self.findings)
