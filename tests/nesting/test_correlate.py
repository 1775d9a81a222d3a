"""Counts by transforms against counts by hand, against the bit-packed search, and through a strict device."""

import itertools
from dataclasses import replace

import numpy as np
import pytest

from cakewright.errors import InputError
from cakewright.nesting import correlate
from cakewright.nesting.bank import make_bank
from cakewright.nesting.bits import lowest_place
from cakewright.nesting.construct import Workspace, construct
from cakewright.nesting.correlate import Occupied, cpu_arrays, good_length, is_single_enough, pick_arrays
from cakewright.nesting.task import NestPiece, NestSpace, NestTask
from tests.conftest import box_mesh
from tests.nesting.conftest import cube_rotations, ring_mesh

CPU = cpu_arrays(workers=1)


def by_hand(occupied, item):
    """The slow twin: slide and count."""
    shape = [g - i + 1 for g, i in zip(occupied.shape, item.shape, strict=True)]
    out = np.zeros(shape, int)
    for p in np.ndindex(*shape):
        part = occupied[tuple(slice(a, a + n) for a, n in zip(p, item.shape, strict=True))]
        out[p] = int((part & item).sum())
    return out


class Device:
    """Memory of a device: numpy cannot look into it by accident, everything must be brought and fetched."""

    def __init__(self, held):
        self.held = held

    @property
    def shape(self):
        return self.held.shape

    def __array__(self, *_, **__):
        raise TypeError("fetch it from the device first")

    def __mul__(self, other):
        return Device(self.held * other.held)

    def __getitem__(self, where):
        return Device(self.held[where])

    def conj(self):
        return Device(self.held.conj())

    def reshape(self, *shape):
        return Device(self.held.reshape(*shape))

    def any(self, axis):
        return Device(self.held.any(axis))


def device_arrays(brought):
    """An array module like that of a GPU; `brought` counts what was sent there."""

    def put(array):
        brought.append(array.shape)
        return Device(array)

    return replace(
        CPU,
        name="device",
        put=put,
        forward=lambda a, shape: Device(CPU.forward(a.held, shape)),
        back=lambda a, shape: Device(CPU.back(a.held, shape)),
        round_off=lambda a: Device(CPU.round_off(a.held)),
        is_zero=lambda a: Device(CPU.is_zero(a.held)),
        get=lambda a: a.held,
    )


@pytest.fixture
def cake():
    """A random cake of 14 x 11 x 17 cells and items of odd sizes."""
    rng = np.random.default_rng(11)
    occupied = (rng.random((14, 11, 17)) < 0.08).astype(np.uint8)
    items = [(rng.random(size) < 0.6).astype(np.uint8) for size in ((3, 4, 2), (1, 1, 1), (14, 11, 17), (5, 1, 7))]
    return occupied, items


@pytest.mark.parametrize("precision", ["single", "double", "auto"])
def test_counts_are_those_of_sliding_and_counting(cake, precision):
    """Every position, every item, whole numbers."""
    occupied, items = cake
    seen = Occupied(occupied, CPU, precision=precision)
    for item in items:
        assert (seen.counts(item) == by_hand(occupied, item)).all()


def test_counts_on_a_device_are_the_same_and_transforms_are_shared(cake):
    """The same lines run on foreign memory; the cake is sent once, a named item once."""
    occupied, items = cake
    brought = []
    seen = Occupied(occupied, device_arrays(brought))
    for _ in range(3):
        for number, item in enumerate(items):
            assert (seen.counts(item, key=number) == by_hand(occupied, item)).all()
            assert seen.lowest_free(item, key=number) == Occupied(occupied, CPU).lowest_free(item)
    assert sorted(brought) == sorted([occupied.shape, *(i.shape for i in items)])


def test_another_cake_is_looked_at_afresh(cake):
    """After `take` the counts are those of the new grid, and items need not be sent again."""
    occupied, items = cake
    brought = []
    seen = Occupied(occupied, device_arrays(brought))
    seen.counts(items[0], key="a")
    other = np.roll(occupied, 1, axis=0)
    seen.take(other)
    assert (seen.counts(items[0], key="a") == by_hand(other, items[0])).all()
    assert len(brought) == 3
    with pytest.raises(InputError, match="expected"):
        seen.take(other[1:])


def test_the_bit_packed_search_finds_the_same_place():
    """Rings and blocks half nested: for each part in each turn both searches name the same lowest free place."""
    meshes = {"ring": ring_mesh(12, 7, 3), "block": box_mesh(4, 6, 9)}
    pieces = [NestPiece(f"{k}{i}", k, 1) for k in meshes for i in range(6)]
    space = NestSpace(24, 20, 60)
    task = NestTask(meshes, pieces, dict.fromkeys(meshes, cube_rotations()), space, 0.0, 1.0)
    bank = make_bank(task, sorted(meshes))
    part = np.array([bank.keys.index(p.part_key) for p in pieces], np.int64)
    work = Workspace(bank)
    construct(work, part, np.arange(len(part))[::2])
    nx, ny, _ = bank.grid
    bits = np.unpackbits(work.taken.astype("<u8").view(np.uint8).reshape(nx, ny, -1), axis=2, bitorder="little")
    assert bits.any()
    for pose in range(len(bank.cells)):
        words = bank.bare[bank.bare_at[pose] : bank.bare_at[pose + 1]]
        ix, iy, iz = bank.cells[pose]
        item = np.unpackbits(words.astype("<u8").view(np.uint8).reshape(ix, iy, -1), axis=2, bitorder="little")
        reach = bank.last[pose] + bank.cells[pose]
        inside = np.ascontiguousarray(bits[: reach[0], : reach[1], : reach[2]])
        floor = np.zeros(len(bank.cells), np.int64)
        found = lowest_place(work.taken, bank.runs, bank.run_at, bank.last, bank.top_mm, bank.voxel_mm,
                             pose, pose + 1, floor, work.everywhere)  # fmt: skip
        assert Occupied(inside, CPU).lowest_free(np.ascontiguousarray(item[:, :, :iz])) == found[1:]


def test_a_full_cake_has_no_free_place_and_a_large_item_is_refused(cake):
    """None when nothing fits; an item larger than the space is an error that says so."""
    occupied, _ = cake
    assert Occupied(np.ones_like(occupied), CPU).lowest_free(np.ones((2, 2, 2), np.uint8)) is None
    with pytest.raises(InputError, match="15"):
        Occupied(occupied, CPU).counts(np.ones((15, 1, 1), np.uint8))


def test_double_is_used_when_single_could_round_wrongly():
    """Large cakes and large items are counted in double precision, small ones in single."""
    assert is_single_enough((60, 60, 100), 8000, 140_000)
    assert not is_single_enough((600, 600, 900), 8_000_000, 100_000_000)


def test_lengths_are_products_of_two_three_and_five():
    """The next good length, not more than needed."""
    assert [good_length(n) for n in (1, 7, 11, 17, 107, 200, 301)] == [1, 8, 12, 18, 108, 200, 320]


def test_picking_arrays(monkeypatch):
    """auto falls back to the CPU; gpu without one says what was looked for; a module with a GPU is taken."""

    def none():
        raise ImportError("not here")

    monkeypatch.setattr(correlate, "cupy_arrays", none)
    monkeypatch.setattr(correlate, "torch_arrays", none)
    assert pick_arrays("auto").name.startswith("cpu")
    with pytest.raises(InputError, match="not here"):
        pick_arrays("gpu")
    with pytest.raises(InputError, match="auto, cpu or gpu"):
        pick_arrays("tpu")
    monkeypatch.setattr(correlate, "torch_arrays", lambda: device_arrays([]))
    assert [pick_arrays(k).name for k in ("gpu", "auto")] == ["device", "device"]
    assert pick_arrays("cpu").name.startswith("cpu")


def test_numpy_alone_is_enough(cake, monkeypatch):
    """Without scipy the counts come from numpy's transforms and are the same."""
    occupied, items = cake
    real = correlate.importlib.import_module

    def without_scipy(name):
        if name.startswith("scipy"):
            raise ModuleNotFoundError(name)
        return real(name)

    monkeypatch.setattr(correlate.importlib, "import_module", without_scipy)
    plain = cpu_arrays()
    assert plain.name == "cpu (numpy)"
    for item in itertools.islice(items, 2):
        assert (Occupied(occupied, plain).counts(item) == by_hand(occupied, item)).all()
