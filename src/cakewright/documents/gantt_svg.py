"""A calendar as two SVG side by side: names that stay, and hours that scroll. Page and paper use this one drawing.

Meant to be read without a legend: every bar carries its word, or has it beside it; the hours in which nobody is in say
so; a cake that is cool while nobody is in has a pattern and words of its own. Colour only repeats what is written.
Looks come from `drawn/gantt.css` by class.
"""

from __future__ import annotations

from collections.abc import Callable
from html import escape

from cakewright.documents.gantt_rows import Lane
from cakewright.documents.gantt_shapes import BAR, LANE, Bar, Box, Gantt, Row
from cakewright.documents.gantt_words import HOURS_ALOUD, NAMES_ALOUD, SCROLLS_ALOUD, Say, Word, as_it_is

SIDE, NAME_LETTERS = 148.0, 14  # the column of names
MOST_SCALE = 1.2  # so much a drawing that fits its place is enlarged at most
Wrap = Callable[[Bar, str], str]
_PATTERNED = ("cool", "wait")  # a style sheet cannot point into the page
_PATTERNS = (
    '<defs><pattern id="p-cool" width="8" height="8" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<rect width="8" height="8" class="fill-cool"/><rect width="2" height="8" class="ink-cool"/></pattern>'
    '<pattern id="p-wait" width="8" height="8" patternUnits="userSpaceOnUse">'
    '<rect width="8" height="8" class="fill-wait"/><circle cx="4" cy="4" r="1.3" class="ink-wait"/></pattern>'
    '<pattern id="p-ripe" width="12" height="12" patternUnits="userSpaceOnUse">'
    '<rect width="12" height="12" class="fill-ripe"/><path d="M0 0 12 12M12 0 0 12" class="ink-ripe"/></pattern></defs>'
)


def still(bar: Bar, drawn: str) -> str:
    """A bar that cannot be moved and leads nowhere."""
    return f'<g role="img" aria-label="{escape(bar.said)}">{drawn}</g>'


def draw(gantt: Gantt, *, wrap: Wrap = still, say: Say = as_it_is, fits: bool = False) -> str:
    """The markup of a calendar; `wrap` puts a drawn bar into the element that carries it.

    With `fits` the drawing grows and shrinks with its place, never below its size on a screen; without it does not.
    """
    tall, wide = f"{gantt.tall:.0f}", f"{gantt.wide:.0f}"
    names = "".join(_name(row, say) for row in gantt.rows)
    hours = "".join((_PATTERNS, _grid(gantt), *(_row(row, gantt.wide, wrap) for row in gantt.rows), _marks(gantt)))
    size = "" if fits else f'height="{tall}" '
    whole, left, right, least = _fitting(gantt.wide) if fits else ("", "", "", "")
    return (
        f'<div class="gantt-pair"{whole}><svg class="gantt names"{left} viewBox="0 0 {SIDE:.0f} {tall}" '
        f'width="{SIDE:.0f}" {size}role="img" aria-label="{escape(say(NAMES_ALOUD))}">'
        f'{names}</svg><div class="scroller"{right} tabindex="0" role="region" '
        f'aria-label="{escape(say(SCROLLS_ALOUD))}">'
        f'<svg class="gantt"{least} viewBox="0 0 {wide} {tall}" width="{wide}" {size}data-hour-px="{gantt.hour_px:g}" '
        f'role="group" aria-label="{escape(say(HOURS_ALOUD))}">{hours}</svg>'
        "</div></div>"
    )


def _fitting(wide: float) -> tuple[str, str, str, str]:
    """Styles that keep names and hours at one scale: of the whole, the names, the place of the hours, the hours."""
    most, least = MOST_SCALE * (SIDE + wide), f"min-width:{wide:.0f}px"
    names = f"flex:{SIDE:.0f} 1 0;min-width:{SIDE:.0f}px"
    styles = (f"max-width:{most:.0f}px", names, f"flex:{wide:.0f} 1 0", least)
    whole, left, right, hours = (f' style="{style}"' for style in styles)
    return whole, left, right, hours


def _grid(gantt: Gantt) -> str:
    lines = [f'<line class="day" x1="{x:.1f}" x2="{x:.1f}" y1="0" y2="{gantt.tall:.0f}"/>' for x in gantt.days]
    lines += [f'<line class="tick" x1="{x:.1f}" x2="{x:.1f}" y1="24" y2="{gantt.tall:.0f}"/>' for x in gantt.ticks]
    return "".join((*lines, *map(_word, gantt.head)))


def _name(row: Row, say: Say) -> str:
    """Kind and name of a lane; a long name takes two lines."""
    lane, y = row.lane, row.y
    one, two = _halves(lane.name)
    lines = [(one, y + (25 if two else 31)), (two, y + 41)]
    told = "".join(f'<text class="lane-name" x="8" y="{at:.1f}">{escape(text)}</text>' for text, at in lines if text)
    kind = f'<text class="lane-kind" x="8" y="{y + 10:.1f}">{escape(say(lane.kind))}</text>'
    return f"{_rail(y, SIDE)}{kind}{told}"


def _rail(y: float, wide: float) -> str:
    return f'<line class="rail" x1="0" x2="{wide:.0f}" y1="{y + LANE:.1f}" y2="{y + LANE:.1f}"/>'


def _halves(name: str) -> tuple[str, str]:
    if len(name) <= NAME_LETTERS:
        return name, ""
    words = name.split()
    one, rest = words[0], words[1:]
    while rest and len(one) + 1 + len(rest[0]) <= NAME_LETTERS:
        one = f"{one} {rest.pop(0)}"
    return _cut(one), _cut(" ".join(rest))


def _cut(text: str) -> str:
    return text if len(text) <= NAME_LETTERS else text[: NAME_LETTERS - 1] + "…"


def _row(row: Row, wide: float, wrap: Wrap) -> str:
    lane, y = row.lane, row.y
    return "".join((
        _lane(lane), _rail(y, wide), *(_rect("in", x, y - 2, width, LANE + 2) for x, width in row.present),
        *(_box(box, y) for box in row.under), *(_bar(bar, y, wrap) for bar in row.bars),
        *(_box(box, y) for box in row.over), *map(_word, row.words), "</g>",
    ))  # fmt: skip


def _lane(lane: Lane) -> str:
    return f'<g class="lane" data-kind="{lane.kind}" data-name="{escape(lane.name)}">'


def _bar(bar: Bar, y: float, wrap: Wrap) -> str:
    drawn = _rect(f"bar {bar.look}", bar.x, y, bar.width, BAR, bar.look if bar.look in _PATTERNED else "", round_px=3)
    return wrap(bar, f"<title>{escape(bar.said)}</title>{drawn}{''.join(map(_word, bar.words))}")


def _box(box: Box, y: float) -> str:
    """A stretch that is no task, by its look: an outline, a crossed field, or only the line where it begins."""
    said = escape(box.said)
    if box.look == "told":
        drawn = _rect("told", box.x, y - 3, box.width, LANE + 2)
    else:
        drawn = _rect(box.look, box.x, y, box.width, BAR, "ripe" if box.look == "ripe" else "")
    if box.look in ("ripe", "lying", "cooled"):
        drawn += f'<line class="cool-at" x1="{box.x:.1f}" x2="{box.x:.1f}" y1="{y - 2:.1f}" y2="{y + BAR + 2:.1f}"/>'
    words = "".join(map(_word, box.words))
    return f'<g role="img" aria-label="{said}"><title>{said}</title>{drawn}{words}</g>'


def _rect(style: str, x: float, y: float, width: float, height: float, pattern: str = "", round_px: float = 0) -> str:
    painted = f' fill="url(#p-{pattern})"' if pattern else ""
    corners = f' rx="{round_px:g}"' if round_px else ""
    place = f'x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}"'
    return f'<rect class="{style}"{painted} {place}{corners}/>'


def _word(word: Word) -> str:
    """A word on the drawing; on a row hidden from readers, which get the whole sentence of the bar's title."""
    return f'<text aria-hidden="true" class="{word.style}" x="{word.x:.1f}" y="{word.y:.1f}">{escape(word.text)}</text>'


def _marks(gantt: Gantt) -> str:
    return "".join(
        f'<line class="now" x1="{x:.1f}" x2="{x:.1f}" y1="26" y2="{gantt.tall:.0f}"/>'
        f'<text class="now-clock" x="{x + 4:.1f}" y="59">{escape(text)}</text>'
        for x, text in gantt.marks
    )
