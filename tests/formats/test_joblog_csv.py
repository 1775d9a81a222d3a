"""Job logs are read in both forms, doubts are named, and nonsense is refused with its line."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from cakewright.errors import InputError
from cakewright.formats.joblog_csv import read_job_log

OSLO = ZoneInfo("Europe/Oslo")


@pytest.fixture
def log(tmp_path):
    """Write text to a log file and read it."""

    def read(text, encoding="utf-8"):
        path = tmp_path / "log.csv"
        path.write_bytes(text.encode(encoding))
        return read_job_log(path, OSLO)

    return read


def test_start_and_end(log):
    """Local times become UTC, given offsets are kept, hours add up over the night."""
    jobs, doubts = log(
        "build,start,end\nB1,2027-03-01T22:15,2027-03-02T18:15\nB2,2027-03-03T08:00Z,2027-03-03T20:30Z\n"
    )
    assert [j.build for j in jobs] == ["B1", "B2"]
    assert jobs[0].start == datetime(2027, 3, 1, 21, 15, tzinfo=UTC)
    assert [j.total_s for j in jobs] == [20 * 3600, 12.5 * 3600]
    assert doubts == []


def test_the_night_of_the_clock_change_has_23_hours(log):
    """In the cell's own zone, a build across the change to summer time lasted one hour less than the clock shows."""
    jobs, _ = log("build,start,end\nB1,2027-03-27T12:00,2027-03-28T12:00\n")
    assert jobs[0].total_s == 23 * 3600


def test_layer_times_as_a_spreadsheet_writes_them(log):
    """Semicolons, decimal commas, a byte order mark, columns in another order, a blank line."""
    jobs, doubts = log("﻿Layer;Build;Seconds\n1;B1;20,5\n2;B1;21\n\n1;B2;30\n")
    np.testing.assert_allclose(jobs[0].layer_s, [20.5, 21])
    np.testing.assert_allclose(jobs[1].layer_s, [30])
    assert doubts == []


def test_lost_and_repeated_layers_are_doubts(log):
    """Layer 2 is missing: NaN and a finding; layer 3 came twice: the last counts and a finding."""
    jobs, doubts = log("build,layer,seconds\nB1,1,20\nB1,3,21\nB1,3,22\n")
    np.testing.assert_allclose(jobs[0].layer_s, [20, np.nan, 22])
    assert sorted(f.code for f in doubts) == ["joblog.layers-missing", "joblog.twice"]


@pytest.mark.parametrize(
    ("text", "message"),
    [("", "expected build, start, end"),
     ("build,start,end\n", "expected build, start, end"),
     ("job,hours\nB1,3\n", "hours, job"),
     ("build,start,end\nB1,yesterday,today\n", "line 2: start 'yesterday' is no time"),
     ("build,start,end\nB1,2027-03-02T08:00,2027-03-01T08:00\n", "line 2: build B1 ends before it starts"),
     ("build,start,end\n,2027-03-01T08:00,2027-03-02T08:00\n", "line 2: a row without a build"),
     ("build,layer,seconds\nB1,0,20\n", "line 2: layer '0'"),
     ("build,layer,seconds\nB1,999999999,20\n", "line 2: layer '999999999'"),
     ("build,layer,seconds\nB1,1,nan\n", "line 2: 'nan' seconds"),
     ("build,layer,seconds\nB1,1\n", "line 2: '' seconds")],
)  # fmt: skip
def test_nonsense_is_refused_with_its_line(log, text, message):
    """Each error names line, what was found and what to write."""
    with pytest.raises(InputError) as caught:
        log(text)
    assert message in str(caught.value)


def test_unreadable_files_are_refused(tmp_path):
    """No file, or a file that is no text."""
    with pytest.raises(InputError, match="cannot be read"):
        read_job_log(tmp_path / "none.csv", OSLO)
    (tmp_path / "latin.csv").write_bytes(b"build,start,end\nB\xe9,1,2\n")
    with pytest.raises(InputError, match="not UTF-8"):
        read_job_log(tmp_path / "latin.csv", OSLO)
