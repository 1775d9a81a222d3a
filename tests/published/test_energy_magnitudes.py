"""Energy per kg against Baumers et al., SFF 2011, "Does capacity utilization matter?", abstract: 61 to 4849 MJ/kg."""

import pytest

from cakewright.errors import InputError
from cakewright.physics.energy import energy_findings, kwh_per_kg


def test_published_range_in_kwh():
    """61 MJ/kg is 16.944 kWh/kg: just inside nothing is said, just below a finding is."""
    assert energy_findings(16.95, 1.0, "B1") == []
    assert energy_findings(1346.0, 1.0, "B1") == []
    assert [f.code for f in energy_findings(16.93, 1.0, "B1")] == ["energy.outside-published"]
    assert [f.code for f in energy_findings(1350.0, 1.0, "B1")] == ["energy.outside-published"]


def test_laser_sintering_figures_are_inside():
    """56.75 and 66.02 kWh/kg (Baumers et al. 2011, two machines, recalled) raise nothing."""
    assert energy_findings(56.75, 1.0, "B1") + energy_findings(66.02, 1.0, "B1") == []


def test_a_build_without_mass_is_refused():
    """Per kg of nothing is no figure."""
    with pytest.raises(InputError):
        kwh_per_kg(50, 0)
