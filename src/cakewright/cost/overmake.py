"""How many pieces to start so that enough are good."""

from __future__ import annotations

import numpy as np
from scipy.stats import binom

from cakewright.errors import InputError


def pieces_to_start(quantity: int, piece_yield: float, confidence: float = 0.95) -> int:
    """Smallest n with P(Binomial(n, yield) >= quantity) >= confidence.

    Pieces are taken to fail one by one. Failed builds, which take many at once, are another matter: see
    `cost.failure`.
    """
    _check(quantity, piece_yield)
    if not 0.0 < confidence < 1.0:
        raise InputError(f"a confidence of {confidence:g}", remedy="give a share inside 0..1, such as 0.95")
    n = quantity
    while enough_chance(n, quantity, piece_yield) < confidence:
        n += 1
    return n


def enough_chance(started: int, quantity: int, piece_yield: float) -> float:
    """Probability that at least `quantity` of `started` pieces are good."""
    _check(quantity, piece_yield)
    return float(binom.sf(quantity - 1, started, piece_yield)) if started >= quantity else 0.0


def cheapest_to_start(
    quantity: int, piece_yield: float, *, piece_price: float, short_price: float, surplus_value: float = 0.0
) -> int:
    """The number to start with the least expected cost.

    Each piece costs `piece_price` to make, coming up short costs `short_price` once (remake, carrier,
    penalty), a good piece too many is worth `surplus_value` (zero: it is the customer's design and is
    destroyed). Stops when one more piece costs more than the shortage it could still avoid.
    """
    _check(quantity, piece_yield)
    if not piece_price > 0 or not short_price >= 0 or not 0 <= surplus_value < piece_price:
        raise InputError(
            f"piece {piece_price:g}, shortage {short_price:g}, surplus {surplus_value:g}",
            remedy="give a piece price above zero, and a surplus worth less than a piece costs",
        )
    most = quantity + int(short_price / (piece_price - surplus_value)) + 1

    def cost(n: int) -> float:
        k = np.arange(n + 1)
        good = float(binom.pmf(k, n, piece_yield) @ np.maximum(k - quantity, 0))
        short = (1.0 - enough_chance(n, quantity, piece_yield)) * short_price
        return n * piece_price + short - surplus_value * good

    return min(range(quantity, min(most, 10 * quantity + 50) + 1), key=lambda n: (cost(n), n))


def _check(quantity: int, piece_yield: float) -> None:
    if quantity < 1 or not 0.0 < piece_yield <= 1.0:
        raise InputError(
            f"{quantity} pieces at a yield of {piece_yield:g}", remedy="give at least one piece and a yield in (0, 1]"
        )
