"""Hostile input on purpose: small valid files, damage to them that repeats with its seed, and what a reader may do.

A reader may give a result or a CakewrightError with a remedy. Anything else (another exception, a mesh with numbers
that are none or corners that do not exist, too long, too much memory) is a fault; `try_one` says which.
"""

from __future__ import annotations

import io
import re
import signal
import struct
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from cakewright.app.init_cell import template_cell
from cakewright.errors import CakewrightError
from cakewright.formats.cell_toml import cell_template, read_cell
from cakewright.formats.joblog_csv import read_job_log
from cakewright.formats.lengths_csv import read_lengths
from cakewright.formats.mesh_file import read_mesh_bytes, recover_mesh_bytes
from cakewright.formats.orders_csv import read_orders
from cakewright.formats.stl import stl_bytes
from cakewright.formats.threemf import ThreeMfItem, write_3mf
from tests.conftest import box_mesh

SECONDS_EACH = 5.0  # of the processor, for files below a megabyte; typical is a few milliseconds
LARGEST = 1 << 20

NUMBERS = (
    b"nan", b"inf", b"-inf", b"-0", b"0", b"-1", b"1e309", b"1e-320", b"1e38", b"3.5e38", b"1e154", b"4294967295",
    b"4294967296", b"2147483648", b"-2147483649", b"9223372036854775808", b"99999999999999999999999", b"0x10",
    b"1_000", b"1,5", b"1e", b".", b"", b"+5", b"00012", "٣".encode(), "½".encode(), b"9" * 5000, b"true", b"1/2/3",
    b"2027-02-30", b"0000-00-00", b"9999-12-31", b"24:00", b"2027-03-28T02:30:00", b"9999-12-31T23:59:59-14:00",
)  # fmt: skip
BITS = (
    0, 1, 0xFFFFFFFF, 0x7FFFFFFF, 0x80000000, 0x7F800000, 0xFF800000, 0x7FC00000, 0x7F7FFFFF, 1 << 24, 0x00000001,
    0x3F800000,
)  # fmt: skip
JUNK = (
    b"\x00", b"\xff\xfe", b"\xef\xbb\xbf", b"\r", b"\n\n\n", b"\x85", b"\xe2\x80\xa8", b"\\\n", b'"', b"'''", b'"""',
    b"[" * 3000, b"{a=" * 2000, b"(" * 3000, b"a." * 3000, b"<a>" * 3000, b"</", b"<!--", b"<![CDATA[", b"<?", b"&lt;",
    b"&#0;", b"&x;", b"f", b"f 1 2 3 4 5 6 7 8", b"end_header\n", b"solid", b"endsolid", b"element face 99999999\n",
    b"property list int int q\n", b"property list float uchar vertex_indices\n", b";" * 2000, b"," * 2000,
    b"=1+1", b"[[x]]\n", b"x = [" + b"1," * 2000 + b"]\n", b"#" + b"z" * 70000,
)  # fmt: skip
_NUMBER = re.compile(rb"[-+]?\d[\d.:eETZ+-]*")


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of file: a small valid one, what reads it, whether it is text."""

    name: str
    good: bytes
    read: Callable[[bytes, Path], object]
    is_text: bool = True


class TooLong(BaseException):
    """The time of one file is over; no reader catches this."""


def _ascii_stl() -> bytes:
    text = "solid a b\n"
    for corners in box_mesh(10, 20, 30).triangles:
        loop = "".join(f"vertex {x:g} {y:g} {z:g}\n" for x, y, z in corners)
        text += f"facet normal 0 0 0\nouter loop\n{loop}endloop\nendfacet\n"
    return (text + "endsolid a b\n").encode()


def _obj() -> bytes:
    mesh = box_mesh(10, 20, 30)
    rows = [f"v {x:g} {y:g} {z:g}" for x, y, z in mesh.vertices]
    faces = [f"f {a + 1} {b + 1}//1 {c + 1}/2" for a, b, c in mesh.faces]
    return "\n".join(["o block", *rows, "g one", *faces[:6], "g two", *faces[6:], "l 1 2", ""]).encode()


def _ply(form: str) -> bytes:
    mesh = box_mesh(10, 20, 30)
    head = (
        f"ply\nformat {form} 1.0\ncomment a\nelement vertex 8\nproperty float x\nproperty float y\nproperty float z\n"
        "property uchar red\nelement face 12\nproperty list uchar int vertex_indices\nend_header\n"
    ).encode()
    if form == "ascii":
        rows = [f"{x:g} {y:g} {z:g} 1" for x, y, z in mesh.vertices] + [f"3 {a} {b} {c}" for a, b, c in mesh.faces]
        return head + "\n".join([*rows, ""]).encode()
    order = "<" if form == "binary_little_endian" else ">"
    body = b"".join(struct.pack(order + "3fB", *v, 1) for v in mesh.vertices)
    return head + body + b"".join(struct.pack(order + "B3i", 3, *map(int, f)) for f in mesh.faces)


def _3mf(folder: Path) -> bytes:
    path = folder / "good.3mf"
    turned = np.eye(4)
    turned[0, 3] = 40.0
    items = [ThreeMfItem("one", "a", np.eye(4)), ThreeMfItem("two", "a", turned)]
    write_3mf(path, {"a": box_mesh(10, 20, 30)}, items, {"Title": "block"})
    return path.read_bytes()


def _orders() -> bytes:
    cell = template_cell()
    material, finish, wanted = cell.materials[0].name, cell.finishes[0].name, cell.classes[0].name
    head = "line,order,received,customer,part,rev,qty,x_mm,y_mm,z_mm,vol_cm3,material,finish,class,due,flags,file\n"
    row = f"{{}},A-7,2027-03-01,Team,clip,B,4,10,20,30.5,6,{material},{finish},{wanted},2027-03-0{{}},rush,clip.stl\n"
    return (head + "".join(row.format(n, n + 3) for n in range(1, 5))).encode()


def _via(read: Callable[[Path], object], ending: str) -> Callable[[bytes, Path], object]:
    def run(data: bytes, folder: Path) -> object:
        path = folder / f"tried{ending}"
        path.write_bytes(data)
        return read(path)

    return run


def _mesh(ending: str) -> Callable[[bytes, Path], object]:
    def run(data: bytes, _folder: Path) -> object:
        refusals = 0
        for read in (read_mesh_bytes, recover_mesh_bytes):
            try:
                found, _ = read(data, f"tried{ending}")
            except CakewrightError as wrong:
                refusals += 1
                assert wrong.remedy, "a refusal without a remedy"
                continue
            mesh = found.mesh
            assert np.isfinite(mesh.vertices).all(), "coordinates that are no numbers"
            assert len(mesh.faces) > 0, "a mesh without triangles"
            assert mesh.faces.min() >= 0 and mesh.faces.max() < len(mesh.vertices), "corners that do not exist"
        return refusals == 0

    return run


def kinds(folder: Path) -> tuple[Kind, ...]:
    """Every reader with its small valid file; `folder` is for what is written on the way."""
    cell, zone = template_cell(), ZoneInfo("Europe/Oslo")
    spans = b"build,start,end\nB1,2027-03-01T06:00:00,2027-03-01T18:30:00\nB2,2027-03-28T01:00,2027-03-28T09:00Z\n"
    layers = b"build,layer,seconds\n" + b"".join(b"B1,%d,%d.5\n" % (n, 20 + n) for n in range(1, 20))
    lengths = b"axis,wanted,measured,hole,x,y,z\nx,10,10.1,yes,1,2,3\ny,20.5,20.4,,,,\nz,30,30.2,no,4,5,6.5\n"
    return (
        Kind("stl-binary", stl_bytes(box_mesh(10, 20, 30), "block"), _mesh(".stl"), is_text=False),
        Kind("stl-ascii", _ascii_stl(), _mesh(".stl")),
        Kind("obj", _obj(), _mesh(".obj")),
        Kind("ply-ascii", _ply("ascii"), _mesh(".ply")),
        Kind("ply-little", _ply("binary_little_endian"), _mesh(".ply"), is_text=False),
        Kind("ply-big", _ply("binary_big_endian"), _mesh(".ply"), is_text=False),
        Kind("3mf", _3mf(folder), _mesh(".3mf"), is_text=False),
        Kind("orders", _orders(), _via(lambda p: read_orders(p, cell), ".csv")),
        Kind("cell", cell_template().encode(), _via(read_cell, ".toml")),
        Kind("log-spans", spans, _via(lambda p: read_job_log(p, zone), ".csv")),
        Kind("log-layers", layers, _via(lambda p: read_job_log(p, zone), ".csv")),
        Kind("lengths", lengths, _via(read_lengths, ".csv")),
    )


def damaged(kind: Kind, rng: np.random.Generator) -> bytes:
    """The valid file with one to four kinds of damage; a 3MF is sometimes damaged inside its package."""
    data = kind.good
    if kind.name == "3mf" and rng.random() < 0.75:
        data = _packed_anew(data, rng)
        if rng.random() < 0.7:
            return data
    ways = _TEXT + _BYTES if kind.is_text or rng.random() < 0.3 else _BYTES
    for _ in range(rng.integers(1, 5)):
        data = ways[rng.integers(len(ways))](data or b"\n", rng)
    return data[:LARGEST]


def _cut(data: bytes, rng: np.random.Generator) -> bytes:
    return data[: rng.integers(len(data))]


def _flip(data: bytes, rng: np.random.Generator) -> bytes:
    changed = bytearray(data)
    for at in rng.integers(len(data), size=rng.integers(1, 9)):
        changed[at] ^= 1 << int(rng.integers(8))
    return bytes(changed)


def _overwrite(data: bytes, rng: np.random.Generator) -> bytes:
    changed, at = bytearray(data), int(rng.integers(len(data)))
    changed[at : at + 4] = struct.pack("<>"[rng.integers(2)] + "I", BITS[rng.integers(len(BITS))])
    return bytes(changed)


def _splice(data: bytes, rng: np.random.Generator) -> bytes:
    a, b, c = (int(n) for n in rng.integers(len(data), size=3))
    return data[:c] + data[min(a, b) : max(a, b)] + data[c:]


def _drop(data: bytes, rng: np.random.Generator) -> bytes:
    at = int(rng.integers(len(data)))
    return data[:at] + data[at + int(rng.integers(1, 200)) :]


def _insert(data: bytes, rng: np.random.Generator) -> bytes:
    at = int(rng.integers(len(data) + 1))
    return data[:at] + JUNK[rng.integers(len(JUNK))] + data[at:]


def _renumber(data: bytes, rng: np.random.Generator) -> bytes:
    hits = list(_NUMBER.finditer(data[: 1 << 16]))
    if not hits:
        return data
    hit = hits[rng.integers(len(hits))]
    return data[: hit.start()] + NUMBERS[rng.integers(len(NUMBERS))] + data[hit.end() :]


def _lines(data: bytes, rng: np.random.Generator) -> bytes:
    lines = data.split(b"\n")
    a, b = (int(n) for n in rng.integers(len(lines), size=2))
    match rng.integers(4):
        case 0:
            lines[a], lines[b] = lines[b], lines[a]
        case 1:
            del lines[a]
        case 2:
            lines[a:a] = [lines[b]] * int(rng.integers(1, 300))
        case _:
            words = lines[a].split()
            lines[a] = b" ".join(words[int(i)] for i in rng.permutation(len(words)))
    return b"\n".join(lines)


def _ends(data: bytes, rng: np.random.Generator) -> bytes:
    return data.replace(b"\n", (b"\r\n", b"\r", b"\n\n", b" \n", b"\x00\n")[rng.integers(5)])


def _encode(data: bytes, rng: np.random.Generator) -> bytes:
    text = data.decode("latin-1")
    return text.encode(("utf-16", "utf-16-be", "utf-32", "utf-8-sig", "utf-7")[rng.integers(5)])


_BYTES = (_cut, _flip, _overwrite, _splice, _drop, _insert)
_TEXT = (_renumber, _renumber, _renumber, _lines, _lines, _ends, _encode)


def _packed_anew(data: bytes, rng: np.random.Generator) -> bytes:
    """The same package with damage to what is inside, so that it gets past the checksums."""
    with zipfile.ZipFile(io.BytesIO(data)) as old:
        entries = [(info.filename, old.read(info)) for info in old.infolist()]
    at = int(rng.integers(len(entries)))
    name, content = entries[at]
    match rng.integers(8):
        case 0:
            entries.append(
                (("../../evil", "/abs", name, name.upper(), "a" * 60000, "\u202e.model")[rng.integers(6)], b"")
            )
        case 1:
            del entries[at]
        case 2:
            entries[at] = (name, b" " * (1 << 19))
        case 3:
            entries[at] = (name, content.replace(b">", b"><!-- " + b"x" * 300 + b" -->"))
        case _:
            for _ in range(rng.integers(1, 4)):
                content = (*_TEXT, _flip, _splice, _drop, _insert, _elements)[rng.integers(12)](content or b" ", rng)
            entries[at] = (name, content)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", (zipfile.ZIP_DEFLATED, zipfile.ZIP_STORED)[rng.integers(2)]) as new:
        for name, content in entries:
            if name not in new.namelist():  # the module would warn; a doubled name is made from bytes below
                new.writestr(zipfile.ZipInfo(name), content[:LARGEST])
    return out.getvalue()


def _elements(data: bytes, rng: np.random.Generator) -> bytes:
    pieces = re.split(rb"(?=<)", data)
    a, b = (int(n) for n in rng.integers(len(pieces), size=2))
    match rng.integers(3):
        case 0:
            del pieces[a]
        case 1:
            pieces[a], pieces[b] = pieces[b], pieces[a]
        case _:
            pieces[a:a] = [pieces[b]] * int(rng.integers(1, 200))
    return b"".join(pieces)


@contextmanager
def at_most(seconds: float) -> Iterator[None]:
    """Stop what runs inside when its time is over; long stretches of compiled code are stopped at their end."""

    def over(_number: int, _frame: object) -> None:
        raise TooLong

    before = signal.signal(signal.SIGPROF, over)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


def try_one(kind: Kind, data: bytes, folder: Path, seconds: float = SECONDS_EACH) -> str:
    """'read', 'refused', or what went wrong."""
    try:
        with at_most(seconds):
            is_good = kind.read(data, folder)
    except CakewrightError as wrong:
        return "refused" if wrong.found else "a refusal without words"
    except TooLong:
        return f"longer than {seconds:g} s"
    except Exception as wrong:  # this is what the search is for
        trace = wrong.__traceback__
        while trace is not None and trace.tb_next is not None:
            trace = trace.tb_next
        place = f"{Path(trace.tb_frame.f_code.co_filename).name}:{trace.tb_lineno}" if trace else "?"
        return f"{type(wrong).__name__} at {place}: {str(wrong)[:100]}"
    return "read" if is_good is not False else "refused"
