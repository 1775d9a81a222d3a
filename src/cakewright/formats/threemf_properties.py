"""Colours and materials of a 3MF: not used, but checked, since a strict reader refuses what breaks the rules.

Core specification, chapter 5 (base materials), and materials and properties extension, chapters 2 to 6.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from urllib.parse import unquote

from cakewright.formats.judge import Judge
from cakewright.formats.threemf_xml import Attributes

MATERIALS = "http://schemas.microsoft.com/3dmanufacturing/material/2015/02"
PICTURES = ("image/png", "image/jpeg")
_GROUPS = {"basematerials": "base", "colorgroup": "color", "texture2dgroup": "tex2coord",
           "compositematerials": "composite", "multiproperties": "multi"}  # fmt: skip
_GROUP_OF = {member: group for group, member in _GROUPS.items()}
_INDEX = re.compile(r"\d{1,15}", re.ASCII)
_COLOUR = re.compile(r"#[0-9A-Fa-f]{6}([0-9A-Fa-f]{2})?")
_AGAIN = "export it again without colours, or send an STL"
_LIBERTY = "colours and materials are not used"


@dataclass(slots=True)
class Group:
    """A property group: its kind and how many members it has."""

    kind: str
    members: int = 0


@dataclass(slots=True)
class Properties:
    """Checks the resources of one model part that give colours and materials. `has_part` asks the package."""

    judge: Judge
    name: str
    has_part: Callable[[str], bool]
    claimed: set[str] = field(default_factory=set)
    groups: dict[str, Group] = field(default_factory=dict)
    textures: set[str] = field(default_factory=set)
    current: Group | None = None
    object_group: str | None = None

    def breach(self, message: str) -> None:
        """A rule is broken; a reader of shapes may go on without colours."""
        self.judge.breach("threemf.properties", f"{self.name}: {message}", _AGAIN, liberty=_LIBERTY)

    def claim(self, number: str) -> None:
        """An id may be used once among all resources of a part."""
        if number in self.claimed:
            self.judge.breach(
                "threemf.duplicate-id",
                f"{self.name}: two resources have the id {number} (core 4 and 5)",
                _AGAIN,
                liberty="the later one is used",
            )
        self.claimed.add(number)

    def start(self, local: str, attributes: Attributes) -> None:
        """An element of the materials namespace, or basematerials and base of the core."""
        if local in _GROUPS:
            self._group(local, attributes)
        elif local == "texture2d":
            self._texture(attributes)
        elif local in _GROUP_OF:
            if self.current is not None:
                self.current.members += 1
            self._member(local, attributes)

    def _group(self, local: str, attributes: Attributes) -> None:
        number = attributes.get("id", "")
        self.claim(number)
        self.current = Group(local)
        match local:
            case "texture2dgroup" if attributes.get("texid") not in self.textures:
                self.breach(f"texture group {number} names no texture: texid={attributes.get('texid')!r} (materials 3)")
            case "compositematerials":
                self._composite(number, attributes)
            case "multiproperties":
                self._multi(number, attributes)
        self.groups[number] = self.current

    def _composite(self, number: str, attributes: Attributes) -> None:
        base = self.groups.get(attributes.get("matid", ""))
        if base is None or base.kind != "basematerials":
            self.breach(
                f"composite materials {number}: matid={attributes.get('matid')!r} is no base material (materials 4)"
            )
            return
        indices = attributes.get("matindices", "").split()
        if not indices:
            self.breach(f"composite materials {number} has no matindices (materials 4)")
        elif not all(_INDEX.fullmatch(word) and int(word) < base.members for word in indices):
            self.breach(
                f"composite materials {number}: matindices {' '.join(indices)[:60]!r} out of range (materials 4)"
            )

    def _multi(self, number: str, attributes: Attributes) -> None:
        pids = attributes.get("pids", "").split()
        if not pids:
            self.breach(f"multi-properties {number} has no pids (materials 5)")
        # a plain texture as a layer is no property group, yet files that must pass name one
        kinds = [self.groups[pid].kind if pid in self.groups else "texture" * (pid in self.textures) for pid in pids]
        if "" in kinds:
            self.breach(
                f"multi-properties {number} refers to {pids[kinds.index('')]}, which is no property (materials 5)"
            )
        if "multiproperties" in kinds:
            self.breach(f"multi-properties {number} refers to another multi-properties (materials 5)")
        if kinds.count("basematerials") + kinds.count("compositematerials") > 1:
            self.breach(f"multi-properties {number} refers to more than one material (materials 5)")
        if kinds.count("colorgroup") > 1:
            self.breach(f"multi-properties {number} refers to more than one colour group (materials 5)")
        if len(attributes.get("blendmethods", "").split()) > max(len(pids) - 1, 0):
            self.breach(f"multi-properties {number} has more blend methods than layers to blend (materials 5)")

    def _texture(self, attributes: Attributes) -> None:
        number = attributes.get("id", "")
        self.claim(number)
        self.textures.add(number)
        path, kind = attributes.get("path", ""), attributes.get("contenttype", "")
        if not path:
            self.breach(f"texture {number} has no path (materials 6)")
        elif not self.has_part(unquote(path).lstrip("/")):
            self.breach(f"texture {number}: {path!r} is not in the package (materials 6)")
        if kind not in PICTURES:
            self.breach(
                f"texture {number} has the content type {kind!r}, expected image/png or image/jpeg (materials 6)"
            )

    def _member(self, local: str, attributes: Attributes) -> None:
        if local == "color" and not _COLOUR.fullmatch(attributes.get("color", "")):
            self.breach(
                f"a colour has the value {attributes.get('color')!r}, expected #RRGGBB or #RRGGBBAA (materials 2)"
            )
        if local == "base" and not (attributes.get("name") and _COLOUR.fullmatch(attributes.get("displaycolor", ""))):
            self.breach("a base material needs a name and a display colour (core 5)")

    def object_property(self, number: str, pid: str | None, pindex: str | None) -> None:
        """The property of a whole object: pindex needs pid, and both must exist."""
        self.object_group = pid
        if pindex is not None and pid is None:
            self.breach(f"object {number} has pindex without pid (core 4)")
        if pid is not None:
            self._refers(f"object {number}", pid, [pindex] if pindex is not None else [])

    def triangle(self, attributes: Attributes) -> None:
        """Properties of a triangle; without its own pid the object's counts."""
        indices = [attributes[key] for key in ("p1", "p2", "p3") if key in attributes]
        pid = attributes.get("pid", self.object_group)
        if indices and pid is None:
            self.breach("a triangle has p1 without pid on it or its object (core 4.1.4)")
        elif pid is not None:
            self._refers("a triangle", pid, indices)

    def end_object(self) -> None:
        """The object's own property no longer counts."""
        self.object_group = None

    def _refers(self, who: str, pid: str, indices: list[str]) -> None:
        group = self.groups.get(pid)
        if group is None:
            self.breach(f"{who} refers to property group {pid}, which is not defined before it (core 4)")
            return
        for word in indices:
            if not _INDEX.fullmatch(word) or int(word) >= group.members:
                self.breach(f"{who} has the property index {word[:40]} of {group.members} in group {pid} (core 4.1.4)")
                return
