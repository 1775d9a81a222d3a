"""Which lots are in which powder: composition, age and recall over the graph of movements.

Each movement makes a new state of the container it fills: the old content and what comes in, ideally
mixed. With T[i, j] the share of state i that is state j, compositions C solve C = T C + origins. States
are numbered in time, so I - T is lower triangular with ones on the diagonal and one factorisation
answers every question: forward "where did this lot go", backward "what is in here".
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csc_array, csr_array, eye_array
from scipy.sparse.linalg import SuperLU, splu

from cakewright.errors import InputError
from cakewright.powder.checks import need_fraction
from cakewright.powder.ledger import OUTSIDE, Ledger

FloatArray = NDArray[np.float64]
_BLOCK = 256  # right-hand sides solved together: keeps the memory of a long history small


@dataclass(frozen=True, eq=False)
class Genealogy:
    """The states of all containers over time and what each came from.

    `shares` is (n, n), T of the module text; `seeds` (n, origins) what enters from outside;
    `origins` names supplier lots and, for powder that a weigh-in found or that was there at the start,
    the account it was booked from. `now` maps containers to their last state. `stated` (n,) by builds seen:
    the shares that enter with a known age; zero for lots, what somebody stated for other powder. `routes`
    and `inflow` (n,): source, target and share of the movement that made each state.
    """

    origins: tuple[str, ...]
    lots: frozenset[str]
    now: Mapping[str, int]
    shares: csr_array
    seeds: csr_array
    exposures: Mapping[int, csr_array]
    dose_in: FloatArray
    stated: Mapping[int, FloatArray]
    routes: tuple[tuple[str, str], ...]
    inflow: FloatArray

    @property
    def states(self) -> int:
        """Number of states."""
        return len(self.dose_in)

    @cached_property
    def _factor(self) -> SuperLU:
        return _lower(self.shares)

    def share_of(self, origin: str) -> dict[str, float]:
        """Share of one origin in every container that was ever filled, as it was filled last."""
        column = self.seeds[:, [self._origin(origin)]].toarray().ravel()
        solved = self._factor.solve(column)
        return {key: float(solved[state]) for key, state in self.now.items()}

    def composition(self, container: str) -> dict[str, float]:
        """Shares by origin of what was last in a container; they add up to one."""
        unit = np.zeros(self.states)
        unit[self._state(container)] = 1.0
        shares = self.seeds.T @ self._back(unit)
        return {o: float(x) for o, x in zip(self.origins, shares, strict=True) if x > 0.0}

    def compositions(self, containers: Sequence[str]) -> FloatArray:
        """Shares (containers, origins) for many containers at once."""
        states = [self._state(c) for c in containers]
        blocks = [self._compose(states[k : k + _BLOCK]) for k in range(0, len(states), _BLOCK)]
        return np.concatenate(blocks) if blocks else np.zeros((0, len(self.origins)))

    def _compose(self, states: Sequence[int]) -> FloatArray:
        unit = np.zeros((self.states, len(states)))
        unit[states, range(len(states))] = 1.0
        return np.asarray((self.seeds.T @ self._back(unit)).T, dtype=np.float64)

    def recall(self, origin: str, threshold: float) -> dict[str, float]:
        """Containers whose last content holds at least `threshold` (share) of an origin, most first."""
        least = need_fraction("the recall threshold", threshold)
        hit = {key: share for key, share in self.share_of(origin).items() if share > 0.0 and share >= least}
        return dict(sorted(hit.items(), key=lambda item: (-item[1], item[0])))

    def ages(self, keep: int) -> FloatArray:
        """Age distribution (n, keep + 1) of every state: shares at 0, 1 ... builds seen.

        The last column holds `keep` or more, and all powder whose age nobody knows or stated.
        """
        if keep < 1:
            raise InputError(f"{keep} ages to keep", remedy="keep at least one")
        still = self.exposures.get(0, csr_array((self.states, self.states)))
        factor = _lower(still)
        found = np.zeros((self.states, keep + 1))
        for age in range(keep):
            rhs = self.stated.get(age, np.zeros(self.states))
            for step, moved in self.exposures.items():
                if 0 < step <= age:
                    rhs = rhs + moved @ found[:, age - step]
            found[:, age] = factor.solve(rhs)
        found[:, keep] = np.maximum(0.0, 1.0 - found[:, :keep].sum(axis=1))
        return found

    def age_of(self, container: str, keep: int) -> FloatArray:
        """Age distribution (keep + 1,) of what was last in a container."""
        row: FloatArray = self.ages(keep)[self._state(container)]
        return row

    def dose_h(self) -> dict[str, float]:
        """Mean hours at heat of each container's last content; powder of unknown origin counts from zero."""
        solved = self._factor.solve(self.dose_in)
        return {key: float(solved[state]) for key, state in self.now.items()}

    def ways(self, container: str) -> dict[tuple[str, str], float]:
        """How what is in a container came there: share of it that went from one container to another.

        A grain that goes round twice counts twice on that way. Most first.
        """
        unit = np.zeros(self.states)
        unit[self._state(container)] = 1.0
        passed = self._back(unit) * self.inflow
        found: dict[tuple[str, str], float] = {}
        for route, share in zip(self.routes, passed, strict=True):
            if share > 0.0:
                found[route] = found.get(route, 0.0) + float(share)
        return dict(sorted(found.items(), key=lambda item: (-item[1], item[0])))

    def _back(self, unit: FloatArray) -> FloatArray:
        factor: Any = self._factor  # its type stub does not know `trans`
        return np.asarray(factor.solve(unit, trans="T"), dtype=np.float64)

    def _origin(self, origin: str) -> int:
        if origin not in self.origins:
            raise InputError(
                f"nothing of {origin!r} ever came in", remedy=f"known origins: {', '.join(self.origins) or 'none'}"
            )
        return self.origins.index(origin)

    def _state(self, container: str) -> int:
        if container not in self.now:
            raise InputError(f"{container!r} never held powder", remedy="scan its label again")
        return self.now[container]


def trace(ledger: Ledger) -> Genealogy:
    """Build the graph of a ledger, with corrections applied to the movements they put right."""
    held = dict.fromkeys(ledger.containers, 0)
    now: dict[str, int] = {}
    origins: dict[str, int] = {}
    edges: list[tuple[int, int, float, int]] = []  # state, from state, share, exposures
    seeds: list[tuple[int, int, float]] = []
    dose: list[float] = []
    stated: dict[int, dict[int, float]] = {}
    routes: list[tuple[str, str]] = []
    inflow: list[float] = []
    for state, m in enumerate(ledger.movements()):
        source = ledger.containers[m.source]
        old, share = held[m.target], m.grams / (held[m.target] + m.grams)
        if source.kind in OUTSIDE:
            name = ledger.containers[m.target].lot or source.key
            seeds.append((state, origins.setdefault(name, len(origins)), share))
            if name in ledger.lots or m.exposures > 0:
                stated.setdefault(m.exposures, {})[state] = share
        else:
            edges.append((state, now[m.source], share, m.exposures))
            held[m.source] -= m.grams
        if old > 0:
            edges.append((state, now[m.target], 1.0 - share, 0))
        held[m.target] += m.grams
        now[m.target] = state
        dose.append(share * m.dose_h)
        routes.append((m.source, m.target))
        inflow.append(share)
    n = len(dose)
    steps = sorted({e[3] for e in edges})
    return Genealogy(
        origins=tuple(origins),
        lots=frozenset(ledger.lots),
        now=now,
        shares=_matrix([e[:3] for e in edges], (n, n)),
        seeds=_matrix(seeds, (n, len(origins))),
        exposures={step: _matrix([e[:3] for e in edges if e[3] == step], (n, n)) for step in steps},
        dose_in=np.array(dose, dtype=np.float64),
        stated={age: _spread(shares, n) for age, shares in stated.items()},
        routes=tuple(routes),
        inflow=np.array(inflow, dtype=np.float64),
    )


def touched_by(ledger: Ledger, number: int) -> set[str]:
    """Containers whose content a correction of entry `number` changes: its two, and all that drew from them since."""
    touched: set[str] = set()
    for entry in ledger.entries[number - 1 :]:
        if entry.number == number or entry.source in touched or entry.target in touched:
            touched |= {entry.source, entry.target} if entry.number == number else {entry.target}
    return {key for key in touched if ledger.containers[key].kind not in OUTSIDE}


def pieces_in(containers: Mapping[str, float], pieces: Mapping[str, str]) -> dict[str, float]:
    """Pieces (piece -> the 'parts' container of its build) that lie in recalled containers, with their share."""
    return {piece: containers[container] for piece, container in pieces.items() if container in containers}


def _spread(shares: Mapping[int, float], n: int) -> FloatArray:
    column = np.zeros(n)
    column[list(shares)] = list(shares.values())
    return column


def _matrix(rows: Sequence[tuple[int, int, float]], shape: tuple[int, int]) -> csr_array:
    if not rows:
        return csr_array(shape, dtype=np.float64)
    i, j, x = (np.array(column) for column in zip(*rows, strict=True))
    return csr_array(coo_array((x.astype(np.float64), (i, j)), shape=shape))


def _lower(shares: csr_array) -> SuperLU:
    """Factor I - T: already triangular, so no pivoting and no fill-in."""
    n = shares.shape[0]
    if n == 0:
        raise InputError("the ledger holds no movement yet", remedy="book a delivery first")
    return splu(
        csc_array(eye_array(n) - shares), permc_spec="NATURAL", diag_pivot_thresh=0.0, options={"SymmetricMode": True}
    )
