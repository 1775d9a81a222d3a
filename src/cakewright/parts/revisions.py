"""Names against shapes: the same name with another shape, another name with the same shape."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from cakewright.findings import Finding, Severity
from cakewright.parts.signature import Signature, is_same_part


@dataclass(frozen=True, eq=False)
class Known:
    """A part revision somebody once gave us: name, revision, file hash, who and when in words, and its signature."""

    name: str
    revision: str
    sha256: str
    seen: str
    signature: Signature

    @property
    def title(self) -> str:
        """What people call it."""
        return f"{self.name} rev {self.revision}" if self.revision else self.name


def check_revision(new: Known, earlier: Sequence[Known], where: str = "") -> tuple[Finding, ...]:
    """Findings on a part against everything known: contradictions first, then useful coincidences."""
    return (*_same_name(new, earlier, where), *_same_shape(new, earlier, where))


def _same_name(new: Known, earlier: Sequence[Known], where: str) -> Iterator[Finding]:
    for old in earlier:
        if old.title.casefold() != new.title.casefold() or old.sha256 == new.sha256:
            continue
        if is_same_part(old.signature, new.signature):
            yield Finding("part.same-shape-new-file", Severity.NOTE,
                          f"{new.title} comes in another file than {old.seen}, with the same shape", where)  # fmt: skip
        else:
            yield Finding(
                "part.same-name-other-shape",
                Severity.WARNING,
                f"{new.title} has another shape than that of {old.seen}: {_difference(old.signature, new.signature)}",
                where,
                "ask for the revision: either the file is wrong or the revision letter was not raised",
            )
            return


def _same_shape(new: Known, earlier: Sequence[Known], where: str) -> Iterator[Finding]:
    for old in earlier:
        if old.title.casefold() != new.title.casefold() and is_same_part(old.signature, new.signature):
            yield Finding(
                "part.other-name-same-shape",
                Severity.NOTE,
                f"{new.title} has the shape of {old.title} ({old.seen})",
                where,
                "its orientation, time and price are known; confirm that both names are meant",
            )
            return


def _difference(old: Signature, new: Signature) -> str:
    volume = 100 * (new.volume_mm3 / old.volume_mm3 - 1) if old.volume_mm3 else float("nan")
    before, after = (" x ".join(f"{edge:.1f}" for edge in s.box_mm) for s in (old, new))
    return f"{before} mm became {after} mm, volume {volume:+.1f} %"
