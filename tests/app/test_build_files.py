"""Build files carry the scale and offset of their machine, and say so."""

import zipfile
from dataclasses import replace

import numpy as np
import pytest

from cakewright.app.build_files import drawing_for, merged_mesh, write_build_files
from cakewright.app.plan_build import drawn_rules, nest_space
from cakewright.errors import InputError
from cakewright.formats.mesh_file import read_mesh
from cakewright.model.mesh import Mesh
from cakewright.parts.orient import random_rotations
from cakewright.physics.drawing import offset_mesh
from tests.conftest import box_mesh
from tests.documents.world import week


def scaled_week(scale=(1.03, 1.03, 1.02), offset=(-0.07, -0.07, -0.05)):
    """The invented week on a machine whose files must be drawn larger."""
    plan = week()
    machine = replace(plan.cell.machines[0], export_scale=scale, export_offset_mm=offset)
    return replace(plan, cell=replace(plan.cell, machines=(machine,)))


def test_pieces_in_the_file_are_drawn_larger(tmp_path):
    """Each piece of the STL and of the 3MF has its wanted size, offset and scaled along the chamber axes."""
    plan = scaled_week()
    build, d = plan.builds[0], drawing_for(scaled_week(), week().builds[0])
    threemf, stl = write_build_files(plan, build, tmp_path)
    merged = merged_mesh(plan, build)
    first = build.nest.placements[0]
    mesh = plan.parts[first.part_key].mesh.placed(first.rotation, first.translation)
    drawn = merged.vertices[: len(mesh.vertices)]
    size = drawn.max(axis=0) - drawn.min(axis=0)
    np.testing.assert_allclose(size, [d.drawn(w, axis) for axis, w in enumerate(mesh.size_mm)], atol=1e-6)
    back = read_mesh(stl)[0].mesh
    np.testing.assert_allclose(back.box_mm, merged.box_mm, atol=1e-3)
    text = zipfile.ZipFile(threemf).read("3D/3dmodel.model").decode()
    assert "drawn larger by x 1.03, y 1.03, z 1.02; faces moved by -0.07, -0.07, -0.05 mm first" in text


def test_three_mf_and_stl_show_the_same_bodies(tmp_path):
    """The reference reader of the standard puts every vertex where the merged mesh has it."""
    import lib3mf

    plan = scaled_week()
    threemf, _ = write_build_files(plan, plan.builds[0], tmp_path)
    model = lib3mf.get_wrapper().CreateModel()
    model.QueryReader("3mf").ReadFromFile(str(threemf))
    model.GetBuildItems()
    low, high = np.full(3, np.inf), np.full(3, -np.inf)
    items = model.GetBuildItems()
    while items.MoveNext():
        box = items.GetCurrent().GetObjectResource()
        matrix = np.array(items.GetCurrent().GetObjectTransform().Fields).reshape(4, 3)
        mesh = box.GetComponent(0).GetObjectResource()
        points = np.array([list(v.Coordinates) for v in mesh.GetVertices()]) @ matrix[:3] + matrix[3]
        low, high = np.minimum(low, points.min(axis=0)), np.maximum(high, points.max(axis=0))
    np.testing.assert_allclose([low, high], merged_mesh(plan, plan.builds[0]).box_mm, atol=1e-3)


def test_without_scale_the_file_holds_the_pieces_as_they_are(tmp_path):
    """Nothing asked: one mesh for each part, and the note says so."""
    threemf, _ = write_build_files(week(), week().builds[0], tmp_path)
    text = zipfile.ZipFile(threemf).read("3D/3dmodel.model").decode()
    assert "Pieces as ordered, not scaled." in text


def test_what_fits_the_nest_fits_the_chamber_when_drawn_larger():
    """The nest's room is smaller by the scale: its far corner comes to lie on the wall margin and below the lid."""
    plan = scaled_week(offset=(0.0, 0.0, 0.0))
    chamber, machine = plan.cell.chamber_types[0], plan.cell.machines[0]
    space = nest_space(chamber, machine)
    far = np.array([space.x_mm - space.wall_margin_mm, space.y_mm - space.wall_margin_mm, space.height_mm])
    d = drawing_for(plan, plan.builds[0])
    drawn = np.array(d.fixed_mm) + (far - d.fixed_mm) * np.array(d.scale)
    margin = chamber.wall_margin_mm
    np.testing.assert_allclose(drawn, [chamber.x_mm - margin, chamber.y_mm - margin, chamber.usable_height_mm])


def two_cubes(gap_mm, offset=(0.1, 0.1, 0.05), clearance_mm=1.0):
    """Two cubes of 20 mm side by side on a machine whose files move faces out."""
    plan = scaled_week((1.0, 1.0, 1.0), offset)
    build = plan.builds[0]
    part = replace(next(iter(plan.parts.values())), key="cube", mesh=box_mesh(20, 20, 20))
    stand = [
        replace(build.nest.placements[0], piece=f"cube-{n}", part_key="cube", rotation=np.eye(3),
                translation=np.array([20 + n * (20 + gap_mm), 20.0, 0.0]))
        for n in range(2)
    ]  # fmt: skip
    cell = replace(plan.cell, nesting=replace(plan.cell.nesting, clearance_mm=clearance_mm))
    build = replace(build, nest=replace(build.nest, placements=tuple(stand), clearance_mm=clearance_mm))
    return replace(plan, parts={**plan.parts, "cube": part}, cell=cell, builds=(build,)), build


def test_an_outward_offset_that_eats_the_gap_is_refused_with_figures(tmp_path):
    """Faces 1.1 mm apart, each moved out by 0.1: 0.9 mm are left of 1 mm; nothing is written."""
    plan, build = two_cubes(1.1)
    with pytest.raises(InputError, match=r"cube-0 and cube-1 .* 0\.90 mm apart, 1 mm asked"):
        write_build_files(plan, build, tmp_path)
    assert list(tmp_path.iterdir()) == []
    write_build_files(*two_cubes(1.2), tmp_path)
    write_build_files(*two_cubes(1.05, offset=(-0.1, -0.1, -0.1)), tmp_path)


@pytest.mark.parametrize("turn", range(3))
def test_a_nest_made_with_the_wider_clearance_is_never_refused(turn):
    """Sharp corners towards each other take most: needles turned anyhow keep the asked gap at the wider distance."""
    drawing = drawing_for(*two_cubes(1.0))
    wide = drawing.gap_to_nest(1.0)
    assert wide == pytest.approx(1.0 + 2 * 3 * 0.1)
    needle = Mesh(
        np.array([[0, 0, 0], [9, 0.4, 0], [9, -0.4, 0], [9, 0, 0.5]]), [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]
    )
    needle = needle.placed(random_rotations(3, 5)[turn], np.zeros(3))
    moved = offset_mesh(needle, drawing.offset_mm)
    assert np.linalg.norm(moved.vertices - needle.vertices, axis=1).max() <= (wide - 1.0) / 2 + 1e-9


def test_the_nest_of_a_week_leaves_the_wider_gap():
    """The batch is nested with what the offset takes on top, and walls give way too."""
    plan, build = two_cubes(3.0)
    machine = plan.cell.machine(build.machine)
    assert drawn_rules(plan.cell, machine).nesting.clearance_mm == pytest.approx(1.6)
    chamber = plan.cell.chamber_types[0]
    assert nest_space(chamber, machine).wall_margin_mm == pytest.approx(chamber.wall_margin_mm + 0.3)
    assert nest_space(chamber, machine).height_mm == pytest.approx(chamber.usable_height_mm - 0.3)


def test_a_scale_by_place_is_drawn_and_undone(tmp_path):
    """Far pieces are drawn larger about their own middle, in STL and 3MF alike; the way back gives the order."""
    plan, build = two_cubes(9.0, offset=(0.0, 0.0, 0.0))
    slope = ((1e-4, 0.0, 0.0), (0.0, 0.0, 0.0), (0.0, 0.0, 0.0))
    machine = replace(plan.cell.machines[0], export_by_place=slope)
    plan = replace(plan, cell=replace(plan.cell, machines=(machine,)))
    drawing = drawing_for(plan, build)
    merged = merged_mesh(plan, build)
    left, right = merged.vertices[:8], merged.vertices[8:]
    middles = [30.0, 59.0]
    for points, x in ((left, middles[0]), (right, middles[1])):
        wanted = drawing.drawn(20.0, 0, at_mm=(x, 30.0, 10.0))
        assert np.ptp(points[:, 0]) == pytest.approx(wanted) and np.ptp(points[:, 1]) == pytest.approx(20.0)
        assert points[:, 0].mean() == pytest.approx(x)
        assert drawing.wanted(wanted, 0, at_mm=(x, 30.0, 10.0)) == pytest.approx(20.0)
    assert np.ptp(right[:, 0]) - np.ptp(left[:, 0]) == pytest.approx(20 * 29 * 1e-4)
    threemf, _ = write_build_files(plan, build, tmp_path)
    back = read_mesh(threemf)[0].mesh
    np.testing.assert_allclose(back.box_mm, merged.box_mm, atol=1e-3)
    assert drawn_rules(plan.cell, machine).nesting.clearance_mm > 1.0
