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
from cakewright.formats.threemf import ThreeMfItem, load_3mf, merged, read_3mf, write_3mf
from cakewright.model.mesh import Mesh
from cakewright.parts.measure import measure
from tests.conftest import outside_data

REFERENCE = lib3mf.get_wrapper()  # kept: models must not outlive it

# the words of the broken rule for each file
RULE = {
    "core_2.1.1a_PartsRelationships_NonExist3DModelPart": "no 3D model part (core 2.1.1)",
    "core_2.1.1b_PartsRelationships_LinkToExternal": "leads out of the package, to 'C:/Metadata/",
    "core_2.1.2_PartsRelationships_MoreThanOne3DModelPart": "2 relationships name a 3D model part, exactly one may",
    "core_2.1.3_PartsRelationships_NonExistThumbnailPart": "file.png', which is not in the package (core 2.1.1)",
    "core_2.1.4_PartsRelationships_MoreThanOnePrintTicket": "2 print tickets, at most one is allowed (core 2.1.4)",
    "core_2.3.2a_NonUTF_Encoding": "no XML in UTF-8 (core 2.3.2)",
    "core_2.3.2b_DataTypeDefinitionInXMLMarkup": "(DTD) is forbidden (core 2.3.2)",
    "core_2.3.2c_UndefinedNameSpaceInXDS": "newproperty' on 'vertices' (core 2.3.2)",
    "core_2.3.2d_UndefinedXMLXSIInXSDSchema": "unbound prefix (core 2.3)",  # not even XML: met before the rule
    "core_2.3.4_WhiteSpace": "xml:space is used at line 2 (core 2.3.4)",
    "core_3.4.1b_DuplicatedMetadataName": "metadata 'Title' is there twice (core 3.4.1)",
    "core_3.4.3.1a_NotMatchingObjectIdInBuildItem": "refers to object 14, which is missing (core 3.4.3.1)",
    "core_3.4.3.1b_BuildItemReferToObjectOfTypeOther": "object 8 of type 'other' (core 3.4.3.1)",
    "core_3.4a_MoreThanOneModel": "junk after document element",
    "core_3.4b_MissingBuildElement": "'build' is missing (core 3.4)",
    "core_3.4c_MissingResourceElement": "'resources' is missing before 'build' (core 3.4)",
    "core_4a_InvalidObjectType": "the type 'invalidtype', expected one of model",
    "core_4b_PID_IsNotSpecified": "object 7 has pindex without pid (core 4)",
    "core_5a_DuplicatedBaseMaterials": "two resources have the id 1 (core 4 and 5)",
    "materials_ext_2_DuplicatedColorGroupId": "two resources have the id 3",
    "materials_ext_2_DuplicatedIdAcrossGroup": "two resources have the id 2",
    "materials_ext_2_MissingColorValue": "a colour has the value None, expected #RRGGBB or #RRGGBBAA (materials 2)",
    "materials_ext_3_DuplicatedTexture2DGroup": "two resources have the id 4",
    "materials_ext_3_MissingTexId": "texture group 4 names no texture: texid=None (materials 3)",
    "materials_ext_4a_DuplicatedCompositeMaterials": "two resources have the id 5",
    "materials_ext_4b_MatId_IsNotBaseMaterials": "matid='3' is no base material (materials 4)",
    "materials_ext_4c_MissingMatidMatIndices": "matid=None is no base material (materials 4)",
    "materials_ext_4d_MissingMatIndices": "composite materials 5 has no matindices (materials 4)",
    "materials_ext_5a_MissingPIDs": "multi-properties 6 has no pids (materials 5)",
    "materials_ext_5b_MultipleReferenceToBaseAndCompositeMatterials": "refers to more than one material (materials 5)",
    "materials_ext_5b_MultipleReferenceToBaseMatterials": "refers to more than one material (materials 5)",
    "materials_ext_5b_ReferToAnotherMultiProperties": "10 refers to another multi-properties (materials 5)",
    "materials_ext_5c_MultipleReferenceToColorgroup": "refers to more than one colour group (materials 5)",
    "materials_ext_5d_MultipleReferenceToCompositeMaterials": "refers to more than one material (materials 5)",
    "materials_ext_5e_ReferenceToMultiProperties": "refers to another multi-properties (materials 5)",
    "materials_ext_6_2DTexture_InvalidContentType": "content type '', expected image/png or image/jpeg (materials 6)",
    "materials_ext_6_2DTexture_MissingPath": "texture 2 has no path (materials 6)",
    "required_extension_unsupported": "ExtensionUnsupported/2999/12', which is not supported (core 2.3.1)",
    "duplicate_component_transform": "damaged at line 61, column 91: duplicate attribute",
    "duplicate_item_transform": "damaged at line 151, column 71: duplicate attribute",
    "comma_separated_vertex_numbers": "x='20,000', expected a number with a decimal point (core 2.3.2)",
    "multiproperty_wrong_blend_count": "more blend methods than layers to blend (materials 5)",
    "slice_refs_too_deep": "object 2, which is missing (core 3.4.3.1)",  # a stack of slices
    "secure_keystore_empty": "encrypted or protected (secure content extension)",
    "secure_keystore_missing_attributes": "encrypted or protected (secure content extension)",
    "property_index_out_of_bounds": "property index 1000000 of 1 in group 2 (core 4.1.4)",
}
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


# readable, but their surfaces enclose no volume that could be compared: open, or faces that do not agree
NO_SOLID = {
    "good/holed_cube_with_support_inch.3mf", "good/feature_block_inch.3mf", "extensions/beamlattice_box_clip_modes.3mf",
    "extensions/production_two_boxes.3mf", "extensions/production_two_boxes_slices.3mf",
    "warn/beamlattice_bad_attributes_1.3mf", "warn/beamlattice_bad_attributes_2.3mf",
}  # fmt: skip
# what is said of files that are read with a warning
WARNED = {
    "warn/beamlattice_bad_attributes_1.3mf": "a beam lattice is not turned into solid",
    "warn/beamlattice_bad_attributes_2.3mf": "a beam lattice is not turned into solid",
    "warn/metadata_model_unknown_name.3mf": "metadata name 'OtherName' is not defined (core 3.4.1)",
    "warn/metadata_object_unknown_name.3mf": "metadata name 'OtherName' is not defined (core 3.4.1)",
    "warn/metadata_model_undeclared_ns.3mf": "metadata name 'vendor1:CustomMetadata1' is not defined (core 3.4.1)",
    "warn/metadata_object_undeclared_ns.3mf": "metadata name 'vendor1:CustomMetadata1' is not defined (core 3.4.1)",
    "warn/object_thumbnail_wrong_relationship.3mf": "thumbnail.png' has no thumbnail relationship (core 4)",
    "warn/slice_non_planar_transform.3mf": "object 2 is only a rough mesh beside its slices",
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
    assert (found.is_watertight and found.is_oriented) == (row["file"] not in NO_SOLID)
    if row["file"] not in NO_SOLID:
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
    assert RULE[Path(name).stem] in str(refusal.value)
    assert refusal.value.remedy


@pytest.mark.parametrize("name", sorted(REFUSED_EXTENSIONS | REFUSED_WARN))
def test_what_cannot_be_built_is_refused_clearly(corpus, name):
    """Encrypted content, lattices without triangles, a draft of 2013, doubtful packages."""
    with pytest.raises(MeshFileError) as refusal:
        read_mesh(corpus / name)
    assert (REFUSED_EXTENSIONS | REFUSED_WARN)[name] in str(refusal.value)


@pytest.mark.parametrize("name", [n for n in names("warn") if n not in REFUSED_WARN])
def test_warn_files_are_read_with_a_warning(corpus, name):
    """Read, and what is doubtful is said."""
    assert any(WARNED[name] in f.message for f in read_mesh(corpus / name)[1])


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


@pytest.mark.parametrize("row", rows("good"), ids=lambda row: row["file"])
def test_the_reference_implementation_reads_what_we_write(corpus, tmp_path, row):
    """Each good file, read and written again by us: no warning in strict mode, as many triangles in the same box."""
    ours = read_3mf(corpus / row["file"])
    pieces = ours.pieces()
    meshes = {f"m{n}": Mesh(p.object.vertices * ours.unit.mm, p.object.faces) for n, p in enumerate(pieces)}
    items = []
    for n, piece in enumerate(pieces):
        matrix = piece.matrix.copy()
        matrix[:3, 3] *= ours.unit.mm
        items.append(ThreeMfItem(f"piece {n}", f"m{n}", matrix))
    write_3mf(tmp_path / "again.3mf", meshes, items, {})
    model = REFERENCE.CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(tmp_path / "again.3mf"))
    assert reader.GetWarningCount() == 0
    points, total, walk = [], 0, model.GetBuildItems()
    while walk.MoveNext():
        item = walk.GetCurrent()
        total += triangles_of(item.GetObjectResource())
        points.append(corners_of(item))
    assert total == sum(len(p.object.faces) for p in pieces)
    box = np.ptp(np.concatenate(points), axis=0)
    assert np.allclose(box, [float(word) for word in row["ref_bbox_mm"].split("x")], rtol=1e-4, atol=2e-3)


def corners_of(item) -> np.ndarray:
    """Vertices of a build item as the reference implementation places them, (n, 3)."""
    component = item.GetObjectResource().GetComponent(0)
    mesh = component.GetObjectResource()
    points = np.array([list(v.Coordinates) for v in mesh.GetVertices()])
    for fields in ([component.GetTransform().Fields] if component.HasTransform() else []) + [
        item.GetObjectTransform().Fields
    ]:
        rows_ = np.array([list(r) for r in fields])
        points = points @ rows_[:3] + rows_[3]
    return points
