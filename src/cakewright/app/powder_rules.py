"""What a quality class asks of its charge: the fixed ratio, or limits on age or melt flow that mean the same."""

from __future__ import annotations

import math
from enum import StrEnum

from cakewright.model.build import Build
from cakewright.model.plan import WeekPlan
from cakewright.powder.ageing import mean_age
from cakewright.powder.blend import BlendRule
from cakewright.sources.powder import FLOW_LOSS_PER_BUILD, VIRGIN_FLOW


class BlendMode(StrEnum):
    """How a charge is worked out. Values are words on the slip."""

    FIXED = "fixed ratio"
    AGE = "by age"
    FLOW = "by melt flow"


def build_rule(plan: WeekPlan, build: Build, mode: BlendMode, *, most_lots: int | None = None) -> BlendRule:
    """The rule for a build: that of its most demanding class.

    `BlendMode.AGE` allows the mean age that the class's refresh ratio r settles at, (1 - r)/r builds; `BlendMode.FLOW`
    the melt flow that powder of that age has, so that a well-kept stock needs less virgin powder and a
    tired one more. Both are as good as their numbers: `sources.powder.FLOW_LOSS_PER_BUILD` is not measured.
    """
    name = _class_of(plan, build)
    ratio = build.powder.refresh_ratio
    if mode is BlendMode.FIXED or ratio <= 0.0:
        return BlendRule(name, fixed_ratio=ratio, most_lots=most_lots)
    age = mean_age(ratio)
    if mode is BlendMode.AGE:
        return BlendRule(name, age_at_most=age, most_lots=most_lots)
    flow = VIRGIN_FLOW.value * math.exp(-FLOW_LOSS_PER_BUILD.value * age)
    return BlendRule(name, flow_at_least=flow, most_lots=most_lots)


def _class_of(plan: WeekPlan, build: Build) -> str:
    classes = [plan.cell.quality_class(plan.line(number).quality_class) for number in build.lines]
    return max(classes, key=lambda c: c.refresh_ratio).name
