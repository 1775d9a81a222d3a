"""Whatever happens to a file on its way, the answer is a mesh or a refusal with a remedy."""

import numpy as np
import pytest

from cakewright.errors import MeshFileError
from cakewright.formats.mesh_file import read_mesh_bytes, recover_mesh_bytes
from cakewright.formats.stl import stl_bytes, write_stl
from cakewright.formats.threemf import ThreeMfItem, write_3mf
from cakewright.parts.measure import measure
from tests.conftest import box_mesh

ASCII = "solid a b\n"
for _corners in box_mesh(10, 20, 30).triangles:
    _loop = "".join(f"vertex {x:g} {y:g} {z:g}\n" for x, y, z in _corners)
    ASCII += f"facet normal 0 0 0\nouter loop\n{_loop}endloop\nendfacet\n"
ASCII += "endsolid a b\n"
OBJ = "".join(f"v {x:g} {y:g} {z:g}\n" for x, y, z in box_mesh(10, 20, 30).vertices) + "".join(
    f"f {a + 1} {b + 1}//1 {c + 1}/2\n" for a, b, c in box_mesh(10, 20, 30).faces
)
PLY = (
    "ply\nformat ascii 1.0\nelement vertex 8\nproperty float x\nproperty float y\nproperty float z\n"
    "element face 12\nproperty list uchar int vertex_indices\nend_header\n"
    + "".join(f"{x:g} {y:g} {z:g}\n" for x, y, z in box_mesh(10, 20, 30).vertices)
    + "".join(f"3 {a} {b} {c}\n" for a, b, c in box_mesh(10, 20, 30).faces)
)


@pytest.fixture(scope="module")
def good(tmp_path_factory):
    """The same block in every format."""
    path = tmp_path_factory.mktemp("good") / "a.3mf"
    write_3mf(path, {"a": box_mesh(10, 20, 30)}, [ThreeMfItem("a", "a", np.eye(4))], {})
    return {"a.stl": stl_bytes(box_mesh(10, 20, 30), "block"), "b.stl": ASCII.encode(), "c.obj": OBJ.encode(),
            "d.ply": PLY.encode(), "e.3mf": path.read_bytes()}  # fmt: skip


NAMES = ("a.stl", "b.stl", "c.obj", "d.ply", "e.3mf")


@pytest.mark.parametrize("name", NAMES)
def test_every_format_holds_the_same_block(good, name):
    """12 triangles, 6 cm³, closed."""
    found, findings = read_mesh_bytes(good[name], name)
    measures = measure(found.mesh)
    assert (measures.triangles, measures.is_watertight) == (12, True)
    assert measures.volume_cm3 == pytest.approx(6.0)
    assert findings == ()


@pytest.mark.parametrize("name", NAMES)
def test_cut_and_flipped_bytes_give_a_mesh_or_a_refusal(good, name):
    """1000 damaged copies of each: cut anywhere, bytes changed, pieces doubled. Same seed, same damage."""
    rng = np.random.default_rng(11)
    for _ in range(1000):
        data = bytearray(good[name])
        match rng.integers(3):
            case 0:
                data = data[: rng.integers(len(data))]
            case 1:
                for at in rng.integers(len(data), size=rng.integers(1, 8)):
                    data[at] = rng.integers(256)
            case _:
                at, size = rng.integers(len(data)), rng.integers(1, 60)
                data[at:at] = data[at : at + size]
        for read in (read_mesh_bytes, recover_mesh_bytes):
            try:
                found, _ = read(bytes(data), name)
                assert np.isfinite(found.mesh.vertices).all()
            except MeshFileError as refusal:
                assert refusal.where == name and refusal.remedy


def test_written_stl_comes_back(tmp_path):
    """Names of the shop floor and single precision survive."""
    path = tmp_path / "-b Größe.stl"
    write_stl(path, box_mesh(10, 20, 30, (1, 2, 3)), "Größe 2")
    found, findings = read_mesh_bytes(path.read_bytes(), path.name)
    assert findings == () and found.format == "stl-binary"
    assert np.allclose(found.mesh.box_mm, [[1, 2, 3], [11, 22, 33]])
