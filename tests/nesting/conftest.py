"""Tiny named worlds for nesting."""

import itertools

import numpy as np
import pytest

from cakewright.model.build import Placement
from cakewright.model.mesh import Mesh
from tests.conftest import box_mesh


def cube_rotations():
    """The 24 turns that map axes to axes."""
    out = []
    for axes in itertools.permutations(range(3)):
        for signs in itertools.product([1, -1], repeat=3):
            turn = np.zeros((3, 3))
            turn[range(3), axes] = signs
            if np.linalg.det(turn) > 0:
                out.append(turn)
    return np.array(out)


def joined(*meshes):
    """Several meshes as one part."""
    vertices, faces, at = [], [], 0
    for m in meshes:
        vertices.append(m.vertices)
        faces.append(m.faces + at)
        at += len(m.vertices)
    return Mesh(np.concatenate(vertices), np.concatenate(faces))


def turned_inside_out(mesh):
    """The same surface seen from the other side: the wall of a cavity."""
    return Mesh(mesh.vertices, mesh.faces[:, ::-1])


def cells_mesh(cells):
    """Unit cubes glued together: one closed surface, corners shared."""
    filled = {tuple(c) for c in cells}
    sides = []
    for axis, (u, v) in enumerate(((1, 2), (2, 0), (0, 1))):
        for end in (0, 1):
            corners = np.zeros((4, 3), int)
            corners[:, axis] = end
            corners[:, u], corners[:, v] = [0, 1, 1, 0], [0, 0, 1, 1]
            step = np.zeros(3, int)
            step[axis] = 2 * end - 1
            sides.append((step, corners if end else corners[::-1]))
    points, quads = [], []
    for cell in sorted(filled):
        for step, corners in sides:
            if tuple(np.add(cell, step)) not in filled:
                quads.append(range(len(points), len(points) + 4))
                points += [tuple(np.add(cell, c)) for c in corners]
    shared, number = np.unique(np.array(points, float), axis=0, return_inverse=True)
    number = number.reshape(-1)
    return Mesh(shared, np.array([[number[q[i]] for i in t] for q in quads for t in ((0, 1, 2), (0, 2, 3))]))


def ring_mesh(outer=30.0, inner=20.0, thick=4.0):
    """A square ring lying flat, centred on the origin."""
    o, i, h = outer / 2, inner / 2, thick / 2
    corners = [(-1, -1), (1, -1), (1, 1), (-1, 1)]
    v = [(x * r, y * r, z) for r in (o, i) for z in (-h, h) for x, y in corners]
    f = []
    for k in range(4):
        n = (k + 1) % 4
        f += [(k, n, 4 + n), (k, 4 + n, 4 + k)]  # outside
        f += [(8 + k, 12 + n, 8 + n), (8 + k, 12 + k, 12 + n)]  # inside
        f += [(4 + k, 4 + n, 12 + n), (4 + k, 12 + n, 12 + k)]  # top
        f += [(k, 8 + n, n), (k, 8 + k, 8 + n)]  # bottom
    return Mesh(np.array(v), np.array(f))


def place(piece, key, mesh, at, rotation=None, line=1):
    """A placement of `mesh` moved to `at`."""
    turn = np.eye(3) if rotation is None else rotation
    z = (mesh.vertices @ np.asarray(turn).T)[:, 2] + at[2]
    return Placement(piece, key, line, turn, np.array(at, float), float(z.min()), float(z.max()))


@pytest.fixture
def two_interlocked_rings():
    """Two links of a chain, 3 mm apart at the nearest: clear of each other, impossible to part."""
    ring = ring_mesh()
    upright = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])
    meshes = {"ring": ring}
    placements = [place("flat", "ring", ring, (20, 20, 20)), place("upright", "ring", ring, (32.5, 20, 20), upright)]
    return meshes, placements


@pytest.fixture
def cube_in_a_sealed_box():
    """A 10 mm cube floating in the cavity of a box: no triangle is near another, nothing can get out."""
    box = joined(box_mesh(40, 40, 40), turned_inside_out(box_mesh(30, 30, 30, at=(5, 5, 5))))
    cube = box_mesh(10, 10, 10)
    return {"box": box, "cube": cube}, [place("box", "box", box, (2, 2, 0)), place("cube", "cube", cube, (17, 17, 15))]
