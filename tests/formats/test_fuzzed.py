"""Damaged files of every kind: a result or a refusal in words, never another error, never a hang."""

import struct

import numpy as np
import pytest
import trimesh

from cakewright.errors import InputError, MeshFileError
from cakewright.formats.lengths_csv import read_lengths
from cakewright.formats.mesh_file import read_mesh
from tests.formats.fuzzing import damaged, kinds, try_one

KINDS = ("stl-binary", "stl-ascii", "obj", "ply-ascii", "ply-little", "ply-big", "3mf", "orders", "cell", "log-spans",
         "log-layers", "lengths")  # fmt: skip


@pytest.mark.parametrize("name", KINDS)
def test_damaged_files_are_read_or_refused(tmp_path, name):
    """The valid file is read; 250 damaged copies, the same in each run, are read or refused."""
    kind = {kind.name: kind for kind in kinds(tmp_path)}[name]
    assert try_one(kind, kind.good, tmp_path, 120.0) == "read"
    said = [try_one(kind, damaged(kind, np.random.default_rng((2, n))), tmp_path) for n in range(250)]
    assert set(said) == {"read", "refused"}


@pytest.mark.parametrize("number", [11646, 21726])
def test_packages_that_once_broke_the_reader(tmp_path, number):
    """An encoding that nobody knows, and an entry without a name: refused or read, no other error."""
    kind = {kind.name: kind for kind in kinds(tmp_path)}["3mf"]
    assert try_one(kind, damaged(kind, np.random.default_rng((3, number))), tmp_path) in ("read", "refused")


@pytest.mark.parametrize("ending", ["stl", "ply"])
def test_a_signalling_nan_is_refused_without_a_warning(tmp_path, ending):
    """Bytes 0x7fa00000 as a coordinate: warnings are errors here, so only the refusal in words may come out."""
    box = trimesh.creation.box((10, 10, 10))
    data = bytearray(box.export(file_type=ending))
    number = struct.pack("<f", 5.0)
    at = bytes(data).index(number, 84 if ending == "stl" else bytes(data).index(b"end_header"))
    data[at : at + 4] = struct.pack("<I", 0x7FA00000)
    path = tmp_path / f"nan.{ending}"
    path.write_bytes(data)
    with pytest.raises(MeshFileError):
        read_mesh(path)


def test_a_length_list_with_a_field_without_end_is_refused_in_words(tmp_path):
    """Found by an hour of damaged files: a field beyond the limit of the CSV reader in a later row."""
    path = tmp_path / "lengths.csv"
    path.write_text("axis,wanted,measured\nx,10,10.1\n" + "9" * 140_000 + ",1,1\n")
    with pytest.raises(InputError, match="not readable as CSV"):
        read_lengths(path)
