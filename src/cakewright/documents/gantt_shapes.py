"""The shapes of a calendar, in drawing units (px at 100 %); nothing here knows how they are drawn."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from cakewright.documents.gantt_rows import Lane
from cakewright.documents.gantt_words import Say, Word
from cakewright.documents.words import clock, moment
from cakewright.model.plan import Task, WeekPlan

LANE, GAP, HEAD, BAR = 44.0, 6.0, 62.0, 40.0  # heights: of a row, between rows, of the hours above them, of a bar
SINGLE, UPPER, LOWER = 25.0, 17.0, 34.0  # baselines of words on a bar, from its top


@dataclass(frozen=True, slots=True)
class Bar:
    """A task: its look (a class of the style sheet), place, the words on it, and the sentence that reads it aloud."""

    task: Task
    look: str
    x: float
    width: float
    words: tuple[Word, ...]
    said: str


@dataclass(frozen=True, slots=True)
class Box:
    """A stretch of a row that is no task: held by a build, lying cool, or told to be elsewhere."""

    look: str
    x: float
    width: float
    said: str
    words: tuple[Word, ...] = ()


@dataclass(frozen=True, slots=True)
class Row:
    """A lane with its top, the hours somebody is in, what lies under its bars, the bars, what lies over them, words."""

    lane: Lane
    y: float
    present: tuple[tuple[float, float], ...]
    under: tuple[Box, ...]
    bars: tuple[Bar, ...]
    over: tuple[Box, ...]
    words: tuple[Word, ...]


@dataclass(frozen=True, slots=True)
class Gantt:
    """The whole calendar: its size, the lines of days and hours, the words above the rows, the rows, the marks."""

    wide: float
    tall: float
    hour_px: float
    days: tuple[float, ...]
    ticks: tuple[float, ...]
    head: tuple[Word, ...]
    rows: tuple[Row, ...]
    marks: tuple[tuple[float, str], ...]


@dataclass(frozen=True, slots=True)
class Desk:
    """What every step of the layout needs: the plan, where an instant stands, how a word is said."""

    plan: WeekPlan
    first: datetime
    last: datetime
    hour_px: float
    say: Say

    def x(self, when: datetime) -> float:
        """Where an instant stands."""
        return (when - self.first).total_seconds() / 3600 * self.hour_px

    @property
    def wide(self) -> float:
        """The width of all hours."""
        return self.x(self.last)

    def moment(self, when: datetime | None) -> str:
        """'Tue 2 Mar 07:10' in the cell."""
        return moment(when, self.plan.cell.zone)

    def clock(self, when: datetime) -> str:
        """'07:10' in the cell."""
        return clock(when, self.plan.cell.zone)
