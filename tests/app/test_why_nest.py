"""The table of wishes of a planned build: whole, in order, and true to the build."""

from __future__ import annotations

import pytest

from cakewright.app.why_nest import why_nest


def test_every_wish_of_a_build_has_a_row(caged_week):
    """Height is that of the build, nothing is stuck although cubes stand in a cage, and what nobody asked says so."""
    build = caged_week.builds[0]
    rows = {row.name: row for row in why_nest(caged_week, build)}
    assert next(iter(rows)) == "interlocked"
    assert rows["interlocked"].value == 0
    assert rows["height"].points == pytest.approx(build.nest.height_mm, abs=build.nest.voxel_mm)
    assert rows["together"].is_asked
    assert rows["together"].value > 0
    assert not rows["early"].is_asked
    assert not rows["reserved"].is_asked
    assert all(row.meaning for row in rows.values())
