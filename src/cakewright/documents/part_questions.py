"""What to ask a customer for each doubt: one sentence that can be sent as it is."""

from __future__ import annotations

QUESTIONS: dict[str, str] = {
    "part.thin-wall": "May the wall be made thicker, or do you accept that it may break or be missing?",
    "part.thick-section": "May we leave it solid, or would you hollow it with openings for the powder?",
    "part.narrow-gap": "Must this gap stay open? If so, please widen it; otherwise we take it that it may close.",
    "part.moving-gap": "Must these bodies move against each other? If so, please give them more clearance.",
    "part.small-hole": "Must this hole be open? Please widen it, or tell us the drill for opening it afterwards.",
    "part.hard-to-clean": "Must this channel be free of powder, and how free? Please widen or open it if it must.",
    "part.thin-pin": "May the pin be thicker, or replaced by an inserted metal pin?",
    "part.slender": "Is a slight bend of this feature acceptable, or may it be thickened or ribbed?",
    "part.fine-lettering": "Must the lettering be legible on the finished part? Please enlarge it if it must.",
    "part.knife-edge": "May the edge be cut off square, or is a ragged edge acceptable?",
    "part.may-warp": "Which flatness does this face need? We may have to tilt the part, which shows on the surface.",
    "part.coarse-facets": "Can you send the file with a finer tolerance? The flats will be visible otherwise.",
    "part.trapped-powder": "May openings be added so that powder can come out, or may it stay inside?",
    "part.sealed-void": "Is this cavity meant? It has no opening; powder would stay inside and weigh.",
    "part.several-bodies": "Do these bodies belong together as one piece, or are they separate parts?",
    "part.overlapping-bodies": "May we join the overlapping bodies into one?",
    "part.nested-bodies": "Is the inner body a hollow or solid material?",
    "part.touching-bodies": "Should the touching bodies be joined, or come apart?",
    "part.bodies-far-apart": "Should these bodies be made as separate parts?",
    "part.size-differs": "Which size is right: that of the file or that of the order?",
    "part.volume-differs": "Is this the right file and revision?",
    "part.too-large": "May the part be divided, and where?",
    "part.same-name-other-shape": "The shape differs from an earlier file of this name. Which revision should we make?",
    "mesh.open-edges": "Could you send a closed solid? The surface has holes.",
    "mesh.self-intersection": "Could you join the features and export again? The surface passes through itself.",
    "mesh.partly-inside-out": "Could you check the solid and export again? Part of its surface looks inwards.",
    "mesh.repaired": "Could you send a clean export? We had to repair the file to read it.",
    "repair.refused": "Could you close the surface at this place and export again?",
    "repair.result": "We repaired the surface. Do you agree, or will you send a clean file?",
    "unit.ambiguous": "Which unit is the file in?",
    "unit.guessed": "Which unit is the file in? We took the most likely one.",
}


def question_of(code: str) -> str | None:
    """The question for a finding code, None where nothing need be asked."""
    return QUESTIONS.get(code)
