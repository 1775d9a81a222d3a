"""What the database knows about parts: how revisions may be turned, and every shape and name seen so far."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from cakewright.findings import Finding
from cakewright.model.order import OrderLine
from cakewright.model.part import OrientationRule, Part
from cakewright.parts.revisions import Known, check_revision
from cakewright.parts.signature import METHOD, Signature, numbers_of, signature, signature_from
from cakewright.store import Store
from cakewright.store.engine import is_missing
from cakewright.store.open import open_store
from cakewright.store.parts import PartRule, SeenPart

MOST_KNOWN = 400  # newest files compared; each costs a signature the first time it is met

Title = tuple[str, str]


@dataclass(frozen=True, eq=False)
class PartRecords:
    """Rules by (name, revision), both in small letters, and the known files, newest first."""

    rules: Mapping[Title, PartRule] = field(default_factory=dict)
    known: tuple[Known, ...] = ()

    def rule_for(self, name: str, revision: str) -> OrientationRule | None:
        """The rule that somebody wrote for a part revision, with who and when in its reason."""
        found = self.rules.get(title_of(name, revision))
        if found is None:
            return None
        rule = found.rule
        said = f"{rule.reason} ({found.by}, {found.at:%Y-%m-%d})"
        return OrientationRule(rule.freedom, said, rule.cone_deg, rule.up)


NOTHING_KNOWN = PartRecords()


def title_of(name: str, revision: str) -> Title:
    """The key under which a part revision is filed."""
    return name.strip().casefold(), revision.strip().casefold()


def records_in(store: Store) -> PartRecords:
    """Read rules and known shapes; signatures that were never computed are computed now and kept."""
    rules = {title_of(r.name, r.revision): r for r in store.parts.rules()}
    kept = {sha: signature_from(row) for sha, row in store.parts.signatures(METHOD).items()}
    known = []
    for seen in store.parts.seen()[:MOST_KNOWN]:
        if seen.mesh_sha256 not in kept:
            kept[seen.mesh_sha256] = _signed(store, seen.mesh_sha256)
        known.append(_known(seen, kept[seen.mesh_sha256]))
    return PartRecords(rules, tuple(known))


def records_at(database: str | Path) -> PartRecords:
    """The records of a database, nothing known when there is none yet."""
    if is_missing(database):
        return NOTHING_KNOWN
    with open_store(database) as store:
        return records_in(store)


def revision_findings(part: Part, records: PartRecords, where: str) -> tuple[Finding, ...]:
    """'Same name, different shape' and 'different name, same shape', against everything known."""
    if not records.known:
        return ()
    new = Known(part.name, part.revision, part.origin.sha256, "this order list", signature(part.mesh))
    return check_revision(new, records.known, where)


def rule_of(line: OrderLine, records: PartRecords, by_flags: OrientationRule) -> OrientationRule:
    """The rule for a line: its own flags first, then what was written for the part revision."""
    if by_flags != OrientationRule():
        return by_flags
    return records.rule_for(line.part, line.revision) or by_flags


def _signed(store: Store, mesh_sha256: str) -> Signature:
    found = signature(store.parts.mesh(mesh_sha256))
    store.parts.keep_signature(mesh_sha256, METHOD, numbers_of(found))
    return found


def _known(seen: SeenPart, shape: Signature) -> Known:
    who = f" by {seen.by}" if seen.by else ""
    return Known(seen.name, seen.revision, seen.file_sha256, f"{seen.file}, plan {seen.plan}{who}, {seen.at:%Y-%m-%d}",
                 shape)  # fmt: skip
