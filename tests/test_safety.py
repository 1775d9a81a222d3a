"""Cautions: at the step where they matter, each with its source."""

import pytest

from cakewright.model.plan import TaskKind
from cakewright.safety import CLOSING, Work, cautions_for, cautions_of, to_wear
from cakewright.sources.reference import Status

DUSTY = (TaskKind.LOAD, TaskKind.UNPACK, TaskKind.CLEAN)


@pytest.mark.parametrize("task", DUSTY)
def test_powder_work_asks_for_respirator_gloves_and_goggles(task):
    assert {"respirator", "gloves", "goggles", "dust"} <= {c.key for c in cautions_for(task)}


@pytest.mark.parametrize("task", [TaskKind.COOL, TaskKind.UNLOAD, TaskKind.UNPACK])
def test_hot_work_asks_for_heat_gloves(task):
    assert "heat-gloves" in {c.key for c in cautions_for(task)}


def test_every_task_and_work_is_answered():
    for task in TaskKind:
        assert isinstance(cautions_for(task), tuple)
    for work in Work:
        assert cautions_of(work)


def test_each_caution_says_where_it_comes_from():
    for caution in cautions_of(*Work):
        assert caution.short and caution.why and caution.source
        if caution.status is Status.COMMON_PRACTICE:
            assert caution.source == "common practice, no source"


def test_dust_values_are_those_published():
    """Kuracina et al., Polymers 13(17) 3014, 2021: 6.78 bar, 112.2 bar m/s, 450 °C; Polymers 15(21) 4203: 30 g/m³.

    0.5 kg at 30 g/m³ fill 16.7 m³.
    """
    dust = next(c for c in cautions_of(Work.POWDER) if c.key == "dust")
    for said in ("6.78 bar", "112.2", "116.6", "450 °C", "30 g/m³", "17 m³", "Other powders differ"):
        assert said in dust.why
    assert "Kuracina" in dust.source and "4203" in dust.source


def test_what_sheets_call_common_practice_is_that():
    """Sheets print 'common practice, no source' behind what to wear and behind the cautions at a hot chamber."""
    worn = set(to_wear(*Work))
    for caution in [*(c for c in cautions_of(*Work) if c.short in worn), *cautions_of(Work.HOT_CAKE)]:
        assert caution.status is Status.COMMON_PRACTICE, caution.short


def test_cautions_come_once_and_what_to_wear_is_short():
    keys = [c.key for c in cautions_of(Work.OPEN_CAKE, Work.SIEVE)]
    assert len(keys) == len(set(keys))
    assert "Respirator N95 or better (FFP2/FFP3), fit-tested" in to_wear(Work.BLEND)
    assert all(len(w) < 80 for w in to_wear(*Work))


def test_station_stands_away_from_desks_and_blasting_names_its_media():
    text = " ".join(c.short for c in cautions_of(Work.SIEVE, Work.BLAST))
    assert "10 m or more from desks" in text
    assert "glass or silica media" in text


def test_the_last_word_is_with_the_data_sheet():
    assert CLOSING.startswith("Safety data sheet, manual and local rules win")
    assert "licensed person" in CLOSING
