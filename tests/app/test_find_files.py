"""The right file for each order line, or a message that helps."""

from datetime import date
from pathlib import Path

import pytest

from cakewright.app.find_files import file_of_line, mesh_files
from cakewright.errors import InputError
from cakewright.model.order import OrderLine


def line(part: str, revision: str = "B", file: str | None = None) -> OrderLine:
    day = date(2027, 3, 1)
    return OrderLine(1, "A-1", day, "Team", part, revision, 1, "PA12", "raw", "draft", day, file=file)


@pytest.fixture
def drawer(tmp_path: Path) -> Path:
    """A parts folder with two revisions of a clip, one knob, and a note that is no mesh."""
    for name in ("cable-clip_B.stl", "cable-clip_C.stl", "Knob 28 mm.3mf", "readme.txt"):
        (tmp_path / name).write_text("x")
    return tmp_path


def test_name_and_revision_decide(drawer):
    """'cable clip' revision C is cable-clip_C.stl, whatever the spelling of the gaps."""
    assert file_of_line(line("cable clip", "C"), mesh_files(drawer), drawer).name == "cable-clip_C.stl"


def test_a_name_without_revision_is_enough_when_it_is_the_only_one(drawer):
    assert file_of_line(line("knob 28 mm", "A"), mesh_files(drawer), drawer).name == "Knob 28 mm.3mf"


def test_a_missing_file_names_the_nearest(drawer):
    with pytest.raises(InputError, match=r"nearest names: cable-clip_[BC].stl") as wrong:
        file_of_line(line("cable klip", "C"), mesh_files(drawer), drawer)
    assert "column 'file'" in wrong.value.remedy


def test_two_candidates_are_not_guessed(drawer):
    (drawer / "old").mkdir()
    (drawer / "old" / "cable-clip_C.stl").write_text("x")
    with pytest.raises(InputError, match="2 files could be"):
        file_of_line(line("cable clip", "C"), mesh_files(drawer), drawer)


def test_the_file_column_may_not_climb_out_of_the_folder(drawer):
    with pytest.raises(InputError, match="lies outside"):
        file_of_line(line("x", file="../../etc/passwd"), mesh_files(drawer), drawer)


def test_no_folder_is_said_plainly(tmp_path):
    with pytest.raises(InputError, match="no folder"):
        mesh_files(tmp_path / "nowhere")
