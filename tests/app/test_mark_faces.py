"""A person marks single faces of a part; kept for the revision; the proposals follow."""

import hashlib
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from typer.testing import CliRunner

from cakewright.app.mark_faces import mark_faces, marked_faces, numbers_marked, part_named, places_of
from cakewright.app.report_part import Looks, best_turns
from cakewright.cli.main import cli
from cakewright.errors import InputError
from cakewright.formats.stl import stl_bytes
from cakewright.model.mesh import Mesh
from cakewright.parts.faces import faces_of, on_faces
from cakewright.store import open_store
from tests.conftest import box_mesh
from tests.documents.world import week

NOW = datetime(2027, 3, 1, 6, 40, tzinfo=UTC)


def roof() -> Mesh:
    """A box of 60 x 40 x 10 whose top slopes along x: one slanted face of 40 x about 63 mm."""
    mesh = box_mesh(60, 40, 10)
    vertices = mesh.vertices.copy()
    vertices[(vertices[:, 2] > 5) & (vertices[:, 0] > 30), 2] = 30.0
    return Mesh(vertices, mesh.faces)


@pytest.fixture
def world(tmp_path):
    """A store with one plan in which a part is the roof."""
    plan = week()
    key = plan.part_of_line[1]
    part = replace(plan.parts[key], mesh=roof(), name="roof", revision="B")
    plan = replace(plan, parts={**plan.parts, key: part})
    store = open_store(tmp_path / "cell.sqlite")
    version = store.save_plan(plan, made_by="Mira", at=NOW)
    yield store, store.load_plan(version), tmp_path / "cell.sqlite"
    store.close()


def test_faces_are_whole_up_to_sharp_edges():
    """A box has six, the largest first; a place finds its face again on a mesh cut otherwise."""
    mesh = box_mesh(30, 20, 10)
    found = faces_of(mesh)
    assert [f.area_mm2 for f in found] == [600, 600, 300, 300, 200, 200]
    on = on_faces(mesh, [found[0].at_mm])
    assert on.sum() == 2
    assert len(set(map(tuple, np.round(mesh.triangles[on].mean(axis=1)[:, 2:], 6)))) == 1


def test_marks_are_kept_for_the_revision_and_the_newest_count(world):
    """Who, when, which; another revision of the same name has none; an empty list takes them back."""
    store, plan, _ = world
    part = part_named(plan, "roof", "B")
    slope = next(f for f in faces_of(part.mesh) if abs(f.looks[0]) > 0.1 and abs(f.looks[2]) > 0.1)
    mark_faces(store, part, [slope.number], by=" Mira ", at=NOW)
    kept = marked_faces(store, part)
    assert (kept.by, kept.at, numbers_marked(part, kept)) == ("Mira", NOW, (slope.number,))
    assert marked_faces(store, replace(part, revision="C")) is None
    with pytest.raises(InputError, match="no face 99"):
        mark_faces(store, part, [99], by="Mira", at=NOW)
    with pytest.raises(InputError, match="name"):
        mark_faces(store, part, [1], by=" ", at=NOW)
    mark_faces(store, part, [], by="Dev", at=NOW)
    assert places_of(marked_faces(store, part)) == ()


def test_steps_are_counted_on_marked_faces_only(world):
    """With the slope marked the best way up leaves no steps on it; unmarked, steps are those of the whole part."""
    _, plan, _ = world
    part = part_named(plan, "roof", "B")
    slope = next(f for f in faces_of(part.mesh) if abs(f.looks[0]) > 0.1 and abs(f.looks[2]) > 0.1)
    line = next(n for n, key in plan.part_of_line.items() if plan.parts[key] is part)
    material = plan.line(line).material
    free = best_turns(part, plan.cell, material)
    marked = best_turns(part, plan.cell, material, Looks(faces=(slope.at_mm,)))
    normal = np.array(slope.looks) / np.linalg.norm(slope.looks)
    layer = plan.cell.machines_for(material)[0].layer_mm
    for turn in marked:
        up = abs(float(turn.rotation[2] @ normal))
        assert turn.stair_mm == pytest.approx(0.0 if up > np.cos(np.radians(1)) else layer * up, abs=1e-5)
    assert min(t.stair_mm for t in marked) <= min(t.stair_mm for t in free) + 1e-9


def test_the_command_lists_marks_and_refuses(world):
    """`cakewright faces roof --mark 1 --by Mira` keeps; a wrong part names the known ones."""
    store, plan, path = world
    run = CliRunner().invoke(cli, ["faces", "roof", "--mark", "1,2", "--by", "Mira", "--db", str(path)])
    assert run.exit_code == 0, run.output
    assert "*  1" in run.output and "Which way up:" in run.output
    assert len(marked_faces(store, part_named(plan, "roof", None)).places) == 2
    assert isinstance(CliRunner().invoke(cli, ["faces", "nothing", "--db", str(path)]).exception, InputError)
    assert isinstance(
        CliRunner().invoke(cli, ["faces", "roof", "--mark", "x", "--db", str(path)]).exception, InputError
    )


def test_check_counts_marks_given_now_or_kept_before(world, tmp_path):
    """By number for one file, or from the database by the hash of the file."""
    store, plan, path = world
    file = tmp_path / "roof.stl"
    file.write_bytes(stl_bytes(roof(), "roof"))
    run = CliRunner().invoke(cli, ["check", str(file), "--faces", "2", "--report", str(tmp_path / "out")])
    assert "Face 2 must look good" in run.output and "which way up" in run.output, run.output
    assert "Face 2 must look good" in (tmp_path / "out" / "roof-check.html").read_text(encoding="utf-8")
    part = part_named(plan, "roof", "B")
    origin = replace(part.origin, sha256=hashlib.sha256(file.read_bytes()).hexdigest())
    again = replace(plan, parts={**plan.parts, part.key: replace(part, origin=origin)})
    store.save_plan(again, made_by="Mira", at=NOW)
    mark_faces(store, part, [1, 3], by="Mira", at=NOW)
    run = CliRunner().invoke(cli, ["check", str(file), "--db", str(path)])
    assert "Faces 1, 3 must look good" in run.output, run.output


def test_check_refuses_faces_that_cannot_be_meant(tmp_path):
    """A number beyond the list, words, several files: said before anything is judged."""
    for name in ("a.stl", "b.stl"):
        (tmp_path / name).write_bytes(stl_bytes(roof(), "roof"))
    one, both = [str(tmp_path / "a.stl")], [str(tmp_path)]
    for files, faces, said in ((one, "99", "no face 99"), (one, "top", "numbers such as 1,4"), (both, "1", "several")):
        wrong = CliRunner().invoke(cli, ["check", *files, "--faces", faces]).exception
        assert isinstance(wrong, InputError) and said in f"{wrong} {wrong.remedy}"
