"""What the last test run says of the published checks: outcome and compared values, from its result file.

`scripts/do.py test` leaves `.test-results/tests.xml`; without it the page of checks says that nothing was run here.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from xml.etree import ElementTree

RESULTS = Path(__file__).resolve().parents[1] / ".test-results" / "tests.xml"
SHOWN = 3  # comparisons of one check on the page


@dataclass(slots=True)
class Result:
    """All runs of one check (its parameters together): cases by outcome, and what was compared."""

    passed: int = 0
    failed: int = 0
    skipped: int = 0
    compared: list[str] = field(default_factory=list)

    @property
    def words(self) -> str:
        """'passed', '9 passed', '1 of 9 failed'."""
        total = self.passed + self.failed + self.skipped
        if self.failed:
            return f"{self.failed} of {total} failed"
        said = "passed" if total == 1 else f"{self.passed} passed"
        return f"{said}, {self.skipped} skipped" if self.skipped else said

    @property
    def shown(self) -> str:
        """The first comparisons, and how many more there were."""
        more = len(self.compared) - SHOWN
        return "; ".join(self.compared[:SHOWN]) + (f"; {more} more" if more > 0 else "")


def results(file: Path = RESULTS) -> tuple[str, dict[tuple[str, str], Result]]:
    """When the tests ran (empty: never here), and the result of every published check by (file stem, test name)."""
    if not file.exists():
        return "", {}
    root = ElementTree.parse(file).getroot()
    suite = next(root.iter("testsuite"))
    found: dict[tuple[str, str], Result] = {}
    for case in suite.iter("testcase"):
        place = case.get("classname", "").split(".")
        if place[:2] != ["tests", "published"]:
            continue
        one = found.setdefault((place[2], case.get("name", "").partition("[")[0]), Result())
        if case.find("failure") is not None or case.find("error") is not None:
            one.failed += 1
        elif case.find("skipped") is not None:
            one.skipped += 1
        else:
            one.passed += 1
        one.compared += [p.get("value", "") for p in case.iter("property") if p.get("name") == "compared"]
    return suite.get("timestamp", "")[:16].replace("T", " "), found
