"""Names that contradict shapes are noticed; marks keep look-alikes apart."""

from itertools import combinations

import pytest

from cakewright.findings import Severity
from cakewright.parts.marks import marks_for
from cakewright.parts.revisions import Known, check_revision
from cakewright.parts.signature import LookAlike, signature
from tests.conftest import box_mesh
from tests.parts.test_signature import turned

BRACKET, LONGER = signature(box_mesh(60, 20, 5)), signature(box_mesh(63, 20, 5))


@pytest.fixture
def bracket_b():
    return Known("bracket", "B", "hash-1", "order 12, 3 March, by Ada", BRACKET)


def test_the_same_file_again_is_no_news(bracket_b):
    """Silence."""
    assert check_revision(bracket_b, [bracket_b]) == ()


def test_same_name_other_shape_is_a_warning(bracket_b):
    """The revision letter was not raised."""
    (finding,) = check_revision(Known("Bracket", "B", "hash-2", "today", LONGER), [bracket_b])
    assert finding.code == "part.same-name-other-shape" and finding.severity is Severity.WARNING
    assert "60.0 x 20.0 x 5.0 mm became 63.0 x 20.0 x 5.0 mm, volume +5.0 %" in finding.message


def test_other_name_same_shape_is_told(bracket_b):
    """Its price and time are known."""
    again = signature(turned(box_mesh(60, 20, 5)))
    (finding,) = check_revision(Known("holder 7", "", "hash-3", "today", again), [bracket_b])
    assert finding.code == "part.other-name-same-shape" and "order 12" in finding.message


def test_a_new_revision_with_a_new_shape_is_expected(bracket_b):
    """Revision C may differ."""
    assert check_revision(Known("bracket", "C", "hash-2", "today", LONGER), [bracket_b]) == ()


def test_marks_differ_where_parts_look_alike():
    """Three that all look alike need three marks; a chain of four needs two."""

    def pairs(names):
        return [LookAlike(a, b, "near", "") for a, b in names]

    assert sorted(marks_for(pairs(combinations("abc", 2))).values()) == [0, 1, 2]
    chain = marks_for(pairs([("a", "b"), ("b", "c"), ("c", "d")]))
    assert max(chain.values()) == 1 and all(chain[x] != chain[y] for x, y in ("ab", "bc", "cd"))
    assert marks_for([]) == {}
