"""The heat of a build as rows, and rows as heat again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cakewright.findings import Finding, Severity
from cakewright.model.build import Build
from cakewright.model.heat import CakeHeat, PieceHeat, PowderDose
from cakewright.store import schema_physics as schema
from cakewright.store.types import pack, unpack

Row = dict[str, Any]
OF_BUILD = (schema.build_heat, schema.heat_array, schema.piece_heat, schema.heat_finding)
_DTYPES = {"section_c": "f4", "section_solid": "f4"}


def heat_rows(build: Build) -> dict[str, list[Row]]:
    """Rows by table, without the plan number; empty when the build has no heat record."""
    heat = build.heat
    if heat is None:
        return {}
    head = {
        "section_y_mm": heat.section_y_mm, "cell_height_mm": heat.cell_mm[0], "cell_width_mm": heat.cell_mm[1],
        "base_powder_mm": heat.base_powder_mm, "dose_mean_h": heat.dose.mean_h, "may_leave_s": heat.may_leave_s,
        "heat_error": heat.heat_error, "speed": heat.speed,
    }  # fmt: skip
    return {
        "build_heat": [{"build": build.key, **head}],
        "heat_array": [{"build": build.key, **_array_row(name, array)} for name, array in _arrays(heat).items()],
        "piece_heat": [{"build": build.key, "position": i, **_piece_row(p)} for i, p in enumerate(heat.pieces)],
        "heat_finding": [{"build": build.key, "position": i, **_doubt_row(f)} for i, f in enumerate(heat.findings)],
    }


def heat_of(rows: Mapping[str, Sequence[Row]], where: str) -> CakeHeat | None:
    """The record from the rows of one build; None when it was made before heat was kept."""
    if not rows["build_heat"]:
        return None
    head = rows["build_heat"][0]
    arrays = {row["name"]: _array(row, where) for row in rows["heat_array"]}
    dose = PowderDose(*(arrays[name] for name in ("dose_h", "powder_kg", "edges_z_mm", "edges_y_mm", "edges_x_mm")))
    return CakeHeat(
        pieces=tuple(_piece(row) for row in rows["piece_heat"]),
        **{name: arrays[name] for name in ("time_s", "piece_c", "section_c", "section_solid")},
        section_y_mm=head["section_y_mm"],
        cell_mm=(head["cell_height_mm"], head["cell_width_mm"]),
        base_powder_mm=head["base_powder_mm"],
        dose=dose,
        may_leave_s=head["may_leave_s"],
        heat_error=head["heat_error"],
        speed=head["speed"],
        findings=tuple(_doubt(row) for row in rows["heat_finding"]),
        left_in_s=float(arrays["left_in_s"][0]) if "left_in_s" in arrays else None,
    )


def _arrays(heat: CakeHeat) -> dict[str, NDArray[Any]]:
    named = {name: getattr(heat, name) for name in ("time_s", "piece_c", "section_c", "section_solid")}
    names = ("dose_h", "powder_kg", "edges_z_mm", "edges_y_mm", "edges_x_mm")
    left_in = {} if heat.left_in_s is None else {"left_in_s": np.array([heat.left_in_s])}
    return named | {name: getattr(heat.dose, name) for name in names} | left_in


def _array_row(name: str, array: NDArray[Any]) -> Row:
    dtype = _DTYPES.get(name, "f8")
    data = pack(np.asarray(array, dtype=dtype))
    return {"name": name, "dtype": dtype, "shape": " ".join(map(str, array.shape)), "data": data}


def _array(row: Row, where: str) -> NDArray[Any]:
    shape = tuple(int(n) for n in row["shape"].split())
    flat = unpack(row["data"], row["dtype"], where=where)
    return np.asarray(flat.reshape(shape))


def _piece_row(piece: PieceHeat) -> Row:
    early, likely, late = piece.opening_s
    return {
        "piece": piece.piece, "opening_early_s": early, "opening_likely_s": likely, "opening_late_s": late,
        "at_print_end_c": piece.at_print_end_c, "solid_s": piece.solid_s, "hours_soft": piece.hours_soft,
        "front_c_mm": piece.front_c_mm,
    }  # fmt: skip


def _piece(row: Row) -> PieceHeat:
    opening = (row["opening_early_s"], row["opening_likely_s"], row["opening_late_s"])
    rest = (row[name] for name in ("at_print_end_c", "solid_s", "hours_soft", "front_c_mm"))
    return PieceHeat(row["piece"], opening, *rest)


def _doubt_row(doubt: Finding) -> Row:
    return {
        "code": doubt.code, "severity": doubt.severity.value, "message": doubt.message, "place": doubt.where,
        "remedy": doubt.remedy, "value": doubt.value, "limit": doubt.limit, "unit": doubt.unit,
        **dict(zip(("at_x_mm", "at_y_mm", "at_z_mm"), doubt.at_mm or (None,) * 3, strict=True)),
    }  # fmt: skip


def _doubt(row: Row) -> Finding:
    x, y, z = (row[f"at_{axis}_mm"] for axis in "xyz")
    return Finding(
        row["code"], Severity(row["severity"]), row["message"], row["place"], row["remedy"],
        None if x is None else (x, y, z), row["value"], row["limit"], row["unit"],
    )  # fmt: skip
