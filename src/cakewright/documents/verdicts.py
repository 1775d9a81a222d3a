"""What the checks say about a build, in words: may it start, can everything be taken out."""

from __future__ import annotations

from dataclasses import dataclass

from cakewright.documents.words import count, listed
from cakewright.model.build import Build, Removal, Verification


@dataclass(frozen=True, slots=True)
class Verdict:
    """`is_good` and one or several sentences; `title` is what was judged."""

    title: str
    is_good: bool
    sentences: tuple[str, ...]

    @property
    def text(self) -> str:
        """All sentences."""
        return " ".join(self.sentences)


def clearance_verdict(found: Verification) -> Verdict:
    """The independent distance check on the exact meshes."""
    if found.is_clear:
        pairs = f"{count(found.pairs_checked, 'pair')} measured on the exact meshes"
        if found.tightest is None:
            said = f"{pairs}, none nearer than {found.clearance_mm:g} mm."
        else:
            t = found.tightest
            said = (
                f"{pairs}; the closest are {t.first} and {t.second} with {t.gap_mm:.2f} mm "
                f"(asked: {found.clearance_mm:g} mm)."
            )
        return Verdict("Clearance", True, (said,))
    said_pairs = tuple(
        f"{v.first} and {v.second}: {_gap(v.gap_mm)}, asked {found.clearance_mm:g} mm." for v in found.violations
    )
    said_walls = tuple(f"{piece} crosses a wall, the floor or the lid by {mm:.2f} mm." for piece, mm in found.outside)
    return Verdict("Clearance", False, (*said_pairs, *said_walls))


def _gap(mm: float) -> str:
    return "touch or overlap" if mm <= 0 else f"{mm:.2f} mm apart"


def removal_verdict(removal: Removal) -> Verdict:
    """Whether all pieces can leave the cake."""
    if removal.stuck:
        groups = tuple(f"{listed(g)} cannot be separated without force." for g in removal.stuck)
        return Verdict("Removal", False, groups)
    if removal.hooked:
        n = len(removal.hooked)
        leave = "1 piece leaves only after others" if n == 1 else f"{n} pieces leave only after others"
        hooks = f"{leave}: see the unpacking map."
        return Verdict("Removal", True, ("Everything can be taken out.", hooks))
    return Verdict("Removal", True, ("Everything can be lifted out from the top.",))


def stop_reasons(build: Build) -> tuple[str, ...]:
    """Why a build must not start as it is; empty when nothing is against it."""
    bad = [v for v in (clearance_verdict(build.verification), removal_verdict(build.removal)) if not v.is_good]
    return tuple(f"DO NOT START – {v.title.lower()}: {s}" for v in bad for s in v.sentences[:4])
