"""Words on a calendar: every bar is named on it or beside it, so that nobody needs a legend.

Bars too narrow for a name stand in clusters; the name of a cluster follows it, where there is room before the next bar.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from cakewright.documents.gantt_rows import INSPECT_AND_PACK
from cakewright.documents.staffing import Window
from cakewright.documents.words import held
from cakewright.model.plan import Task, TaskKind

LETTER_PX = 7.4
SHORT = {
    TaskKind.LOAD: "load", TaskKind.PRINT: "print", TaskKind.COOL: "cools", TaskKind.UNLOAD: "lift out",
    TaskKind.UNPACK: "unpack", TaskKind.CLEAN: "clean", TaskKind.INSPECT: "inspect", TaskKind.PACK: "pack",
}  # fmt: skip
BENCH, BENCH_WORK = "bench", "bench work"
NAMES_ALOUD, SCROLLS_ALOUD = "Machines, chambers, stations, people", "Calendar, scrolls sideways"
HOURS_ALOUD = "Calendar of machines, chambers, stations and people"
_NEAR_PX = 14.0  # bars closer than this are one cluster
_SEVERAL = 2  # kinds of work named for one cluster
_STILL_IN = 14  # letters kept free for "B12 still in" before a name in front of a cluster
_LONG = (TaskKind.PRINT, TaskKind.COOL)  # known by their length: the build alone is enough on them
Place = Callable[[datetime], float]
Say = Callable[[str], str]


@dataclass(frozen=True, slots=True)
class Word:
    """A text of the drawing, its class in the style sheet, and where its baseline begins (or ends, by class)."""

    text: str
    style: str
    x: float
    y: float


def as_it_is(text: str) -> str:
    """English, the language that the program thinks in."""
    return text


def word_of(task: Task) -> str:
    """What is done, in one word or two; a step of a finish by its station."""
    if task.label == INSPECT_AND_PACK:
        return BENCH
    if task.kind is TaskKind.FINISH:
        return task.label.partition(": ")[2].partition(",")[0].removesuffix(" runs by itself") or "finish"
    return SHORT.get(task.kind, task.kind.value)


def names_on(task: Task, px: float, say: Say = as_it_is) -> tuple[str, ...]:
    """What fits on a bar of that width: build and work in one line or two, a long one's build alone, or nothing."""
    work = say(word_of(task))
    whole = f"{task.build} {work}".strip()
    ways = [(whole,), (task.build, work)] if task.build else [(whole,)]
    ways += [(task.build,)] if task.build and task.kind in _LONG else []
    return next((lines for lines in ways if max(map(len, lines)) * LETTER_PX <= px - 6), ())


def longest(texts: Sequence[str], px: float) -> str:
    """The first of some texts, the longest first, that has room; '' when none has."""
    return next((text for text in texts if text and len(text) * LETTER_PX <= px), "")


def beside(
    tasks: Sequence[Task], x: Place, end_px: float, y: float, several: str = "", say: Say = as_it_is
) -> list[Word]:
    """Names beside clusters of bars in one row that are too narrow for their own.

    Before the cluster those in front of its first named bar, after it those behind its last one. `several` is said of
    more than two kinds of work.
    """
    clusters: list[list[Task]] = []
    for task in sorted(tasks, key=lambda t: (t.start, t.end)):
        if clusters and x(task.start) - max(x(t.end) for t in clusters[-1]) < _NEAR_PX:
            clusters[-1].append(task)
        else:
            clusters.append([task])
    out, free_from = [], 0.0
    for n, cluster in enumerate(clusters):
        until = x(clusters[n + 1][0].start) if n + 1 < len(clusters) else end_px
        named = [i for i, t in enumerate(cluster) if names_on(t, x(t.end) - x(t.start), say)]
        first, after = x(cluster[0].start) - 4, max(x(t.end) for t in cluster) + 4
        room = first - free_from - _STILL_IN * LETTER_PX
        if named and (text := _name_of(cluster[: named[0]], room, several, say)):
            out.append(Word(text, "before", first, y))
        text = _name_of(cluster[named[-1] + 1 :] if named else cluster, until - after, several, say)
        if text:
            out.append(Word(text, "beside", after, y))
        free_from = after + len(text) * LETTER_PX
    return out


def _name_of(tasks: Sequence[Task], px: float, several: str, say: Say) -> str:
    """The longest name of some work that has room; '' for none."""
    words = list(dict.fromkeys(word_of(t) for t in tasks))
    if several and len(words) > _SEVERAL:
        words = [several]
    said = [say(word) for word in words]
    return longest((", ".join(said[-_SEVERAL:]), *said[-1:]), px)


def standing(tasks: Sequence[Task], x: Place, y: float, say: Say = as_it_is) -> list[Word]:
    """'still in' where a machine or chamber is held by a build and nothing happens."""
    out = []
    for key in filter(None, held(tasks)):
        own = sorted((t for t in tasks if t.build == key), key=lambda t: t.start)
        for before, after in pairwise(own):
            text = say(f"{key} still in")
            if x(after.start) - x(before.end) > (len(text) + 1) * LETTER_PX:
                out.append(Word(text, "beside", x(before.end) + 5, y))
    return out


def empty_hours(windows: Sequence[Window], x: Place, width: float, y: float, say: Say = as_it_is) -> list[Word]:
    """'nobody in' over each stretch in which the cell is empty."""
    edges = [0.0, *(px for a, b in sorted(windows) for px in (x(a), x(b))), width]
    text = say("nobody in")
    wide = (len(text) + 1) * LETTER_PX
    stretches = zip(edges[::2], edges[1::2], strict=True)
    return [Word(text, "nobody", (left + right) / 2, y) for left, right in stretches if right - left > wide]
