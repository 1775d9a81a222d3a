"""Layers and heat at full size, beside independent references. Run: python benchmarks/physics.py

Columns: value, baseline in the same run, ratio. Seconds are those of the processor (all threads), so a busy
machine does not blur them; with two free cores the three cases take about half. The finite-element reference
needs scikit-fem, which is no dependency of cakewright; without it that row says so. To have it for one run:

    python -m pip install --no-deps --target /tmp/fem scikit-fem
    PYTHONPATH=/tmp/fem python benchmarks/physics.py
"""

from __future__ import annotations

import resource
import time
from types import SimpleNamespace

import numpy as np

from cakewright.app.heat_build import heat_build
from cakewright.model.build import Nest, Placement
from cakewright.model.cell import ChamberType, Machine, Material
from cakewright.model.mesh import Mesh
from cakewright.physics import series
from cakewright.physics.buildtime import print_time
from cakewright.physics.cake import Cake, HeatModel, growth
from cakewright.physics.conduction import Block, Face, Faces
from cakewright.physics.grid import CakeGrid, solid_grid
from cakewright.physics.layers import layer_profile
from cakewright.physics.matter import plain_matter
from cakewright.physics.opening import cool_build

SEED = 1
POWDER = Material("test-12", 0.95, 0.45, 170.0, 50.0, 0.10, 2400.0, 60.0, 100.0, 100.0, 0.05, 0.7)
CHAMBER = ChamberType("big", 340.0, 340.0, 600.0, 5.0, 10.0, 5.0, 10.0, 30)
MACHINE = Machine(
    "M1", "test-12", "big", 0.12, 120.0, 12.0, 20.0, 0.25, 4000.0, 2000.0, 0.05, 20.0, 15, 15, 120, 15.0, 0.1, 1.0
)
ROOM_C = 25.0


def ball(radius: float, rings: int = 48) -> Mesh:
    """A closed sphere of about 2 x rings² triangles."""
    up, around = np.linspace(0, np.pi, rings + 1)[1:-1], np.linspace(0, 2 * np.pi, rings, endpoint=False)
    u, a = np.meshgrid(up, around, indexing="ij")
    body = np.stack([np.sin(u) * np.cos(a), np.sin(u) * np.sin(a), np.cos(u)], axis=-1).reshape(-1, 3)
    points = np.vstack([[0, 0, 1], body, [0, 0, -1]]) * radius + radius
    at = lambda i, j: 1 + i * rings + j % rings  # noqa: E731
    faces = [(0, at(0, j), at(0, j + 1)) for j in range(rings)]
    for i in range(rings - 2):
        for j in range(rings):
            faces += [(at(i, j), at(i + 1, j), at(i + 1, j + 1)), (at(i, j), at(i + 1, j + 1), at(i, j + 1))]
    faces += [(len(points) - 1, at(rings - 2, j + 1), at(rings - 2, j)) for j in range(rings)]
    return Mesh(points, np.array(faces))


def scattered(n: int, base: tuple[float, float], height: float, radius: float) -> list[Placement]:
    """Pieces anywhere (they may overlap: heat does not mind)."""
    rng, out = np.random.default_rng(SEED), []
    for i in range(n):
        x, y, z = (float(rng.uniform(0, side - 2 * radius)) for side in (*base, height))
        out.append(Placement(f"P{i}", "ball", 1, np.eye(3), np.array([x, y, z]), z, z + 2 * radius))
    return out


def timed(work):
    begin = time.process_time()
    result = work()
    return result, time.process_time() - begin


def row(what: str, value: str, baseline: str, ratio: str) -> None:
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{what:52s} {value:>16s} {baseline:>22s} {ratio:>9s} {peak:7.0f} MB", flush=True)


def layers() -> None:
    mesh = ball(15.0)
    pieces = scattered(300, (340.0, 340.0), 550.0, 15.0)
    layer_profile({"ball": mesh}, pieces[:1], 0.12, 585.0)  # compile
    profile, seconds = timed(lambda: layer_profile({"ball": mesh}, pieces, 0.12, 585.0))
    exact = (
        300
        * float(np.einsum("ij,ij->i", mesh.triangles[:, 0], np.cross(*mesh.triangles[:, 1:].swapaxes(0, 1))).sum())
        / 6
    )
    row(f"{profile.layers} layers, 300 pieces, {300 * len(mesh.faces) // 1000} k triangles", f"{seconds:.2f} s",
        f"volume {exact / 1e6:.4f} l", f"{profile.volume_mm3 / exact:.6f}")  # fmt: skip


def full_cake() -> None:
    mesh, pieces, base, high = ball(15.0), scattered(300, (340.0, 340.0), 550.0, 15.0), (340.0, 340.0), 585.0
    profile = layer_profile({"ball": mesh}, pieces, 0.12, high)
    t = print_time(profile, MACHINE, extra_layers_mm=15.0)
    solid = solid_grid({"ball": mesh}, pieces, CakeGrid.over(base, 600.0, 10.0, 8.0))
    start = (solid, growth(profile, t, 10.0, 5.0), POWDER, CHAMBER, ROOM_C, HeatModel())
    one = Cake(*start)
    one.run()  # compile
    history, seconds = timed(Cake(*start).run)
    row("340 x 340 x 600 mm, 8 mm cells, print and cooling", f"{seconds:.2f} s", "aim 10 s", f"{seconds / 10:.2f}")
    row("   energy balance", f"{history.heat_error:+.2e}", "aim 1e-3", f"{abs(history.heat_error) / 1e-3:.2f}")
    args = {"base_mm": base, "base_powder_mm": 10.0, "cover_powder_mm": 5.0, "material": POWDER}
    args |= {"chamber_type": CHAMBER, "room_c": ROOM_C}
    heat, seconds = timed(lambda: cool_build({"ball": mesh}, pieces, profile, t, **args))
    hours = " / ".join(f"{s / 3600:.1f}" for s in heat.cooling.opening_s)
    row("   early, likely, late together, opens in hours", f"{seconds:.2f} s", hours, f"{seconds / 10:.2f}")
    nest = Nest(tuple(pieces), (), base, high, 0.0, 3.0, 2.0, SEED)
    rates = SimpleNamespace(currency="EUR")
    cell = SimpleNamespace(chamber_type=lambda _: CHAMBER, material=lambda _: POWDER, room_c=ROOM_C, rates=rates)
    clock = time.perf_counter()
    (_, kept), seconds = timed(lambda: heat_build({"ball": mesh}, nest, profile, t, MACHINE, cell))
    clock = time.perf_counter() - clock
    row(
        "   all that a plan asks: doubts, moves, left inside",
        f"{seconds:.2f} s",
        f"clock {clock:.2f} s",
        f"{clock / 10:.2f}",
    )
    row("   doubts told", f"{len(kept.findings)}", "", "")


def demo_cake() -> None:
    mesh, base, high = ball(10.0), (190.0, 240.0), 305.0
    pieces = scattered(150, base, 280.0, 10.0)
    profile = layer_profile({"ball": mesh}, pieces, 0.12, high)
    t = print_time(profile, MACHINE, extra_layers_mm=15.0)
    args = {"base_mm": base, "base_powder_mm": 10.0, "cover_powder_mm": 5.0, "material": POWDER,
            "chamber_type": CHAMBER, "room_c": ROOM_C}  # fmt: skip
    heat, seconds = timed(lambda: cool_build({"ball": mesh}, pieces, profile, t, **args))
    fine, longer = timed(lambda: cool_build({"ball": mesh}, pieces, profile, t, **args, model=HeatModel(grid_mm=4.0)))
    a, b = heat.cooling.opening_s[1] / 3600, fine.cooling.opening_s[1] / 3600
    row("190 x 240 x 320 mm, 8 mm cells, three cases", f"{seconds:.2f} s", f"4 mm cells {longer:.1f} s", "")
    row("   opening, 8 mm cells against 4 mm", f"{a:.3f} h", f"{b:.3f} h", f"{a / b:.4f}")


def finite_elements() -> None:
    """A 120 mm cube with a plastic core cooling through unequal faces: cells against quadratic finite elements."""
    try:
        from skfem import Basis, BilinearForm, ElementHex2, FacetBasis, LinearForm, MeshHex
    except ImportError:
        row("finite elements", "not run", "scikit-fem missing", "")
        return
    from scipy.sparse.linalg import splu

    def in_core(x):
        return np.all(np.abs(x - 0.06) < 0.02, axis=0)

    mesh = MeshHex.init_tensor(*(np.linspace(0, 0.12, 13),) * 3)
    basis = Basis(mesh, ElementHex2(), intorder=4)
    k = BilinearForm(lambda u, v, w: (0.1 + 0.1 * in_core(w.x)) * sum(u.grad[i] * v.grad[i] for i in range(3)))
    c = BilinearForm(lambda u, v, w: (450 + 500 * in_core(w.x)) * 2400 * u * v)
    top = mesh.facets_satisfying(lambda x: np.isclose(x[2], 0.12))
    rest = np.setdiff1d(mesh.boundary_facets(), top)
    stiff, load = k.assemble(basis), np.zeros(basis.N)
    for facets, h, outside in ((top, 50.0, 90.0), (rest, 10.0, 25.0)):
        fb = FacetBasis(mesh, ElementHex2(), facets=facets, intorder=4)
        stiff = stiff + BilinearForm(lambda u, v, w, h=h: h * u * v).assemble(fb)
        load = load + LinearForm(lambda v, w, q=h * outside: q * v).assemble(fb)
    mass, dt, steps = c.assemble(basis), 100.0, 108
    solve = splu((mass + dt / 2 * stiff).tocsc()).solve
    start = time.process_time()
    u = np.full(basis.N, 170.0)
    for _ in range(steps):
        u = u + solve(dt * (load - stiff @ u))
    seconds = time.process_time() - start
    spots = np.array([[0.06, 0.06, 0.06], [0.09, 0.06, 0.06], [0.06, 0.06, 0.10], [0.03, 0.03, 0.03]]).T
    reference = basis.probes(spots) @ u

    def cells(n):
        at = (np.arange(n) + 0.5) * 0.12 / n
        z, y, x = np.meshgrid(at, at, at, indexing="ij")
        solid = in_core(np.array([x, y, z])).astype(float)
        block = Block(solid, (0.12 / n,) * 3, plain_matter((450 * 2400.0, 950 * 2400.0), (0.1, 0.2)), 170.0)
        block.grow(n, 170.0)
        side = Face(10.0, 25.0)
        for i in range(steps):
            block.step(dt, Faces.around(side, side, Face(50.0, 90.0)), implicit=1.0 if i < 2 else 0.5)
        from scipy.interpolate import RegularGridInterpolator

        return RegularGridInterpolator((at, at, at), block.temperature_c, method="cubic")(spots.T[:, ::-1])

    for n in (15, 24, 30, 60):
        found, own = timed(lambda n=n: cells(n))
        gap = float(np.abs(found - reference).max())
        row(
            f"cells of {120 / n:.0f} mm against finite elements, 3 h",
            f"{gap:.3f} °C",
            "aim 0.5 °C",
            f"{own / seconds:.3f}",
        )


def closed_form() -> None:
    block = Block(np.zeros((40, 40, 40)), (0.0075,) * 3, plain_matter((1.08e6, 2.28e6), (0.1, 0.2)), 170.0)
    block.grow(40, 170.0)
    face = Face(10.0, 25.0)
    _, seconds = timed(lambda: [block.step(600, Faces.around(face, face, face)) for _ in range(72)])
    theta = series.box(
        (0.3,) * 3, 43_200.0, conductivity_w_mk=0.1, diffusivity_m2s=0.1 / 1.08e6, surface_w_m2k=10.0, at=(0.025,) * 3
    )
    found, exact = float(block.temperature_c[20, 20, 20]), 25 + 145 * float(theta)
    row(
        "0.3 m cube, 7.5 mm cells, 12 h, beside the centre",
        f"{found:.3f} °C",
        f"series {exact:.3f} °C",
        f"{seconds:.2f} s",
    )


if __name__ == "__main__":
    print(f"seed {SEED}")
    for part in (layers, closed_form, demo_cake, full_cake, finite_elements):
        part()
