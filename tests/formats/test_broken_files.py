"""114 bad or odd files, each with the outcome and the words a person should see.

The files are published ones (c), derived ones (d) and odd packages (z); see their manifest. `REFUSED`: the strict
reader raises with these words. `ACCEPTED`: it reads, and reading, units and checks together say these words.
"""

import csv
import time
from functools import cache
from pathlib import Path

import pytest

from cakewright.errors import CakewrightError, MeshFileError
from cakewright.findings import Severity
from cakewright.formats.mesh_file import read_mesh, recover_mesh
from cakewright.parts.check import check_part
from cakewright.parts.measure import measure
from cakewright.parts.units import decide_unit
from tests.conftest import outside_data
from tests.parts.test_check import CHAMBER, NYLON

REFUSED = {
    "c04_header_only_ascii.stl": "no triangles",
    "c05_binary_zero_triangles.stl": "no triangles",
    "c06_points_only.obj": "point cloud",
    "c07_lines_only.obj": "wireframe",
    "c08_face_with_too_few_indices.obj": "line 9: a face has 2 corners",
    "c19_odd_number_formats.obj": "line 11: vertex 8 has no three readable numbers",
    "c22_index_out_of_range.obj": "line 23: a face refers to vertex 12 of 8",
    "c23_corrupt_ply_header.ply": "bad header",
    "c24_bad_face_tokens.obj": "line 15: a face has 1 corners",
    "c25_relative_index_before_any_vertex.obj": "line 1: a face refers to missing vertices",
    "c26_zero_face_index.obj": "line 16: a face names vertex 0",
    "c28_nan_vertex.obj": "line 12: non-finite coordinate at vertex 1",
    "d09_nan_coordinate.stl": "not a finite number in facet 6",  # the manifest counts facets from 0
    "d10_inf_coordinate.stl": "not a finite number in facet 6",
    "d16_truncated_binary.stl": "truncated: 584 triangles promised, 300 whole ones present",
    "d17_count_too_large.stl": "4000000000 triangles promised, 584 whole ones present",
    "d18_count_too_small.stl": "the header promises 100 triangles, the file holds 584",
    "d21_ascii_truncated.stl": "truncated: it ends at line 2037",
    "d23_ascii_decimal_commas.stl": "decimal commas at line 2",
    "d33_zero_byte.stl": "empty",
    "d34_html_error_page.stl": "looks like a web page (HTML)",
    "d35_step_renamed.stl": "looks like a STEP file",
    "d36_random_bytes.stl": "not an STL file",
    "d37_ply_count_lies.ply": "2000000000 rows of 'vertex' promised",
    "d38_ply_truncated.ply": "truncated",
    "z01_not_a_zip.3mf": "not a ZIP package",
    "z02_zip_truncated.3mf": "damaged or cut",
    "z03_crc_damage.3mf": "checksum or compression error",
    "z04_no_model_part.3mf": "not in the package (core 2.1.1)",
    "z05_no_rels.3mf": "no _rels/.rels",
    "z06_no_content_types.3mf": "no [Content_Types].xml",
    "z08_xml_not_well_formed.3mf": "damaged at line 1, column",
    "z09_model_empty.3mf": "the part is empty",
    "z10_entity_expansion_small.3mf": "(DTD) is forbidden (core 2.3.2)",
    "z11_external_entity.3mf": "(DTD) is forbidden (core 2.3.2)",
    "z12_high_compression_ratio.3mf": "compressed 1009:1, at most 200:1",
    "z14_duplicate_entry.3mf": "duplicate part name '3D/3dmodel.model'",
    "z15_triangle_index_out_of_range.3mf": "names vertex 99 of 8",
    "z16_degenerate_triangle.3mf": "uses a vertex twice (core 4.1.4.1)",
    "z17_nan_vertex.3mf": "z='NaN'",
    "z20_short_transform.3mf": "a transform has 9 words, expected 12 numbers",
    "z21_component_cycle.3mf": "not defined before it",
    "z22_component_missing.3mf": "refers to object 7",
    "z24_unknown_unit.3mf": "unknown unit 'parsec'",
    "z26_empty_build.3mf": "nothing to print",
    "z27_item_missing_object.3mf": "refers to object 42, which is missing",
    "z28_support_object_only.3mf": "no part to build",
    "z29_utf16_model.3mf": "must be UTF-8 (core 2.3.2)",
    "z31_unknown_required_extension.3mf": "needs extension 'http://example.invalid/",
    "z34_locale_comma_numbers.3mf": "z='20,5', expected a number with a decimal point",
    "z35_zip_encrypted_flag.3mf": "protected by a password",
    "z36_fuzzed_package.3mf": "checksum or compression error",
}
CLEAN = ""  # nothing to say at all
OPEN = "mesh.open-edges"
ACCEPTED = {
    "c01_triangle_soup.stl": OPEN,
    "c02_multi_solid_ascii_mixed_winding.stl": "mesh.inconsistent-winding",
    "c03_two_solids_names_differ_case.stl": "part.several-bodies",
    "c09_quads_and_ngons.obj": OPEN,
    "c10_nan_vertex_colours.obj": "unit.ambiguous",
    "c11_two_solids_share_one_edge.obj": "mesh.crowded-edges",
    "c12_zero_thickness_plane.ply": "mesh.no-volume",
    "c13_inches_small_block_bad_header.stl": "in inch it would be 127 x 63.5 x 34.9",
    "c14_wall_with_hole_open.obj": "57 vertices that stand at the place of another were joined",
    "c15_sphere_with_missing_facets.stl": OPEN,
    "c16_empty_solid_then_triangle.stl": OPEN,
    "c17_two_single_triangle_solids.stl": OPEN,
    "c18_utf16_big_endian.obj": "obj.utf-16",
    "c20_concave_ngon.obj": OPEN,
    "c21_line_continuation.obj": "line 24: the outline of a face crosses itself",
    "c27_inconsistent_face_syntax.obj": "unit.ambiguous",
    "c29_binary_header_says_solid_bad_utf8.stl": "unit.ambiguous",
    "c30_ascii_crlf.stl": "unit.ambiguous",
    "c31_ascii_utf8_solid_name.stl": "unit.ambiguous",
    "c32_inconsistent_winding.stl": "mesh.inconsistent-winding",
    "c33_enormous_50_metre.obj": "unit.guessed",
    "c34_self_intersecting.obj": "mesh.self-intersection",
    "c35_non_manifold_edges.obj": "part.touching-bodies",
    "c36_box_unshared_vertices.obj": OPEN,
    "d01_one_facet_missing.stl": OPEN,
    "d02_big_hole.stl": OPEN,
    "d03_all_inverted.stl": "mesh.inside-out",
    "d04_half_flipped.stl": "mesh.inconsistent-winding",
    "d05_duplicate_faces.stl": "mesh.double-faces",
    "d06_shell_twice.stl": "mesh.double-faces",
    "d07_flattened_zero_volume.stl": "mesh.no-volume",
    "d08_degenerate_slivers.stl": "20 triangles without width were left out",
    "d11_far_from_origin.stl": "mesh.rounded-away",
    "d12_offset_500mm.stl": CLEAN,
    "d13_units_inch.stl": "in inch it would be 49 x 14 x 30 mm",
    "d14_units_metre.stl": "read as meter, 49 x 14 x 30 mm",
    "d15_units_micron.stl": "read as micron, 49 x 14 x 30 mm",
    "d19_trailing_garbage.stl": "47 bytes after the last triangle",
    "d20_binary_header_starts_solid.stl": CLEAN,
    "d22_ascii_uppercase_tabs_blank_lines.stl": CLEAN,
    "d24_ascii_utf8_bom.stl": CLEAN,
    "d25_ascii_cr_only.stl": CLEAN,
    "d26_ascii_nan_normals.stl": CLEAN,
    "d27_ascii_one_decimal.stl": CLEAN,
    "d28_overlapping_bodies.stl": "part.overlapping-bodies",
    "d29_sealed_cavity.stl": "a sealed cavity of 4.05 cm³",
    "d30_two_bodies_far_apart.stl": "far apart",
    "d31_self_intersecting_twist.stl": "mesh.partly-inside-out",
    "d32_thin_needle.stl": "part.thin-wall",
    "d39_obj_cube_face_missing.obj": "4 open edges in 1 loop",
    "d40_obj_concave_16gon_caps.obj": CLEAN,
    "-n05_leading_dash.stl": CLEAN,
    "z00_control_good_cube.3mf": CLEAN,
    "z07_model_at_other_path.3mf": CLEAN,
    "z13_path_traversal_entry.3mf": "../../evil.txt",
    "z18_singular_transform.3mf": "mesh.no-volume",
    "z19_mirror_transform.3mf": CLEAN,
    "z23_component_explosion.3mf": "part.too-large",
    "z25_unit_inch.3mf": "part.too-large",
    "z30_open_mesh.3mf": OPEN,
    "z32_unknown_optional_extension.3mf": CLEAN,
    "z33_same_object_100_items.3mf": "100 equal pieces of one object",
}
VOLUMES_CM3 = {
    "-n05_leading_dash.stl": 18.7002,
    "d08_degenerate_slivers.stl": 18.7002,
    "d14_units_metre.stl": 18.7002,
    "d15_units_micron.stl": 18.7002,
    "d28_overlapping_bodies.stl": 37.4004,
    "d30_two_bodies_far_apart.stl": 37.4004,
    "z07_model_at_other_path.3mf": 8.0,
    "z13_path_traversal_entry.3mf": 8.0,
    "z23_component_explosion.3mf": 19683 * 8.0,
    "z32_unknown_optional_extension.3mf": 8.0,
    "d03_all_inverted.stl": -18.7002,
    "d12_offset_500mm.stl": 18.7002,
    "d19_trailing_garbage.stl": 18.7002,
    "d20_binary_header_starts_solid.stl": 18.7002,
    "d22_ascii_uppercase_tabs_blank_lines.stl": 18.7002,
    "d24_ascii_utf8_bom.stl": 18.7002,
    "d25_ascii_cr_only.stl": 18.7002,
    "d26_ascii_nan_normals.stl": 18.7002,
    "d27_ascii_one_decimal.stl": 18.7044,
    "d29_sealed_cavity.stl": 67.953,
    "d40_obj_concave_16gon_caps.obj": 4.89833,
    "z00_control_good_cube.3mf": 8.0,
    "z19_mirror_transform.3mf": 8.0,
    "z25_unit_inch.3mf": 8000 * 16.387064,
    "z33_same_object_100_items.3mf": 8.0,
}
SLOWEST_S = 10.0  # nothing hangs; typical is a few milliseconds


def manifest() -> list[str]:
    folder = outside_data()
    if folder is None:
        return []
    with (folder / "meshes/broken/MANIFEST.csv").open(encoding="utf-8") as lines:
        return [row["file"] for row in csv.DictReader(lines)]


@pytest.fixture(scope="module")
def broken(shared) -> Path:
    return shared / "meshes" / "broken"


@cache
def judged(path: Path):
    """Mesh in mm, measures and everything that reading, unit and checks say."""
    found, findings = read_mesh(path)
    size = tuple(float(v) for v in found.mesh.size_mm)
    unit = decide_unit(size, found.unit, largest_mm=330, where=path.name)
    mesh = found.in_mm(unit.unit)
    measures = measure(mesh)
    checks = check_part(mesh, measures, where=path.name, material=NYLON, chamber_type=CHAMBER)
    return mesh, measures, (*findings, *unit.findings, *checks)


def test_every_file_has_its_expectation(broken):
    """A file added to the folder must be decided upon here."""
    assert set(manifest()) == REFUSED.keys() | ACCEPTED.keys()


@pytest.mark.parametrize("name", sorted(REFUSED))
def test_refused_with_the_reason(broken, name):
    """The strict reader says what is wrong, where, and what to do."""
    with pytest.raises(MeshFileError) as refusal:
        read_mesh(broken / name)
    assert REFUSED[name] in str(refusal.value)
    assert refusal.value.remedy and refusal.value.where == name


@pytest.mark.parametrize("name", sorted(ACCEPTED))
def test_accepted_with_what_must_be_said(broken, name):
    """The reader reads; together with units and checks it says what a person must know, or nothing."""
    _, measures, findings = judged(broken / name)
    said = [
        f"{f.code} {f.text}"
        for f in findings
        if f.severity is not Severity.NOTE or "bytes" in f.text or "left out" in f.text or name[0] in "zc"
    ]
    if ACCEPTED[name] == CLEAN:
        assert [line for line in said if "thin-wall" not in line and "thick-section" not in line] == []
    else:
        assert any(ACCEPTED[name] in line for line in said), said
    if name in VOLUMES_CM3:
        assert not any(line.startswith("mesh.no-volume") for line in said)
        assert measures.volume_cm3 == pytest.approx(VOLUMES_CM3[name], rel=1e-4)


@pytest.mark.parametrize("name", manifest())
def test_the_forgiving_reader_never_breaks(broken, name):
    """It returns a mesh and findings or refuses with a remedy: no other error, no hang."""
    start = time.monotonic()
    try:
        found, findings = recover_mesh(broken / name)
        assert len(found.mesh.faces) > 0
        if name in REFUSED:
            assert findings, "a file that the strict reader refuses is not taken in silence"
    except CakewrightError as refusal:
        assert refusal.remedy
    assert time.monotonic() - start < SLOWEST_S
