"""Published mechanical parts: our measures against the manifest's, made with an independent library (trimesh 5.2.0)."""

import csv

import pytest

from cakewright.formats.mesh_file import read_mesh
from cakewright.parts.measure import measure
from cakewright.parts.units import decide_unit
from cakewright.units import MM_PER_INCH, LengthUnit
from tests.conftest import outside_data
from tests.parts.test_check import CHAMBER, NYLON


def rows() -> list[dict[str, str]]:
    data = outside_data()
    if data is None:
        return []
    with (data / "meshes/real/MANIFEST.csv").open(encoding="utf-8") as lines:
        return list(csv.DictReader(lines))


@pytest.mark.parametrize("row", rows(), ids=lambda row: row["file"])
def test_triangles_box_volume_and_shells(shared, row):
    """89 parts: triangle count exact but for needles, box and volume to the manifest's digits, closedness agrees."""
    found, findings = read_mesh(shared / "meshes/real" / row["file"])
    mesh = found.in_mm(found.unit) if found.unit else found.mesh
    factor = MM_PER_INCH if row["units_guess"].startswith("inch") else 1.0
    measures = measure(mesh)
    box = sorted(float(row[f"bbox_{axis}_mm"]) for axis in "xyz")
    assert sorted(v * factor for v in measures.size_mm) == pytest.approx(box, abs=2e-3, rel=1e-4)
    dropped = any(f.code in ("mesh.needle-triangles", "mesh.joined-rounded") for f in findings)
    if not dropped and found.copies == 1:
        assert measures.triangles == int(row["triangles"])
    if row["watertight"] == "yes":
        assert measures.is_watertight and measures.is_oriented
        volume = float(row["volume_cm3"])
        assert measures.volume_cm3 * factor**3 == pytest.approx(volume, rel=1e-3, abs=6e-5)


def test_the_stand_hides_a_sealed_void(shared):
    """faceplate_stand is closed, yet 68.8 cm³ of powder would stay inside."""
    from cakewright.parts.check import check_part

    mesh = read_mesh(shared / "meshes/real/faceplate_stand.stl")[0].mesh
    found = check_part(mesh, measure(mesh), where="stand", material=NYLON, chamber_type=CHAMBER)
    assert any(f.code == "part.sealed-void" and "68.8 cm³" in f.message for f in found)


def test_the_pocket_of_unclear_unit_is_asked_about(shared):
    """octagonal_pocket: 0.23 units across, millimetres or inches. The numbers are kept and a person decides."""
    size = tuple(float(v) for v in read_mesh(shared / "meshes/real/octagonal_pocket.ply")[0].mesh.size_mm)
    decision = decide_unit(size, None, largest_mm=330)
    assert decision.findings and decision.confidence < 0.95
    nominal = tuple(MM_PER_INCH * v for v in size)
    assert decide_unit(size, None, nominal_size_mm=nominal, largest_mm=330).unit is LengthUnit.INCH
