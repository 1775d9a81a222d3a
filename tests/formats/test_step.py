"""STEP comes through an extra: its absence, its failures and its triangles are told plainly."""

from importlib.util import find_spec

import pytest

from cakewright.errors import MeshFileError
from cakewright.formats import step
from cakewright.formats.mesh_file import read_mesh_bytes
from cakewright.parts.measure import measure
from cakewright.units import LengthUnit

HEAD = b"ISO-10303-21;\nHEADER;\nENDSEC;\nDATA;\nENDSEC;\nEND-ISO-10303-21;\n"
CUBE = """
import sys, numpy as np
v = np.array([[i, j, k] for k in (0, 10) for j in (0, 10) for i in (0, 10)], float)
f = [(0, 2, 1), (1, 2, 3), (4, 5, 6), (5, 7, 6), (0, 1, 4), (1, 5, 4), (2, 6, 3), (3, 6, 7), (0, 4, 2), (2, 4, 6),
     (1, 3, 5), (3, 7, 5)]
np.savez(sys.argv[2], vertices=v[np.array(f).ravel()], faces=np.arange(36).reshape(-1, 3), solids=[0], loose=LOOSE)
"""


@pytest.fixture
def worker(tmp_path, monkeypatch):
    """Another program in the place of the one that needs the library: it does what its text says."""

    def put(text: str) -> None:
        path = tmp_path / "worker.py"
        path.write_text(text, encoding="utf-8")
        monkeypatch.setattr(step, "WORKER", path)
        monkeypatch.setattr(step, "LIBRARY", "numpy")

    return put


def test_without_the_extra_the_message_says_how_to_install_it(monkeypatch):
    """The very command."""
    monkeypatch.setattr(step, "LIBRARY", "no_such_library")
    with pytest.raises(MeshFileError, match="not installed") as caught:
        read_mesh_bytes(HEAD, "part.step")
    assert "pip install 'cakewright[step]'" in caught.value.remedy


def test_another_file_with_that_ending_is_refused_before_anything_runs():
    """A mesh renamed."""
    with pytest.raises(MeshFileError, match="begins with ISO-10303-21"):
        read_mesh_bytes(b"solid cube", "part.stp")


def test_triangles_come_in_millimetres_with_a_closed_surface(worker):
    """Faces come with corners of their own; they are joined."""
    worker(CUBE.replace("LOOSE", "0"))
    found, findings = read_mesh_bytes(HEAD, "part.step")
    assert found.format == "step" and found.unit is LengthUnit.MILLIMETER and len(found.bodies) == 1
    assert measure(found.mesh).is_watertight and measure(found.mesh).volume_mm3 == pytest.approx(1000)
    assert any(f.code == "step.tessellated" for f in findings)


def test_faces_outside_of_solids_are_told(worker):
    """A sheet beside the solid."""
    worker(CUBE.replace("LOOSE", "2"))
    assert any(f.code == "step.loose-faces" and "2 faces" in f.message for f in read_mesh_bytes(HEAD, "part.stp")[1])


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("import sys; sys.stderr.write('it holds no shape'); sys.exit(3)", "it holds no shape"),
        ("import os; os.abort()", "gave up on it"),
        ("raise RuntimeError", "gave up on it"),
    ],
)
def test_a_library_that_refuses_or_crashes_is_an_error_of_ours(worker, text, said):
    """No traceback, no dead program."""
    worker(text)
    with pytest.raises(MeshFileError, match=said):
        read_mesh_bytes(HEAD, "part.step")


def test_a_library_that_hangs_is_stopped(worker, monkeypatch):
    """After the longest time allowed."""
    worker("while True: pass")
    monkeypatch.setattr(step, "LONGEST_S", 0.5)
    with pytest.raises(MeshFileError, match="took longer"):
        read_mesh_bytes(HEAD, "part.step")


@pytest.mark.skipif(find_spec("OCP") is None, reason="the extra 'step' is not installed")
def test_a_drilled_block_keeps_its_volume(tmp_path):
    """A block of 40 x 30 x 20 mm with a bore of 10 mm, written and read by the library: its closed form."""
    import numpy as np
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox, BRepPrimAPI_MakeCylinder
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt
    from OCP.STEPControl import STEPControl_StepModelType, STEPControl_Writer

    block = BRepPrimAPI_MakeBox(40.0, 30.0, 20.0).Shape()
    bore = BRepPrimAPI_MakeCylinder(gp_Ax2(gp_Pnt(20, 15, -5), gp_Dir(0, 0, 1)), 5.0, 40.0).Shape()
    writer = STEPControl_Writer()
    writer.Transfer(BRepAlgoAPI_Cut(block, bore).Shape(), STEPControl_StepModelType.STEPControl_AsIs)
    path = tmp_path / "block.step"
    writer.Write(str(path))
    found, _ = read_mesh_bytes(path.read_bytes(), "block.step")
    assert measure(found.mesh).is_watertight and measure(found.mesh).is_oriented
    assert measure(found.mesh).volume_mm3 == pytest.approx(24000 - np.pi * 25 * 20, rel=2e-3)
