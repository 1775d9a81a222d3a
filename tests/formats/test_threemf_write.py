"""What we write, the reference implementation reads back: names, places, shapes."""

import lib3mf
import numpy as np
import pytest

from cakewright.errors import MeshFileError
from cakewright.formats.threemf import ThreeMfItem, write_3mf
from tests.conftest import box_mesh

TURN_Z_90 = np.array([[0.0, -1, 0], [1, 0, 0], [0, 0, 1]])


def placed(x: float, y: float, z: float, turn=TURN_Z_90):
    matrix = np.eye(4)
    matrix[:3, :3], matrix[:3, 3] = turn, (x, y, z)
    return matrix


@pytest.fixture
def two_pieces_of_one_block(tmp_path):
    """One mesh, two placements with names a person wrote."""
    path = tmp_path / "build.3mf"
    items = [ThreeMfItem("L01-01 <bracket> & \"clip\"", "L01", placed(30, 40, 50), "P-7"),
             ThreeMfItem("L01-02 Größe 2", "L01", placed(0, 0, 0.125, np.eye(3)))]  # fmt: skip
    write_3mf(path, {"L01": box_mesh(10, 20, 30), "unused": box_mesh(1, 1, 1)}, items, {"Title": "B1", "seed": "7"})
    return path


REFERENCE = lib3mf.get_wrapper()  # kept: models must not outlive it


def reference_model(path):
    model = REFERENCE.CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(path))
    assert reader.GetWarningCount() == 0
    return model


def items_of(model):
    found, walk = [], model.GetBuildItems()
    while walk.MoveNext():
        found.append(walk.GetCurrent())
    return found


def test_the_reference_reader_accepts_it_strictly(two_pieces_of_one_block):
    """No warning in strict mode, names, part number and the place of each piece come back."""
    model = reference_model(two_pieces_of_one_block)  # items must not outlive their model
    first, second = items_of(model)
    assert first.GetObjectResource().GetName() == 'L01-01 <bracket> & "clip"'
    assert second.GetObjectResource().GetName() == "L01-02 Größe 2"
    assert first.GetPartNumber() == "P-7"
    fields = np.array([list(row) for row in first.GetObjectTransform().Fields])  # rows act on row vectors
    assert np.allclose(fields[:3].T, TURN_Z_90)
    assert np.allclose(fields[3], [30, 40, 50])


def test_each_mesh_is_stored_once_and_unused_ones_not_at_all(two_pieces_of_one_block):
    """A hundred pieces must not be a hundred meshes."""
    model = reference_model(two_pieces_of_one_block)
    meshes = model.GetMeshObjects()
    assert meshes.Count() == 1
    assert meshes.MoveNext() and meshes.GetCurrentMeshObject().GetTriangleCount() == 12


def test_same_input_same_bytes(tmp_path, one_cube):
    """A plan written twice gives the same file."""
    for name in ("a", "b"):
        write_3mf(tmp_path / name, {"c": one_cube}, [ThreeMfItem("c", "c", np.eye(4))], {})
    assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes()


def test_an_item_without_its_mesh_is_refused(tmp_path, one_cube):
    """The message names the item."""
    with pytest.raises(MeshFileError, match="'lost' names mesh 'x'"):
        write_3mf(tmp_path / "a", {"c": one_cube}, [ThreeMfItem("lost", "x", np.eye(4))], {})
