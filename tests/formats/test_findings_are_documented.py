"""Every finding code that readers and checks of parts can say stands in the reference, and no other."""

import re
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TOPICS = ("mesh", "part", "unit", "stl", "obj", "ply", "threemf", "repair", "step")
CODE = re.compile(rf'"((?:{"|".join(TOPICS)})\.[a-z0-9-]+)"')


def said() -> set[str]:
    files = [*(ROOT / "src/cakewright/parts").glob("*.py"), *(ROOT / "src/cakewright/formats").glob("*.py")]
    found = {code for path in files for code in CODE.findall(path.read_text(encoding="utf-8"))}
    return found | {"stl.utf-16", "obj.utf-16"}


def documented() -> set[str]:
    text = "".join(
        (ROOT / f"docs/reference/findings/{t}.md").read_text(encoding="utf-8") for t in ("mesh", "part", "unit")
    )
    return set(re.findall(rf"`((?:{'|'.join(TOPICS)})\.[a-z0-9-]+)`", text))


def test_codes_and_reference_agree():
    """A new finding needs its line for the person who meets it."""
    assert said() == documented()
