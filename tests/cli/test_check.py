"""`cakewright check`: the words on the screen and the reports it writes."""

import pytest

from cakewright.cli.check import run_check
from cakewright.errors import InputError
from cakewright.formats.stl import stl_bytes
from tests.conftest import box_mesh


@pytest.fixture
def plate(tmp_path):
    """A plate of 0.5 mm: too thin."""
    file = tmp_path / "plate.stl"
    file.write_bytes(stl_bytes(box_mesh(40, 30, 0.5), "plate"))
    return file


def test_a_single_file_gets_its_doubts_its_ways_up_and_a_report(plate, tmp_path, capsys):
    """Value and limit on the screen, two files in the folder."""
    run_check([plate], None, None, tmp_path / "out", "+Z", "+X")
    said = capsys.readouterr().out
    assert "a wall of 0.50 mm" in said and "limit 0.8 mm" in said
    assert "which way up" in said and "strength along the load" in said
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == ["plate-check.html", "plate-check.pdf"]


def test_a_side_that_does_not_exist_is_refused(plate):
    """With the names of those that do."""
    with pytest.raises(InputError, match="unknown side"):
        run_check([plate], None, None, None, "top", "")
