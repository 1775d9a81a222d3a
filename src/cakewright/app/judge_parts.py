"""Whether parts can be made well: the heavy part of taking them in, each shape judged once and several side by side."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

from cakewright.app.crew import Crew, results
from cakewright.app.progress import Progress
from cakewright.findings import Finding
from cakewright.model.cell import ChamberType, Material
from cakewright.model.mesh import Mesh
from cakewright.model.part import Measures, OrientationRule
from cakewright.parts.check import Size, check_part


@dataclass(frozen=True, slots=True)
class Question:
    """One part in mm and what it is held against."""

    mesh: Mesh
    measures: Measures
    material: Material
    chamber_type: ChamberType
    rule: OrientationRule
    nominal_size_mm: Size | None
    nominal_volume_cm3: float | None

    @property
    def asks(self) -> tuple[object, ...]:
        """Equal for two questions with the same answer."""
        return (self.mesh.sha256, self.material, self.chamber_type, self.rule, self.nominal_size_mm,
                self.nominal_volume_cm3)  # fmt: skip


def answer(question: Question) -> tuple[Finding, ...]:
    """What there is to say about a part, wherever this is called; the place of a finding is left to the caller."""
    return check_part(
        question.mesh,
        question.measures,
        where="",
        material=question.material,
        chamber_type=question.chamber_type,
        rule=question.rule,
        nominal_size_mm=question.nominal_size_mm,
        nominal_volume_cm3=question.nominal_volume_cm3,
    )


def answers(
    questions: Sequence[Question], progress: Progress, workers: int = 1, crew: Crew | None = None
) -> list[tuple[Finding, ...]]:
    """The answer to each question, in order; equal questions are answered once.

    `workers` are answered at a time on this computer, or a `crew` does it.
    """
    once = {question.asks: question for question in questions}
    found: dict[tuple[object, ...], tuple[Finding, ...]] = {}
    pool = ThreadPoolExecutor(max(1, workers))
    try:
        said: Iterable[tuple[Finding, ...]]
        if crew is not None:
            said = results(crew, answer, [(question,) for question in once.values()])
        else:
            said = pool.map(answer, once.values()) if workers > 1 else map(answer, once.values())
        for done, (asks, findings) in enumerate(zip(once, said, strict=True), start=1):
            found[asks] = findings
            progress("judging parts", done, len(once))
    finally:
        pool.shutdown(cancel_futures=True)  # somebody may have cancelled the plan
    return [found[question.asks] for question in questions]
