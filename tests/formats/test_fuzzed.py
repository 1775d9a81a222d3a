"""Damaged files of every kind: a result or a refusal in words, never another error, never a hang."""

import numpy as np
import pytest

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
