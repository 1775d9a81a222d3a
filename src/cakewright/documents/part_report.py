"""The report on one file for the person who drew it: can it be made, what is doubtful and where, what to ask.

One HTML file that needs nothing else, and the same as PDF. It ends in questions that can be sent as they are.
"""

from __future__ import annotations

import base64
from dataclasses import dataclass
from functools import cached_property
from importlib.resources import files

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from cakewright.documents.part_faces import NO_FACES, FacesShown
from cakewright.documents.part_questions import question_of
from cakewright.documents.part_views import PartViews, Spot
from cakewright.documents.render import Picture
from cakewright.findings import Finding, Severity
from cakewright.model.mesh import FloatArray, Mesh
from cakewright.safety import CLOSING

MOST_PICTURES = 12  # places drawn one by one; the rest is in the list
_ORDER = (Severity.BLOCKING, Severity.WARNING, Severity.NOTE)
_WORDS = {Severity.BLOCKING: "must be solved", Severity.WARNING: "please decide", Severity.NOTE: "good to know"}
_MARKS = {Severity.BLOCKING: "■", Severity.WARNING: "▲", Severity.NOTE: "●"}


@dataclass(frozen=True, eq=False)
class Turn:
    """A way to stand the part in the build, with its reasons."""

    rotation: FloatArray
    reason: str


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit the part was judged by."""

    meaning: str
    value: float
    unit: str
    status: str


@dataclass(frozen=True, eq=False)
class PartSheet:
    """All that the report says. `mesh` None: the file could not be read as a surface at all.

    `refused` is the reason why it cannot be used; `twins` sentences about known parts of this shape or name.
    """

    file: str
    sha256: str
    material: str
    unit: str
    mesh: Mesh | None
    is_closed: bool
    findings: tuple[Finding, ...]
    size_mm: tuple[float, float, float] | None = None
    volume_cm3: float | None = None
    mass_g: float | None = None
    triangles: int = 0
    refused: str = ""
    remedy: str = ""
    turns: tuple[Turn, ...] = ()
    faces: FacesShown = NO_FACES
    limits: tuple[Limit, ...] = ()
    twins: tuple[str, ...] = ()
    made: str = ""


@dataclass(frozen=True, eq=False)
class Point:
    """One doubt as the report shows it."""

    number: int
    finding: Finding
    picture: Picture | None
    is_hidden: bool

    @property
    def word(self) -> str:
        """How much it matters, in words."""
        return _WORDS[self.finding.severity]

    @property
    def mark(self) -> str:
        """A shape for it."""
        return _MARKS[self.finding.severity]

    @property
    def png(self) -> str:
        """The picture as a data address."""
        return data_address(self.picture) if self.picture else ""

    @property
    def question(self) -> str:
        """What to ask, empty where nothing need be asked."""
        return question_of(self.finding.code) or ""


def data_address(picture: Picture) -> str:
    """A picture inside a page."""
    return "data:image/png;base64," + base64.b64encode(picture.png).decode("ascii")


class Report:
    """The content, worked out once for both forms."""

    def __init__(self, sheet: PartSheet) -> None:
        self.sheet = sheet

    @cached_property
    def views(self) -> PartViews | None:
        """Draws the part, None when there is nothing to draw."""
        return None if self.sheet.mesh is None else PartViews(self.sheet.mesh, is_closed=self.sheet.is_closed)

    @cached_property
    def points(self) -> tuple[Point, ...]:
        """The doubts, gravest first, numbered, those with a place drawn."""
        ranked = sorted(
            (f for f in self.sheet.findings if not _is_small_print(f)), key=lambda f: _ORDER.index(f.severity)
        )
        drawn = 0
        found = []
        for number, finding in enumerate(ranked, start=1):
            picture, hidden = None, False
            if finding.at_mm is not None and self.views is not None and drawn < MOST_PICTURES:
                drawn += 1
                picture = self.views.place(Spot(number, finding.at_mm))
                hidden = not self.views.is_in_sight(finding.at_mm)
            found.append(Point(number, finding, picture, hidden))
        return tuple(found)

    @cached_property
    def overview(self) -> Picture | None:
        """All places on one picture."""
        if self.views is None:
            return None
        return self.views.overview([Spot(p.number, p.finding.at_mm) for p in self.points if p.finding.at_mm])

    @property
    def verdict(self) -> str:
        """The answer in one sentence."""
        worst = {p.finding.severity for p in self.points}
        if self.sheet.refused or Severity.BLOCKING in worst:
            return "It cannot be made like this yet."
        n = sum(p.finding.severity is Severity.WARNING for p in self.points)
        if n:
            return f"It can be made; {n} {'point needs' if n == 1 else 'points need'} your decision first."
        return "It can be made as it is." if not self.points else "It can be made as it is; some remarks."

    @property
    def questions(self) -> tuple[str, ...]:
        """Ready to send, in the order of the points; the same question is asked once for several points."""
        grouped: dict[str, list[Point]] = {}
        for point in self.points:
            is_vain = self.sheet.refused and point.finding.code == "repair.result"  # nothing usable came of it
            if point.question and point.finding.severity is not Severity.NOTE and not is_vain:
                grouped.setdefault(point.question, []).append(point)
        found = []
        if self.sheet.refused:
            found.append(f"The file cannot be used: {self.sheet.refused}. Could you do this: {self.sheet.remedy}?")
        for question, points in grouped.items():
            numbers = ", ".join(str(p.number) for p in points)
            word = "Point" if len(points) == 1 else "Points"
            found.append(f"{word} {numbers}: {sentence(points[0].finding.message)} {question}")
        return tuple(found)

    @property
    def small_print(self) -> tuple[str, ...]:
        """Remarks on the file that ask nothing of anybody."""
        return tuple(sentence(f.message) for f in self.sheet.findings if _is_small_print(f))

    @property
    def facts(self) -> list[tuple[str, str]]:
        """What was looked at."""
        s = self.sheet
        rows = [("File", s.file), ("Material", s.material), ("Unit", s.unit)]
        if s.size_mm is not None:
            rows.append(("Size", " × ".join(f"{v:.1f}" for v in s.size_mm) + " mm"))
        if s.volume_cm3 is not None:
            mass = "" if s.mass_g is None else f" · about {s.mass_g:.1f} g"
            rows.append(("Volume", f"{s.volume_cm3:.2f} cm³{mass}"))
        rows.append(("Triangles · hash of the file", f"{s.triangles:,} · {s.sha256[:12]}".replace(",", " ")))
        return rows


def part_report_html(sheet: PartSheet) -> str:
    """The report as one page: no script, no link out, pictures inside."""
    report = Report(sheet)
    shelf = files("cakewright.documents") / "templates"
    style = "\n".join((shelf / name).read_text(encoding="utf-8") for name in ("report.css", "part_report.css"))
    env = Environment(loader=PackageLoader("cakewright.documents"), autoescape=True, undefined=StrictUndefined,
                      trim_blocks=True, lstrip_blocks=True)  # fmt: skip
    turns = [] if report.views is None else [(data_address(report.views.turned(t.rotation)), t) for t in sheet.turns]
    faces = "" if report.views is None or not sheet.faces.listed else data_address(sheet.faces.picture(report.views))
    overview = report.overview
    return env.get_template("part_report.html").render(
        sheet=sheet,
        report=report,
        style=Markup(style),
        overview=data_address(overview) if overview else "",
        turns=turns,
        faces=faces,
        closing=CLOSING,
    )


def _is_small_print(finding: Finding) -> bool:
    """True for remarks on the file that ask nothing of anybody."""
    return finding.severity is Severity.NOTE and not finding.code.startswith("part.")


def sentence(text: str) -> str:
    """With a capital and a full stop."""
    return f"{text[:1].upper()}{text[1:]}."
