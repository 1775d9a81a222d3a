"""What the floor knows about an order, gathered for its certificate."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from cakewright.app.contain import REMAKE, mistakes
from cakewright.app.finish_baskets import basket_runs
from cakewright.app.hold_lines import LineGate
from cakewright.app.inspect_line import Reading, verdict_of
from cakewright.app.opened_words import opened_words
from cakewright.app.pack_line import Packing, packing_of_order
from cakewright.app.run_build import run_state
from cakewright.app.specimen_places import places_words
from cakewright.app.specimens import SpecimenSet, specimen_set
from cakewright.documents.certificate import Facts, MeasuredRow, SpecimenRow, certificate_pdf
from cakewright.documents.sections import lines_of_order
from cakewright.documents.words import count, moment
from cakewright.model.build import Build
from cakewright.model.order import OrderLine
from cakewright.model.plan import WeekPlan
from cakewright.store import PieceState, Store, last_words

_AXES = "XYZ"


def certificate_of(store: Store, plan: WeekPlan, order: str) -> bytes:
    """The certificate of an order with everything the records hold; a draft that says why while something is open."""
    return certificate_pdf(plan, order, certificate_facts(store, plan, order))


def certificate_facts(store: Store, plan: WeekPlan, order: str) -> Facts:
    """Everything the records say about the lines of an order."""
    lines = lines_of_order(plan, order)
    numbers = {line.line for line in lines}
    builds = [b for b in plan.builds if numbers & set(b.lines)]
    rows = packing_of_order(store, plan, order)
    readings = {n: verdict_of(store, plan, n).readings for n in numbers if plan.builds_of(n)}
    sets = [specimen_set(store, plan, b) for b in builds]
    return Facts(
        lots={b.key: store.powder.shares(plan.version, b.key) for b in builds},
        open=_open(plan, lines, rows),
        delivered={r.line: r.packed for r in rows},
        serials=_serials(store, plan, numbers),
        printed=_printed(store, plan, builds),
        opened={b.key: opened_words(store, plan, b) for b in builds},
        checks=_checks(store, plan, builds),
        orientation={n: _turned(plan, n) for n in numbers if plan.builds_of(n)},
        finished=_finished(store, plan, numbers),
        specimens=tuple(row for s in sets for row in _specimen_rows(s)),
        measured=tuple(m for n, found in sorted(readings.items()) for m in _measured(plan, n, found)),
        sampling={n: verdict_of(store, plan, n).sample.rule for n in numbers if readings.get(n)},
        deviations=_deviations(store, plan, numbers, (r.gate for r in rows)),
    )


def _open(plan: WeekPlan, lines: Iterable[OrderLine], rows: Iterable[Packing]) -> tuple[str, ...]:
    said = []
    for r in rows:
        key = plan.line(r.line).key
        if r.gate.is_held:
            said.append(f"{key} is held: {r.gate.why}.")
        elif r.packed < r.ordered:
            said.append(f"{key}: {r.packed} of {count(r.ordered, 'piece')} packed.")
    return tuple(said)


def _serials(store: Store, plan: WeekPlan, numbers: set[int]) -> dict[int, tuple[str, ...]]:
    gone = {k.record.piece for k in mistakes(store, plan)
            if k.decision and k.decision.data["decision"] == REMAKE}  # fmt: skip
    found: dict[int, list[str]] = {}
    for b in plan.builds:
        said = last_words(store.piece_records(plan.version, b.key))
        for p in b.nest.placements:
            here = said.get(p.piece)
            if p.line in numbers and here and here.state is PieceState.FOUND and p.piece not in gone and not p.is_cage:
                found.setdefault(p.line, []).append(p.piece)
    return {line: tuple(sorted(pieces)) for line, pieces in found.items()}


def _printed(store: Store, plan: WeekPlan, builds: Iterable[Build]) -> dict[str, str]:
    states = {b.key: run_state(store, plan, b) for b in builds}
    return {key: f"printed {moment(s.started, plan.cell.zone)} to {moment(s.ended, plan.cell.zone)}"
            for key, s in states.items() if s.started and s.ended}  # fmt: skip


def _checks(store: Store, plan: WeekPlan, builds: Iterable[Build]) -> dict[str, str]:
    found = {}
    for b in builds:
        state = run_state(store, plan, b)
        if state.released is not None:
            done = sum(c.said is not None for c in state.checks)
            found[b.key] = f"released by {state.released.by}, {done} checks done"
    return found


def _turned(plan: WeekPlan, line: int) -> str:
    """Which axis of the part points up, for each way in which its pieces stand."""
    ways: dict[str, int] = {}
    for b in plan.builds_of(line):
        for p in b.pieces_of(line):
            up = np.asarray(p.rotation)[2]  # the part's own direction that points up is the third row
            axis = int(np.argmax(np.abs(up)))
            exact = abs(abs(float(up[axis])) - 1.0) < 1e-6
            word = f"{'+' if up[axis] > 0 else '-'}{_AXES[axis]} up" if exact else "tilted"
            ways[word] = ways.get(word, 0) + 1
    return ", ".join(f"{n} {word}" for word, n in sorted(ways.items(), key=lambda w: -w[1]))


def _finished(store: Store, plan: WeekPlan, numbers: set[int]) -> dict[int, str]:
    found: dict[int, list[str]] = {}
    for run in basket_runs(store, plan):
        for n in set(run.lines) & numbers:
            d = run.begun.data
            what = " ".join(str(x) for x in (d["step"], d.get("media") or (d.get("bath") and f"bath {d['bath']}")) if x)
            found.setdefault(n, []).append(what)
    return {n: ", ".join(dict.fromkeys(said)) for n, said in found.items()}


def _specimen_rows(seen: SpecimenSet) -> list[SpecimenRow]:
    names = dict.fromkeys(v.quantity.casefold() for v in seen.values)
    rows = []
    for name in names:
        mine = [v for v in seen.values if v.quantity.casefold() == name]
        limit = next((m.least for m in seen.limits if m.quantity.casefold() == name), None)
        stood = places_words(p for p in seen.places if p.piece in {v.piece for v in mine})
        rows.append(SpecimenRow(seen.build, mine[0].quantity, len(mine), min(v.value for v in mine), limit,
                                mine[0].unit, mine[0].standard, stood))  # fmt: skip
    return rows


def _measured(plan: WeekPlan, line: int, readings: Iterable[Reading]) -> list[MeasuredRow]:
    height = {p.piece: f"{p.piece} {b.key} {p.z_min_mm:.0f} mm" for b in plan.builds_of(line)
              for p in b.pieces_of(line)}  # fmt: skip
    found: dict[str, list[Reading]] = {}
    for r in readings:
        found.setdefault(r.name, []).append(r)
    rows = []
    for name, mine in found.items():
        last = mine[-1]
        limits = " to ".join("–" if x is None else f"{x:g}" for x in (last.low, last.high))
        gauges = ", ".join(dict.fromkeys(r.gauge for r in mine if r.gauge))
        pieces = tuple(dict.fromkeys(height.get(r.piece, r.piece) for r in mine))
        rows.append(MeasuredRow(line, name, pieces, min(r.value for r in mine), max(r.value for r in mine), limits,
                                gauges, all(r.is_good for r in mine)))  # fmt: skip
    return rows


def _deviations(
    store: Store, plan: WeekPlan, numbers: set[int], gates: Iterable[LineGate]
) -> tuple[str, ...]:  # fmt: skip
    said = []
    for gate in gates:
        for h in gate.holds:
            if h.release is not None:
                said.append(f"{plan.line(gate.line).key} released by {h.release.by}: {h.release.data['reason']} "
                            f"(was held: {h.what}).")  # fmt: skip
    for k in mistakes(store, plan):
        if k.record.line in numbers and k.decision is not None:
            said.append(f"{k.record.piece}: {k.record.data['what']}; {k.decision.data['decision']} "
                        f"({k.decision.by}).")  # fmt: skip
    return tuple(said)
