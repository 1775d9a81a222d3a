"""How far a build is lowered so that its print ends while somebody is there."""

from cakewright.sources.reference import Reference, Status

LOWER_MOST = Reference(
    "endings.lower_most",
    0.5,
    "share of the height",
    Status.DEFAULT,
    "chosen here: a build that would lose more than this is another build",
    "beyond it only the hours are said",
)
LOWER_TRIED = Reference(
    "endings.lower_tried",
    0.06,
    "share of the height",
    Status.DEFAULT,
    "chosen here: what a second search of the nest can be expected to find",
    "up to this a lower nest is looked for, with the same effort as the first",
)
