"""How often the checks of features are right: parts made with known features, and published parts measured again.

Made parts: each feature at 0.5 to 2 times its limit, on several shapes; each part as made, turned, cut finer and in
single precision. A finding that is due and missing is a false negative, one that is not due a false positive.

Published parts: every place flagged is measured again by another way (`remeasure.py`), and rays cast densely over
the whole surface look for thin walls and narrow gaps that were not flagged.

Run: python benchmarks/features.py [made|real] [--only part.small-hole ... or file.stl ...]
"""

from __future__ import annotations

import resource
import sys
import time
from collections import defaultdict
from collections.abc import Iterable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from benchmarks.made_features import COPIES, Made, made_parts, mesh_of
from tests.conftest import outside_data
from tests.parts.test_check import CHAMBER, NYLON

from cakewright.findings import Finding
from cakewright.model.mesh import Mesh
from cakewright.parts.check import check_part
from cakewright.parts.limits import limits_of
from cakewright.parts.measure import measure

SEED = 11


def judged(mesh: Mesh, name: str) -> tuple[Finding, ...]:
    return check_part(mesh, measure(mesh), where=name, material=NYLON, chamber_type=CHAMBER)


def tried(parts: Iterable[Made], copies: Iterable[str]) -> Iterable[tuple[Made, str, set[str]]]:
    """Each part in each copy with the codes found (warnings, and notes about features)."""
    for n, part in enumerate(parts):
        plain = mesh_of(part.body)
        for copy in copies:
            found = judged(COPIES[copy](plain, part.body, SEED + n), part.shape)
            yield part, copy, {f.code for f in found}


def rates(rows: Iterable[tuple[Made, str, set[str]]], *, say=print) -> dict[str, list[int]]:
    """Per finding: due, missed, not due, false alarms; `say` is told each wrong answer."""
    table: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    for part, copy, codes in rows:
        row = table[part.code]
        there = part.code in codes
        row[0 if part.is_due else 2] += 1
        if there != part.is_due:
            row[1 if part.is_due else 3] += 1
            say(f"  {'missed' if part.is_due else 'wrong '}: {part.code} {part.shape} at {part.ratio:.2f}, {copy}")
        for other in sorted(codes - part.allowed - {part.code}):
            table[f"{other} (elsewhere)"][2] += 1
            table[f"{other} (elsewhere)"][3] += 1
            say(f"  extra : {other} on {part.shape} at {part.ratio:.2f}, {copy}")
    return table


def made(only: set[str]) -> None:
    start = time.process_time()
    said: list[str] = []
    parts = [p for p in made_parts(limits_of(NYLON)) if not only or p.code in only]
    table = rates(tried(parts, COPIES), say=said.append)
    print(f"{len(parts)} made parts in {len(COPIES)} copies, seed {SEED}\n")
    print(f"{'finding':36}{'due':>6}{'missed':>8}{'':>8}{'not due':>9}{'wrong':>7}")
    for code in sorted(table):
        due, missed, clean, wrong = table[code]
        fn = f"{missed / due:8.1%}" if due else f"{'':8}"
        fp = f"{wrong / clean:8.1%}" if clean and "elsewhere" not in code else f"{'':8}"
        print(f"{code:36}{due:6}{missed:8}{fn}{clean:9}{wrong:7}{fp}")
    print("\n".join(["", *said]))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"\n{time.process_time() - start:.0f} s of processor time, peak {peak:.0f} MB")


def real(only: set[str]) -> None:
    data = outside_data()
    if data is None:
        sys.exit("published meshes not found: set CAKEWRIGHT_TEST_DATA")
    from benchmarks.remeasure import measure_again

    measure_again(data / "meshes" / "real", limits_of(NYLON), judged, only)


if __name__ == "__main__":
    cut = sys.argv.index("--only") if "--only" in sys.argv else len(sys.argv)
    for name in sys.argv[1:cut] or ["made", "real"]:
        {"made": made, "real": real}[name](set(sys.argv[cut + 1 :]))
