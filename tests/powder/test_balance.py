"""The powder of a build balances to the gram."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cakewright.errors import InputError
from cakewright.model.cell import Material
from cakewright.powder.balance import break_even_refresh, density_for_refresh, powder_need

GREY = Material(
    name="PA12 grey",
    sintered_density_g_cm3=0.95,
    bed_density_g_cm3=0.47,
    bed_temperature_c=170,
    opening_temperature_c=50,
    cake_conductivity_w_mk=0.1,
    cake_heat_capacity_j_kgk=2400,
    virgin_price_per_kg=65,
    virgin_kg=40,
    used_kg=31,
    loss_fraction=0.04,
    minimum_wall_mm=0.8,
)


def need(**changes):
    """A cake of 190 x 240 x 200 mm at 8 % of the part height; 40 % virgin."""
    arguments = {
        "height_mm": 200.0,
        "base_area_mm2": 190.0 * 240.0,
        "base_mm": 8.0,
        "cover_mm": 5.0,
        "parts_volume_mm3": 0.08 * 190 * 240 * 200,
        "material": GREY,
        "overflow_fraction": 0.15,
        "dead_kg": 1.5,
        "refresh_ratio": 0.4,
        "refresh_reason": "standard class",
    }
    return powder_need(**(arguments | changes))


def test_by_hand():
    """One litre of cake without anything around it, half of it parts."""
    one = need(height_mm=100, base_area_mm2=10_000, base_mm=0, cover_mm=0, parts_volume_mm3=500_000,
               overflow_fraction=0.1, dead_kg=0.2)  # fmt: skip
    cake = 0.5 * 0.95 + 0.5 * 0.47
    assert one.charge_kg == pytest.approx(cake * 1.1 + 0.2)
    assert one.in_parts_kg == pytest.approx(0.475)
    assert one.loss_kg == pytest.approx(0.04 * (0.235 + 0.1 * cake + 0.2))


@given(
    height=st.floats(1, 600),
    area=st.floats(100, 4e5),
    fill=st.floats(0, 1),
    overflow=st.floats(0, 1),
    dead=st.floats(0, 20),
    ratio=st.floats(0, 1),
    loss=st.floats(0, 1),
)
def test_mass_closes(height, area, fill, overflow, dead, ratio, loss):
    """What goes in is in parts, lost or back; what the used stock gains is the surplus."""
    n = need(height_mm=height, base_area_mm2=area, parts_volume_mm3=fill * height * area, overflow_fraction=overflow,
             dead_kg=dead, refresh_ratio=ratio, material=replace(GREY, loss_fraction=loss))  # fmt: skip
    assert n.virgin_kg + n.used_kg == pytest.approx(n.charge_kg, abs=1e-9)
    assert n.in_parts_kg + n.loss_kg + n.back_kg == pytest.approx(n.charge_kg, abs=1e-9)
    assert n.back_kg - n.used_kg == pytest.approx(n.surplus_kg, abs=1e-9)
    assert (n.refresh_ratio - n.break_even_ratio) * n.charge_kg == pytest.approx(n.surplus_kg, abs=1e-9)
    assert min(n.virgin_kg, n.used_kg, n.loss_kg, n.back_kg) >= 0


def test_at_break_even_the_drum_stays_level():
    """A charge mixed at its own break-even ratio neither fills nor drains the used stock."""
    assert need(refresh_ratio=need().break_even_ratio).surplus_kg == pytest.approx(0, abs=1e-12)


def test_build_and_formula_agree():
    """The ratio of a whole build is the closed formula when nothing lies dead."""
    n = need(dead_kg=0)
    density = 0.08 * 200 / 213
    formula = break_even_refresh(packing_density=density, sintered_density_g_cm3=0.95, bed_density_g_cm3=0.47,
                                 loss_fraction=0.04, overflow_fraction=0.15)  # fmt: skip
    assert n.break_even_ratio == pytest.approx(formula)


def test_no_density_balances_more_loss_than_refresh():
    """When losses alone exceed the virgin share the stock shrinks at any density."""
    assert density_for_refresh(refresh_ratio=0.02, sintered_density_g_cm3=0.95, bed_density_g_cm3=0.47,
                               loss_fraction=0.04) is None  # fmt: skip


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"refresh_ratio": 40}, "refresh ratio is 40"),
        ({"height_mm": 0.0}, "height of the build is 0 mm"),
        ({"parts_volume_mm3": 1e9}, "parts of 1000000.0 cm³"),
        ({"dead_kg": -1.0}, "dead powder is -1 kg"),
        ({"parts_volume_mm3": float("nan")}, "solid volume of the parts is nan"),
    ],
)
def test_impossible_figures_are_refused(change, words):
    """The message repeats the figure and says what would be right."""
    with pytest.raises(InputError, match=words) as caught:
        need(**change)
    assert caught.value.remedy
