"""One model part of a 3MF package: resources and build, checked against the core specification while read."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

import numpy as np

from cakewright.formats.judge import Judge
from cakewright.formats.threemf_properties import MATERIALS, Properties
from cakewright.formats.threemf_write import CORE, WELL_KNOWN_METADATA
from cakewright.formats.threemf_xml import Attributes, stream
from cakewright.model.mesh import FloatArray, IntArray
from cakewright.units import LengthUnit

PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
BEAMS = "http://schemas.microsoft.com/3dmanufacturing/beamlattice/2017/02"
SLICES = "http://schemas.microsoft.com/3dmanufacturing/slice/2015/07"
_TRIANGLE_SETS = "http://schemas.microsoft.com/3dmanufacturing/trianglesets/2021/07"
_SECURE = "http://schemas.microsoft.com/3dmanufacturing/securecontent/2019/04"
KNOWN_EXTENSIONS = frozenset((CORE, MATERIALS, PRODUCTION, SLICES, BEAMS, _TRIANGLE_SETS))
OBJECT_TYPES = ("model", "solidsupport", "support", "surface", "other")
_AGAIN = "export it again, or send an STL"
_NUMBER_TEXT = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?"
_END = "\x1f"  # closes each word where many are matched at once; XML cannot hold it
_NUMBER = re.compile(_NUMBER_TEXT, re.ASCII)
_NUMBERS = re.compile(rf"(?:{_NUMBER_TEXT}{_END})*", re.ASCII)
_WHOLE = re.compile(r"\d{1,15}", re.ASCII)
_WHOLES = re.compile(rf"(?:\d{{1,15}}{_END})*", re.ASCII)
# element: (parent, attributes without namespace)
_SCHEMA: dict[str, tuple[str, frozenset[str]]] = {
    "model": ("", frozenset(("unit", "requiredextensions", "recommendedextensions", "thumbnail"))),
    "metadata": ("model metadatagroup", frozenset(("name", "preserve", "type"))),
    "resources": ("model", frozenset()),
    "build": ("model", frozenset()),
    "basematerials": ("resources", frozenset(("id", "displaypropertiesid"))),
    "base": ("basematerials", frozenset(("name", "displaycolor"))),
    "object": ("resources", frozenset(("id", "type", "thumbnail", "partnumber", "name", "pid", "pindex"))),
    "metadatagroup": ("object item", frozenset()),
    "mesh": ("object", frozenset()),
    "vertices": ("mesh", frozenset()),
    "vertex": ("vertices", frozenset("xyz")),
    "triangles": ("mesh", frozenset()),
    "triangle": ("triangles", frozenset(("v1", "v2", "v3", "p1", "p2", "p3", "pid"))),
    "components": ("object", frozenset()),
    "component": ("components", frozenset(("objectid", "transform"))),
    "item": ("build", frozenset(("objectid", "transform", "partnumber"))),
}


_VERTEX, _TRIANGLE = f"{CORE} vertex", f"{CORE} triangle"


@dataclass(frozen=True, eq=False)
class Use:
    """An object used by a component or an item: `path` names another model part, '' this one; `matrix` (4, 4)."""

    object_id: str
    path: str
    matrix: FloatArray
    part_number: str = ""


@dataclass(slots=True)
class ModelObject:
    """A resource that can be built: a mesh, or components that use other objects."""

    id: str
    kind: str = "model"
    name: str = ""
    part_number: str = ""
    vertices: FloatArray | None = None
    faces: IntArray | None = None
    components: list[Use] = field(default_factory=list)


@dataclass(slots=True)
class ModelPart:
    """What one model part says."""

    unit: LengthUnit = LengthUnit.MILLIMETER
    objects: dict[str, ModelObject] = field(default_factory=dict)
    items: list[Use] = field(default_factory=list)
    metadata: dict[str, str] = field(default_factory=dict)
    thumbnails: list[str] = field(default_factory=list)
    has_beams: bool = False
    has_slices: bool = False


class ModelReader:
    """Callbacks that fill a ModelPart from the XML stream."""

    def __init__(self, judge: Judge, name: str, has_part: Properties) -> None:
        self.judge, self.name, self.properties = judge, name, has_part
        self.part = ModelPart()
        self.prefixes: dict[str, str] = {}
        self.path: list[str] = []
        self.foreign: set[str] = set()
        self.object: ModelObject | None = None
        self.points: list[str] = []
        self.corners: list[str] = []
        self.metadata_name, self.metadata_text = "", ""
        self.seen: list[str] = []

    def breach(self, message: str, liberty: str, code: str = "threemf.schema") -> None:
        """Something that the specification forbids, with the part's name."""
        self.judge.breach(code, f"{self.name}: {message}", _AGAIN, liberty=liberty)

    def refuse(self, message: str) -> None:
        """Something nobody can read."""
        self.judge.refuse(f"{self.name}: {message}", _AGAIN)

    def start(self, tag: str, attributes: Attributes) -> None:
        """An element begins. Vertices and triangles come by the hundred thousand: their words are only kept."""
        if tag == _VERTEX and self.path[-1:] == ["vertices"]:
            self.points += (attributes.get("x", ""), attributes.get("y", ""), attributes.get("z", ""))
            self.path.append("vertex")
            return
        if tag == _TRIANGLE and self.path[-1:] == ["triangles"]:
            self.corners += (attributes.get("v1", ""), attributes.get("v2", ""), attributes.get("v3", ""))
            if len(attributes) > 3:
                self.properties.triangle(attributes)
            self.path.append("triangle")
            return
        namespace, _, local = tag.rpartition(" ")
        if namespace == CORE and not (self.path and " " in self.path[-1]):
            self._core(local, attributes)
            self.path.append(local)
            return
        if not self.path:
            self.refuse(f"the root element is {tag!r}, expected a model of the core specification of 2015 (core 3.4)")
        parent, _, group = self.path[-1].rpartition(" ")
        self.path.append(tag)
        if namespace == CORE:
            self.judge.note(
                "threemf.misplaced", f"{self.name}: core element {local!r} inside {group!r} of an extension"
            )
        if namespace == MATERIALS or (namespace == CORE and parent == MATERIALS):
            self.properties.start(local, attributes)
        elif namespace == BEAMS and local == "beams":
            self.part.has_beams = True
        elif namespace not in KNOWN_EXTENSIONS and namespace not in self.foreign:
            self.foreign.add(namespace)
            self.judge.note(
                "threemf.unknown-extension", f"{self.name}: elements of {namespace or 'no namespace'} ignored"
            )

    def end(self, tag: str) -> None:
        """An element ends."""
        self.path.pop()
        match tag.rpartition(" ")[2]:
            case "object" if self.object is not None:
                self._finish_object()
            case "metadata":
                self._finish_metadata()
            case "model" if not self.path:
                for needed in ("resources", "build"):
                    if needed not in self.seen:
                        self.breach(f"the element {needed!r} is missing (core 3.4)", "it was taken as empty")

    def text(self, text: str) -> None:
        """Characters inside an element."""
        if self.path[-1:] == ["metadata"]:
            self.metadata_text += text

    def _core(self, local: str, attributes: Attributes) -> None:
        known = _SCHEMA.get(local)
        parent = self.path[-1] if self.path else ""
        if known is None or (parent not in known[0].split() and not (local == "model" and not self.path)):
            if not self.path:
                self.refuse(f"the root element is {local!r}, expected 'model' (core 3.4)")
            return self.breach(f"element {local!r} is not allowed in {parent!r} (core 2.3.2)", "it was ignored")
        extra = [name for name in attributes if " " not in name and name not in known[1]]
        if extra:
            self.breach(f"attribute {extra[0]!r} is not allowed on {local!r} (core 2.3.2)", "it was ignored")
        if local == "vertices" and attributes:
            self.breach(f"attribute {next(iter(attributes))!r} on 'vertices' (core 2.3.2)", "it was ignored")
        handler = getattr(self, f"_on_{local}", None)
        if handler is not None:
            handler(attributes)
        return None

    def _on_model(self, attributes: Attributes) -> None:
        word = attributes.get("unit", "millimeter")
        if word not in list(LengthUnit):
            self.refuse(f"unknown unit {word!r}, expected one of {', '.join(LengthUnit)} (core 3.4)")
        self.part.unit = LengthUnit(word)
        for prefix in attributes.get("requiredextensions", "").split():
            needed = self.prefixes.get(prefix, "")
            if needed == _SECURE:
                self.refuse("the package is encrypted or protected (secure content extension)")
            if needed not in KNOWN_EXTENSIONS:
                self.refuse(f"it needs extension {needed or prefix!r}, which is not supported (core 2.3.1)")

    def _on_resources(self, attributes: Attributes) -> None:
        self._once("resources")

    def _on_build(self, attributes: Attributes) -> None:
        if "resources" not in self.seen:
            self.breach("the element 'resources' is missing before 'build' (core 3.4)", "it was taken as empty")
            self.seen.append("resources")
        self._once("build")

    def _once(self, local: str) -> None:
        if local in self.seen:
            self.breach(f"a second element {local!r} (core 3.4)", "both were read")
        self.seen.append(local)

    def _on_metadata(self, attributes: Attributes) -> None:
        name = attributes.get("name", "")
        self.metadata_text, self.metadata_name = "", name
        is_of_model = self.path == ["model"]
        if not name:
            self.breach("metadata without a name (core 3.4.1)", "it was ignored")
        elif is_of_model and name in self.part.metadata:
            self.breach(f"metadata {name!r} is there twice (core 3.4.1)", "the last one was taken")
        prefix, colon, _ = name.partition(":")
        if (colon and prefix not in self.prefixes) or (not colon and name and name not in WELL_KNOWN_METADATA):
            self.judge.warn(
                "threemf.metadata", f"{self.name}: metadata name {name!r} is not defined (core 3.4.1); ignored", _AGAIN
            )

    def _finish_metadata(self) -> None:
        if self.path == ["model"] and self.metadata_name:
            self.part.metadata[self.metadata_name] = self.metadata_text.strip()

    def _on_basematerials(self, attributes: Attributes) -> None:
        self.properties.start("basematerials", attributes)

    def _on_base(self, attributes: Attributes) -> None:
        self.properties.start("base", attributes)

    def _on_object(self, attributes: Attributes) -> None:
        number = attributes.get("id", "")
        if not _WHOLE.fullmatch(number) or int(number) < 1:
            self.refuse(f"an object has the id {number[:40]!r}, expected a whole number above 0 (core 4)")
        self.properties.claim(number)
        kind = attributes.get("type", "model")
        if kind not in OBJECT_TYPES:
            self.breach(f"object {number} has the type {kind!r}, expected one of {', '.join(OBJECT_TYPES)} (core 4)",
                        "it was taken as 'model'")  # fmt: skip
            kind = "model"
        self.properties.object_property(number, attributes.get("pid"), attributes.get("pindex"))
        self.part.has_slices |= f"{SLICES} slicestackid" in attributes
        if attributes.get(f"{SLICES} meshresolution") == "lowres":
            self.judge.warn(
                "threemf.rough-mesh",
                f"{self.name}: object {number} is only a rough mesh beside its slices",
                            "ask for a mesh in full resolution")  # fmt: skip
        if "thumbnail" in attributes:
            self.part.thumbnails.append(attributes["thumbnail"])
        self.object = ModelObject(number, kind, attributes.get("name", ""), attributes.get("partnumber", ""))

    def _on_mesh(self, attributes: Attributes) -> None:
        self.points, self.corners = [], []

    def _on_component(self, attributes: Attributes) -> None:
        use = self._use(attributes)
        if not use.path and use.object_id not in self.part.objects:
            me = self.object.id if self.object else ""
            why = "itself" if use.object_id == me else f"object {use.object_id}, which is not defined before it"
            self.refuse(f"a component of object {me} refers to {why} (core 4.2)")
        if self.object is not None:
            self.object.components.append(use)

    def _on_item(self, attributes: Attributes) -> None:
        use = self._use(attributes)
        if not use.path:
            target = self.part.objects.get(use.object_id)
            if target is None:
                self.refuse(f"a build item refers to object {use.object_id}, which is missing (core 3.4.3.1)")
            elif target.kind == "other":
                self.breach(f"a build item refers to object {use.object_id} of type 'other' (core 3.4.3.1)",
                            "it was read")  # fmt: skip
        self.part.items.append(use)

    def _use(self, attributes: Attributes) -> Use:
        number = attributes.get("objectid", "")
        if not number.isdecimal():
            self.refuse(f"objectid is {number!r}, expected a whole number (core 4.2)")
        path = attributes.get(f"{PRODUCTION} path", "").lstrip("/")
        matrix = self._matrix(attributes.get("transform"))
        return Use(number, path, matrix, attributes.get("partnumber", ""))

    def _matrix(self, word: str | None) -> FloatArray:
        matrix = np.eye(4)
        if word is None:
            return matrix
        words = word.split()
        if len(words) != 12 or not all(map(_NUMBER.fullmatch, words)):
            self.refuse(f"a transform has {len(words)} words, expected 12 numbers (core 3.3): {word[:60]!r}")
        numbers = np.array([float(w) for w in words]).reshape(4, 3)
        matrix[:3, :] = numbers.T
        if not np.isfinite(matrix).all():
            self.refuse("a transform has numbers that are not finite (core 3.3)")
        if np.linalg.det(matrix[:3, :3]) == 0:
            self.judge.warn(
                "threemf.singular-transform", f"{self.name}: a transform squashes an object flat (core 3.3)", _AGAIN
            )
        return matrix

    def _finish_object(self) -> None:
        made = self.object
        self.object = None
        if made is None:
            return
        if not made.components:
            made.vertices = self._vertices(made.id)
            made.faces = self._faces(made.id, len(made.vertices))
        self.points, self.corners = [], []
        self.properties.end_object()
        self.part.objects[made.id] = made

    def _vertices(self, number: str) -> FloatArray:
        words = self.points
        if not _NUMBERS.fullmatch(_END.join([*words, ""])):
            k = next(k for k, word in enumerate(words) if not _NUMBER.fullmatch(word))
            self.refuse(
                f"vertex {k // 3} of object {number} has {'xyz'[k % 3]}={words[k][:40]!r}, "
                "expected a number with a decimal point (core 2.3.2)"
            )
        vertices = np.array(list(map(float, words))).reshape(-1, 3)
        if not np.isfinite(vertices).all():
            self.refuse(f"object {number} has a coordinate that is not finite (core 4.1.3)")
        return vertices

    def _faces(self, number: str, count: int) -> IntArray:
        words = self.corners
        if not _WHOLES.fullmatch(_END.join([*words, ""])):
            k = next(k for k, word in enumerate(words) if not _WHOLE.fullmatch(word))
            self.refuse(
                f"triangle {k // 3} of object {number} has v{k % 3 + 1}={words[k][:40]!r}, "
                "expected a whole number (core 4.1.4)"
            )
        corners = np.array(list(map(int, words)), dtype=np.int64).reshape(-1, 3)
        outside = (corners >= count).any(axis=1)
        if outside.any():
            k = int(np.flatnonzero(outside)[0])
            self.breach(f"triangle {k} of object {number} names vertex {int(corners[k].max())} of {count} (core 4.1.4)",
                        "it was left out", "mesh.index-out-of-range")  # fmt: skip
        a, b, c = corners.T
        twice = ((a == b) | (b == c) | (c == a)) & ~outside
        if twice.any():
            k = int(np.flatnonzero(twice)[0])
            self.breach(f"triangle {k} of object {number} uses a vertex twice (core 4.1.4.1)"
                        + (f", {int(twice.sum()) - 1} more do so" if twice.sum() > 1 else ""),
                        "left out", "threemf.degenerate-triangle")  # fmt: skip
        return np.asarray(corners[~outside & ~twice], dtype=np.int32)


def read_model_part(data: bytes, judge: Judge, name: str, properties: Properties) -> ModelPart:
    """Parse and check one model part."""
    reader = ModelReader(judge, name, properties)
    stream(data, judge, name, reader.start, reader.end, reader.text, reader.prefixes.__setitem__)
    return reader.part
