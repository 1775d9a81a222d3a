"""A finding tells what was found and what it was judged by as numbers, not in words only."""

import pytest

from cakewright.errors import InputError
from cakewright.findings import Finding, Severity


def a_finding(**more):
    return Finding("part.thin-wall", Severity.WARNING, "a wall is thin", **more)


@pytest.mark.parametrize(
    ("value", "limit", "said"),
    [
        (0.4, 0.8, "0.40 mm, at least 0.8 mm"),
        (15.04, 10.0, "15.0 mm, at most 10 mm"),
        (512_000.0, 200_000.0, "512000 mm, at most 2e+05 mm"),
        (0.4, None, "0.40 mm"),
        (None, 0.8, ""),
    ],
)
def test_value_and_limit_make_a_phrase(value, limit, said):
    """Which side of the limit is right follows from the value, since a finding is on the wrong one."""
    assert a_finding(value=value, limit=limit, unit="mm").measure == said.replace("2e+05", "200000")


@pytest.mark.parametrize("more", [{"value": 1.0}, {"limit": 1.0}, {"unit": "mm"}])
def test_a_number_without_unit_is_refused(more):
    """And a unit without a number."""
    with pytest.raises(InputError, match="unit"):
        a_finding(**more)
