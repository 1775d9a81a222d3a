"""The demo parts are what their order lines say: size, volume, closed, repeatable."""

from functools import cache

import numpy as np
import pytest

from cakewright.demo import demo_orders, demo_parts, write_demo, write_demo_parts
from cakewright.demo.load import DEMOS
from cakewright.demo.shapes import kit
from cakewright.errors import InputError
from cakewright.formats.mesh_file import read_mesh
from cakewright.parts.measure import measure

SIZE_MM = 0.2
VOLUME = 0.10
LINES = [(name, line.line) for name in DEMOS for line in demo_orders(name).lines]


@cache
def mesh_of(name: str, line: int):
    """The part of a line, made once for all tests here."""
    return kit.to_mesh(demo_parts(name)[line].make())


@pytest.fixture(scope="session", params=DEMOS)
def folder(request, tmp_path_factory):
    """Everything `write_demo` puts on disk for one cell."""
    return request.param, write_demo(tmp_path_factory.mktemp("demo"), request.param)


@pytest.mark.parametrize(("name", "line"), LINES)
def test_a_part_is_what_its_line_says(name, line):
    """Closed, box within 0.2 mm and volume within 10 % of the order line, a sensible number of triangles."""
    order = next(o for o in demo_orders(name).lines if o.line == line)
    mesh = mesh_of(name, line)
    measures = measure(mesh)
    assert measures.is_watertight and measures.is_oriented
    assert np.abs(np.array(measures.size_mm) - order.nominal_size_mm).max() <= SIZE_MM
    assert measures.volume_cm3 == pytest.approx(order.nominal_volume_cm3, rel=VOLUME)
    assert 500 <= len(mesh.faces) <= 20_000


@pytest.mark.parametrize("name", DEMOS)
def test_the_same_parts_every_time(name):
    """Generating twice gives the same geometry to the last bit."""
    files = demo_parts(name)
    first = {line: mesh_of(name, line).sha256 for line in files}
    assert first == {line: kit.to_mesh(file.make()).sha256 for line, file in files.items()}


def test_files_hold_the_parts(folder):
    """Every file reads back strictly, without findings, closed, and of the ordered size in its own unit."""
    name, place = folder
    files = demo_parts(name)
    for order in demo_orders(name).lines:
        mesh_file, findings = read_mesh(place / "parts" / str(order.file))
        assert findings == (), order.file
        measures = measure(mesh_file.mesh)
        assert measures.is_watertight, order.file
        unit = 25.4 if files[order.line].kind == "stl-inch" else 1.0
        assert np.abs(np.array(measures.size_mm) * unit - order.nominal_size_mm).max() <= SIZE_MM, order.file


def test_the_order_list_names_the_files(folder):
    """The column `file` is what is written, and nothing else lies in the folder."""
    name, place = folder
    named = {line.file for line in demo_orders(name).lines}
    assert named == {p.name for p in (place / "parts").iterdir()} == {f.name for f in demo_parts(name).values()}


def test_all_kinds_of_file_are_there():
    """The week brings every format, one of them in inches."""
    assert {f.kind for f in demo_parts("a").values()} == {"stl", "stl-ascii", "stl-inch", "3mf", "obj", "ply"}


def test_writing_twice_gives_the_same_bytes(tmp_path):
    """A demo made today and one made tomorrow are equal."""
    one, two = tmp_path / "one", tmp_path / "two"
    names = write_demo_parts(one)
    assert names == write_demo_parts(two)
    assert all((one / f).read_bytes() == (two / f).read_bytes() for f in names.values())


def test_an_unknown_demo_is_refused():
    """The message lists the cells there are."""
    with pytest.raises(InputError, match="use one of: a"):
        demo_orders("z")
