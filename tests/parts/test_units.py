"""Units are taken from words, then from sizes, and never changed in silence."""

import pytest

from cakewright.findings import Severity
from cakewright.parts.units import decide_unit
from cakewright.units import LengthUnit

BRACKET = (49.0, 14.0, 30.0)


def shrunk(unit: LengthUnit):
    return tuple(length / unit.mm for length in BRACKET)


def test_the_files_word_counts():
    """A 3MF in inches is in inches, and there is nothing to ask."""
    decision = decide_unit(shrunk(LengthUnit.INCH), LengthUnit.INCH)
    assert (decision.unit, decision.confidence, decision.findings) == (LengthUnit.INCH, 1.0, ())


def test_a_plain_millimetre_part_needs_no_question():
    """49 mm: in inches it would not fit any chamber of the cell."""
    decision = decide_unit(BRACKET, None, largest_mm=380)
    assert decision.unit is LengthUnit.MILLIMETER
    assert decision.findings == ()


@pytest.mark.parametrize("unit", [LengthUnit.MICRON, LengthUnit.CENTIMETER, LengthUnit.INCH, LengthUnit.METER])
def test_the_order_line_tells_the_unit(unit):
    """The size a customer wrote decides, in any order of the edges, and it is said."""
    decision = decide_unit(shrunk(unit), None, nominal_size_mm=(14, 30, 49), largest_mm=380)
    assert decision.unit is unit
    assert [f.code for f in decision.findings] == ["unit.taken-from-order"]


def test_word_against_order_line_is_a_warning_and_the_word_is_kept():
    """The file says mm, the order line fits inches: a person must decide."""
    decision = decide_unit(shrunk(LengthUnit.INCH), LengthUnit.MILLIMETER, nominal_size_mm=BRACKET)
    assert decision.unit is LengthUnit.MILLIMETER
    assert decision.findings[0].code == "unit.contradiction"


def test_a_part_of_two_units_is_asked_about():
    """1.9 x 0.55 x 1.2 may be a tiny part or inches: mm is kept and both sizes are shown."""
    decision = decide_unit(shrunk(LengthUnit.INCH), None, largest_mm=380)
    assert decision.unit is LengthUnit.MILLIMETER
    assert decision.findings[0].severity is Severity.WARNING
    assert "in inch it would be 49 x 14 x 30 mm" in decision.findings[0].message


@pytest.mark.parametrize("unit", [LengthUnit.METER, LengthUnit.MICRON])
def test_an_absurd_size_is_guessed_and_said(unit):
    """0.049 'mm' is no part, 49 metres neither: the only likely unit is taken, with a warning."""
    decision = decide_unit(shrunk(unit), None, largest_mm=380)
    assert decision.unit is unit
    assert decision.confidence <= 0.9
    assert decision.findings[0].code == "unit.guessed"


def test_nothing_likely_stays_millimetres():
    """A box without length in any unit: keep the numbers, say so."""
    decision = decide_unit((0.0, 0.0, 0.0), None)
    assert (decision.unit, decision.findings[0].code) == (LengthUnit.MILLIMETER, "unit.implausible")


def test_a_size_thinner_than_anything_printable_is_no_guess():
    """20 x 20 x 2000 without a unit is too long in mm, in micron 0.02 mm thick: nothing fits, mm stays."""
    decision = decide_unit((20.0, 20.0, 2000.0), None, largest_mm=600.0)
    assert decision.unit is LengthUnit.MILLIMETER
    assert [f.code for f in decision.findings] == ["unit.implausible"]
