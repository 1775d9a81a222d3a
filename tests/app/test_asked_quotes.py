"""A file that comes in is there whole or not at all."""

from __future__ import annotations

import pytest

from cakewright.app import inbox
from cakewright.app.asked_quotes import FOLDER, AskedQuote, keep_asked
from cakewright.app.inbox import Incoming
from cakewright.errors import InputError


def broken_off():
    yield b"solid"
    raise ConnectionError("gone")


@pytest.mark.parametrize("chunks", [[], [b""], broken_off(), [b"12345", b"678"]], ids=["none", "empty", "off", "large"])
def test_a_file_that_does_not_come_whole_leaves_nothing(tmp_path, monkeypatch, chunks):
    monkeypatch.setattr(inbox, "LARGEST_FILE_BYTES", 7)
    with pytest.raises((InputError, ConnectionError)):
        Incoming(tmp_path / "a.stl", "a.stl").all(chunks)
    assert not list(tmp_path.iterdir())


def test_a_file_that_comes_whole_is_kept(tmp_path):
    path = Incoming(tmp_path / "a.stl", "a.stl").all([b"12", b"345"])
    assert path.read_bytes() == b"12345"
    assert list(tmp_path.iterdir()) == [path]


def test_a_quote_of_nothing_keeps_nothing(store, plan):
    """The folder of what was asked is gone with the file that was empty."""
    with pytest.raises(InputError, match="is empty"):
        keep_asked(store, AskedQuote("a.stl"), [], plan.cell)
    assert not list((store.folder / FOLDER).glob("*"))
