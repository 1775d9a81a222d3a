"""What the powder shelf asks of people this morning: certificates, dates, sieving, open charges, cans not weighed."""

from __future__ import annotations

from datetime import datetime, timedelta

from cakewright.app.powder_books import PowderView
from cakewright.app.powder_goods_in import judge_lot
from cakewright.findings import Finding, Severity
from cakewright.powder.ledger import ContainerKind
from cakewright.sources.powder import CHARGE_OPEN_DAYS, USE_BY_NOTICE_DAYS, WEIGH_IN_DAYS

_TO_SIEVE = (ContainerKind.CAKE, ContainerKind.OVERFLOW)


def powder_doubts(view: PowderView, now: datetime) -> tuple[Finding, ...]:
    """Everything open on the shelf, the most urgent first; nothing while the books are empty."""
    if view.is_empty:
        return ()
    return (*_unlabelled(view), *_lots(view, now), *_charges(view, now), *_sieving(view), *_weighing(view, now))


def _unlabelled(view: PowderView) -> list[Finding]:
    return [
        Finding("powder.no-label", Severity.WARNING, f"{can.kg:.2f} kg of {can.material} without a label",
                where=can.key, remedy="discard it; it may not be used")
        for can in view.shelf() if not can.is_labelled
    ]  # fmt: skip


def _lots(view: PowderView, now: datetime) -> list[Finding]:
    found: list[Finding] = []
    for lot in view.ledger.lots.values():
        drums = [c.key for c in view.ledger.containers.values() if c.lot == lot.key and view.ledger.kg(c.key) > 0]
        if not drums:
            continue
        kg = sum(view.ledger.kg(d) for d in drums)
        found += judge_lot(view, lot.key).findings
        if not lot.certificate.strip():
            found.append(Finding("powder.lot-waits", Severity.WARNING, f"{kg:.1f} kg wait for their certificate",
                                 where=f"lot {lot.key}", remedy="read the certificate and file it"))  # fmt: skip
        if lot.expires is not None:
            left = (lot.expires - now.date()).days
            if left < 0:
                said = f"{kg:.1f} kg were to be used by {lot.expires}"
                found.append(Finding("powder.past-date", Severity.WARNING, said, where=f"lot {lot.key}",
                                     remedy="discard it, or file the supplier's new date"))  # fmt: skip
            elif left <= USE_BY_NOTICE_DAYS.value:
                found.append(Finding("powder.use-soon", Severity.NOTE, f"{kg:.1f} kg to be used in {left} days",
                                     where=f"lot {lot.key}", remedy="open this lot first"))  # fmt: skip
    return found


def _charges(view: PowderView, now: datetime) -> list[Finding]:
    """Charges whose parts are booked and that still hold powder."""
    found = []
    last = {e.target: e.at for e in view.ledger.entries} | {e.source: e.at for e in view.ledger.entries}
    for key, container in view.ledger.containers.items():
        fact = view.books.facts[key]
        if container.kind is not ContainerKind.CHARGE or fact.plan is None or view.ledger.kg(key) <= 0:
            continue
        parts = view.books.container_of(fact.plan, fact.build or "", ContainerKind.PARTS)
        is_old = now - last[key] > timedelta(days=CHARGE_OPEN_DAYS.value)
        if (parts and view.ledger.kg(parts) > 0) or is_old:
            found.append(Finding("powder.charge-open", Severity.WARNING,
                                 f"{view.ledger.kg(key):.2f} kg of the charge did not come back yet",
                                 where=f"{fact.build} of plan {fact.plan}",
                                 remedy="weigh machine, hoses, filter; book it or name the difference"))  # fmt: skip
    return found


def _sieving(view: PowderView) -> list[Finding]:
    cans = [can for can in view.shelf() if can.kind in _TO_SIEVE and can.is_labelled]
    if not cans:
        return []
    return [Finding("powder.to-sieve", Severity.NOTE, f"{sum(c.kg for c in cans):.1f} kg wait for the sieve",
                    where=", ".join(c.key for c in cans[:6]) + (" ..." if len(cans) > 6 else ""),
                    remedy="sieve them: only sieved powder is blended")]  # fmt: skip


def _weighing(view: PowderView, now: datetime) -> list[Finding]:
    """Cans that were neither weighed nor moved for longer than the usual month."""
    since = now - timedelta(days=WEIGH_IN_DAYS.value)
    seen = {r.key: r.at for r in view.books.remarks if r.what == "weighed"}
    for entry in view.ledger.entries:  # a first filling and a can poured out whole are weighings too
        seen.setdefault(entry.target, entry.at)
    late = [can.key for can in view.shelf() if seen[can.key] < since]
    if not late:
        return []
    return [Finding("powder.weigh-in-due", Severity.NOTE, f"{len(late)} cans were not on the scale for a month",
                    where=", ".join(late[:6]) + (" ..." if len(late) > 6 else ""),
                    remedy="weigh them in; name every difference")]  # fmt: skip
