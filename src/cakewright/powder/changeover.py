"""Changing the material of a machine: when it pays, how long a campaign should be, what has to be signed."""

from __future__ import annotations

import math
from dataclasses import dataclass

from cakewright.powder.checks import need_positive, need_zero_or_more
from cakewright.sources.powder import CHANGEOVER_H


@dataclass(frozen=True, slots=True)
class Change:
    """What one change of material costs: machine hours, hands, purge powder, in the cell's currency."""

    machine_rate_per_h: float
    staffed_h: float
    hands_per_h: float
    purge_kg: float
    virgin_price_per_kg: float
    hours: float = CHANGEOVER_H.value

    @property
    def price(self) -> float:
        """Everything added up."""
        return (
            self.hours * self.machine_rate_per_h
            + self.staffed_h * self.hands_per_h
            + self.purge_kg * self.virgin_price_per_kg
        )


@dataclass(frozen=True, slots=True)
class Campaign:
    """How long to stay with a material: machine hours per campaign, and what the rule costs per week."""

    hours: float
    changes_per_week: float
    change_price_per_week: float
    waiting_price_per_week: float


def campaign(change: Change, *, demand_h_per_week: float, waiting_price_per_h_week: float) -> Campaign:
    """The campaign that balances changes against waiting: h* = sqrt(2 D S / H), the economic lot.

    D machine hours of this material asked for in a week, S price of a change (there and back), H what it
    costs to let one machine hour of work wait for a week. At h* both prices are equal.
    """
    d = need_positive("the demand", demand_h_per_week, "h per week")
    h = need_positive("the price of waiting", waiting_price_per_h_week, "per machine hour and week")
    s = need_positive("the price of a change", change.price, "")
    hours = math.sqrt(2.0 * d * s / h)
    return Campaign(hours, d / hours, s * d / hours, h * hours / 2.0)


def change_pays(
    change: Change, *, waiting_value: float, changes: int = 2, lost_margin_per_h: float = 0.0
) -> tuple[bool, float]:
    """(does it pay, margin): the value of the work that waits against changing `changes` times.

    `waiting_value` is what would be earned or saved by making the waiting work now; `lost_margin_per_h`
    what the machine would earn with its present material during the hours of the change.
    """
    lost = need_zero_or_more("the lost margin", lost_margin_per_h, "per h") * change.hours
    gain = waiting_value - changes * (change.price + lost)
    return gain > 0.0, gain


CHECKLIST: tuple[str, ...] = (
    "Respirator, goggles, gloves on; earthed dust-rated vacuum only; no open compressed air.",
    "Safety data sheet, manual and local rules read and followed where they differ from this list.",
    "Last charge of the old material out of machine, feeds, hoses and overflow; each can weighed and labelled.",
    "Recoater, feeds, chamber seals and platform taken out; vacuumed, wiped, looked at with a lamp.",
    "Window and sensors cleaned; filters and vacuum bag changed and marked with the material.",
    "Sieve, mixer, scoops, brushes, gloves and blasting media of the new material brought; the old ones taken away.",
    "Chambers of the new material on the trolley; their labels read aloud.",
    "Purge powder run through feeds and overflow; weighed and put to waste.",
    "Parameter set of the new material loaded; a second person reads it back.",
    "Empty first layers, then a specimen build; specimens looked at for foreign specks.",
    "Signed by the one who cleaned and by the one who checked, with time and purge mass.",
)
"""Common practice, no source. Each step is signed; stations, sieves and media are dedicated like machines."""
