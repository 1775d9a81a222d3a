"""133 conformance files: good ones read with the reference counts, mustfail ones refused with the rule they break."""

import csv
from pathlib import Path

import lib3mf
import numpy as np
import pytest
from lib3mf import Lib3MF

from cakewright.errors import MeshFileError
from cakewright.formats.judge import Judge
from cakewright.formats.mesh_file import read_mesh, recover_mesh
from cakewright.formats.threemf import load_3mf, merged, read_3mf
from cakewright.model.mesh import Mesh
from cakewright.parts.measure import measure
from tests.conftest import outside_data

REFERENCE = lib3mf.get_wrapper()  # kept: models must not outlive it

# the words of the broken rule, where they are not those of the file name
RULE = {
    "core_2.1.1a": "core 2.1.1", "core_2.1.1b": "core 2.1.1", "core_2.1.2": "core 2.1.1", "core_2.1.3": "core 2.1.1",
    "core_2.1.4": "core 2.1.4", "core_2.3.2a": "core 2.3.2", "core_2.3.2b": "core 2.3.2", "core_2.3.2c": "core 2.3.2",
    "core_2.3.2d": "unbound prefix", "core_2.3.4": "core 2.3.4", "core_3.4.1b": "core 3.4.1",
    "core_3.4.3.1a": "core 3.4.3.1", "core_3.4.3.1b": "core 3.4.3.1", "core_3.4a": "junk after document element",
    "core_3.4b": "'build' is missing (core 3.4)", "core_3.4c": "'resources' is missing", "core_4a": "core 4",
    "core_4b": "pindex without pid (core 4)", "core_5a": "two resources have the id 1",
    "materials_ext_2_DuplicatedColorGroupId": "the id 3", "materials_ext_2_DuplicatedIdAcrossGroup": "the id 2",
    "materials_ext_2_M": "materials 2", "materials_ext_3_D": "the id 4", "materials_ext_3_M": "materials 3",
    "materials_ext_4a": "the id 5", "materials_ext_4": "materials 4", "materials_ext_5": "materials 5",
    "materials_ext_6": "materials 6", "required_extension": "core 2.3.1", "duplicate_": "duplicate attribute",
    "comma_separated": "core 2.3.2", "multiproperty": "materials 5", "slice_refs": "core 3.4.3.1",
    "secure_": "secure content", "property_index": "core 4.1.4",
}  # fmt: skip
# the set contradicts itself here: an undefined metadata name must fail in one file and must pass in another of the
# same kind (pass_3.4.1c); the reference implementation warns about both, and so do we
ONLY_WARNED = {"mustfail/core_3.4.1a_MissingMetadataName.3mf"}
REFUSED_EXTENSIONS = {
    "extensions/beamlattice_pyramid.3mf": "a beam lattice is not turned into solid",
    "extensions/beamlattice_variable_voronoi.3mf": "a beam lattice is not turned into solid",
    "extensions/beamset_unique.3mf": "secure content",
    "extensions/secure_keystore_plain.3mf": "secure content",
    "extensions/secure_encrypted_part.3mf": "secure content",
    "extensions/old_draft_0_93_namespace.3mf": "2013/01",
}
# a warning of the specification's own tools that is a breach for a strict reader
REFUSED_WARN = {
    "warn/two_startpart_relationships.3mf": "core 2.1.1",
    "warn/must_warn_or_fail.3mf": "'UNKNOWN' is not allowed",
    "warn/beamset_not_unique.3mf": "secure content",
    "warn/extension_used_not_required.3mf": "core 2.3.1",  # it does require it; the reference refuses it too
}


# the reference refuses these two itself: a multi-property names a texture where a texture group belongs
REFERENCE_REFUSES = {
    "good/pass_3.4.2_MetaData_Resources_Build.3mf",
    "good/pass_3.4.3a_MustNotOutputNonReferencedObjects.3mf",
}


def rows(folder: str) -> list[dict[str, str]]:
    data = outside_data()
    if data is None:
        return []
    with (data / "meshes/3mf/MANIFEST.csv").open(encoding="utf-8") as lines:
        return [row for row in csv.DictReader(lines) if row["file"].startswith(folder)]


def names(folder: str) -> list[str]:
    return [row["file"] for row in rows(folder)]


@pytest.fixture(scope="module")
def corpus(shared) -> Path:
    return shared / "meshes" / "3mf"


def expanded(path: Path) -> Mesh:
    """Everything on the platform, supports too, in mm: what the reference values count."""
    model = load_3mf(path.read_bytes(), Judge(path.name, strict=True))
    vertices, faces, _ = merged(model.pieces())
    return Mesh(vertices * model.unit.mm, faces)


def rule_of(name: str) -> str:
    stem = name.partition("/")[2]
    return RULE[max((key for key in RULE if stem.startswith(key)), key=len)]


def readable() -> list[dict[str, str]]:
    refused = REFUSED_EXTENSIONS.keys() | REFUSED_WARN.keys()
    chosen = [*rows("good"), *rows("extensions"), *rows("warn")]
    return [row for row in chosen if row["file"] not in refused]


def test_every_file_is_decided_upon(corpus):
    """The manifest and the folder agree, and no file is forgotten."""
    listed = {row["file"] for row in rows("")}
    assert len(listed) == 133
    assert {str(p.relative_to(corpus)) for p in corpus.rglob("*.3mf")} == listed


@pytest.mark.parametrize("row", readable(), ids=lambda row: row["file"])
def test_readable_files_have_the_reference_counts(corpus, row):
    """Triangles, box and, where the mesh is closed, volume are those of the reference."""
    mesh = expanded(corpus / row["file"])
    found = measure(mesh)
    assert found.triangles == int(row["ref_triangles_expanded"])
    box = [float(word) for word in row["ref_bbox_mm"].split("x")]
    assert np.allclose(found.size_mm, box, rtol=1e-4, atol=2e-3)
    if found.is_watertight and found.is_oriented:
        assert found.volume_cm3 == pytest.approx(float(row["ref_volume_cm3"]), rel=1e-3)


@pytest.mark.parametrize("name", names("mustfail"))
def test_mustfail_files_are_refused_with_their_rule(corpus, name):
    """The message names the chapter that the file breaks."""
    if name in ONLY_WARNED:
        _, findings = read_mesh(corpus / name)
        assert any("core 3.4.1" in f.message for f in findings)
        return
    with pytest.raises(MeshFileError) as refusal:
        read_mesh(corpus / name)
    assert rule_of(name) in str(refusal.value)


@pytest.mark.parametrize("name", sorted(REFUSED_EXTENSIONS | REFUSED_WARN))
def test_what_cannot_be_built_is_refused_clearly(corpus, name):
    """Encrypted content, lattices without triangles, a draft of 2013, doubtful packages."""
    with pytest.raises(MeshFileError) as refusal:
        read_mesh(corpus / name)
    assert (REFUSED_EXTENSIONS | REFUSED_WARN)[name] in str(refusal.value)


@pytest.mark.parametrize("name", [n for n in names("warn") if n not in REFUSED_WARN])
def test_warn_files_are_read_with_a_warning(corpus, name):
    """Read, and something is said."""
    assert read_mesh(corpus / name)[1]


@pytest.mark.parametrize("name", [row["file"] for row in rows("")])
def test_the_forgiving_reader_reads_or_refuses(corpus, name):
    """No other error on any of the 133 files."""
    try:
        found, _ = recover_mesh(corpus / name)
        assert len(found.mesh.faces)
    except MeshFileError as refusal:
        assert refusal.remedy


def reference_pieces(path: Path) -> tuple[int, list[np.ndarray]] | None:
    """(triangles of all mesh objects on the platform, item matrices) by the reference implementation."""
    model = REFERENCE.CreateModel()
    reader = model.QueryReader("3mf")
    try:
        reader.ReadFromFile(str(path))
    except Lib3MF.ELib3MFException:
        return None
    matrices, walk = [], model.GetBuildItems()
    total = 0
    while walk.MoveNext():
        item = walk.GetCurrent()
        matrices.append(
            np.array([list(r) for r in item.GetObjectTransform().Fields]).T
            if item.HasObjectTransform()
            else np.eye(3, 4)
        )
        total += triangles_of(item.GetObjectResource())
    return total, matrices


def triangles_of(thing) -> int:
    if thing.IsMeshObject():
        return int(thing.GetTriangleCount())
    return sum(triangles_of(thing.GetComponent(k).GetObjectResource()) for k in range(thing.GetComponentCount()))


@pytest.mark.parametrize("name", names("good"))
def test_the_reference_implementation_agrees(corpus, name):
    """Same triangles on the platform, same place of every item."""
    reference = reference_pieces(corpus / name)
    if name in REFERENCE_REFUSES:
        assert reference is None
        return
    assert reference is not None
    total, matrices = reference
    ours = read_3mf(corpus / name)
    assert sum(len(p.object.faces) for p in ours.pieces()) == total
    assert len(ours.items) == len(matrices)
    for item, matrix in zip(ours.items, matrices, strict=True):
        assert np.allclose(item.matrix[:3], matrix, atol=1e-4)
