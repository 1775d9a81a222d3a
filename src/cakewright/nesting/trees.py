"""Trees of boxes over triangles, and the exact distance between two placed meshes.

Part of the independent check: nothing here is used by the search. The tree is built once per mesh;
for each placement only its boxes are computed anew, in chamber coordinates.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cakewright.compiled import kernel
from cakewright.model.mesh import FloatArray, IntArray, Mesh

_LEAF = 4


@dataclass(frozen=True, eq=False)
class Tree:
    """Order of triangles and nodes. `nodes` (k, 4): first, last triangle, left and right child (-1 in a leaf)."""

    faces: IntArray
    nodes: IntArray


@kernel
def _split(centres: FloatArray, order: IntArray, nodes: IntArray) -> int:
    """Halve along the longest side until a node holds few triangles; returns the number of nodes."""
    count = 1
    nodes[0, 0], nodes[0, 1], nodes[0, 2], nodes[0, 3] = 0, len(order), -1, -1
    stack = [0]
    while len(stack) > 0:
        node = stack.pop()
        first, last = nodes[node, 0], nodes[node, 1]
        if last - first <= _LEAF:
            continue
        spread = -1.0
        axis = 0
        for c in range(3):
            low = 1e300
            high = -1e300
            for t in range(first, last):
                v = centres[order[t], c]
                low = min(low, v)
                high = max(high, v)
            if high - low > spread:
                spread = high - low
                axis = c
        part = order[first:last].copy()
        values = np.empty(len(part))
        for t in range(len(part)):
            values[t] = centres[part[t], axis]
        rank = np.argsort(values)
        for t in range(len(part)):
            order[first + t] = part[rank[t]]
        middle = (first + last) // 2
        for child in range(2):
            nodes[count, 0] = first if child == 0 else middle
            nodes[count, 1] = middle if child == 0 else last
            nodes[count, 2] = nodes[count, 3] = -1
            nodes[node, 2 + child] = count
            stack.append(count)
            count += 1
    return count


def tree_of(mesh: Mesh) -> Tree:
    """Build the tree of a mesh."""
    centres = mesh.triangles.mean(axis=1)
    order = np.arange(len(mesh.faces), dtype=np.int32)
    nodes = np.zeros((2 * len(order) + 2, 4), np.int32)
    count = _split(centres, order, nodes)
    return Tree(np.ascontiguousarray(mesh.faces[order]), np.ascontiguousarray(nodes[:count]))


@kernel
def boxes_of(vertices: FloatArray, faces: IntArray, nodes: IntArray) -> FloatArray:
    """(k, 6) lowest and highest corner of each node; children come after their parent."""
    boxes = np.empty((len(nodes), 6))
    for n in range(len(nodes) - 1, -1, -1):
        for c in range(3):
            low = 1e300
            high = -1e300
            if nodes[n, 2] < 0:
                for t in range(nodes[n, 0], nodes[n, 1]):
                    for v in range(3):
                        x = vertices[faces[t, v], c]
                        low = min(low, x)
                        high = max(high, x)
            else:
                a, b = nodes[n, 2], nodes[n, 3]
                low = min(boxes[a, c], boxes[b, c])
                high = max(boxes[a, 3 + c], boxes[b, 3 + c])
            boxes[n, c] = low
            boxes[n, 3 + c] = high
    return boxes


@kernel
def _box_gap2(a: FloatArray, b: FloatArray) -> float:
    gap2 = 0.0
    for c in range(3):
        g = max(a[c] - b[3 + c], b[c] - a[3 + c])
        if g > 0:
            gap2 += g * g
    return gap2


@kernel
def _dot(a: FloatArray, b: FloatArray) -> float:
    return float(a[0] * b[0] + a[1] * b[1] + a[2] * b[2])


@kernel
def _edges2(p: FloatArray, d1: FloatArray, q: FloatArray, d2: FloatArray) -> float:
    """Squared distance of the segments p..p+d1 and q..q+d2 (Ericson, Real-Time Collision Detection, 2005, 5.1.9)."""
    r = p - q
    a, e, f = _dot(d1, d1), _dot(d2, d2), _dot(d2, r)
    if a <= 0.0 and e <= 0.0:
        return _dot(r, r)
    if a <= 0.0:
        s, t = 0.0, min(1.0, max(0.0, f / e))
    else:
        c = _dot(d1, r)
        if e <= 0.0:
            t, s = 0.0, min(1.0, max(0.0, -c / a))
        else:
            b = _dot(d1, d2)
            denominator = a * e - b * b
            s = min(1.0, max(0.0, (b * f - c * e) / denominator)) if denominator > 0.0 else 0.0
            t = (b * s + f) / e
            if t < 0.0:
                t, s = 0.0, min(1.0, max(0.0, -c / a))
            elif t > 1.0:
                t, s = 1.0, min(1.0, max(0.0, (b - c) / a))
    g = r + s * d1 - t * d2
    return _dot(g, g)


@kernel
def _face2(p: FloatArray, tri: FloatArray, n: FloatArray, nn: float) -> float:
    """Squared distance of a point to the plane of a triangle when it projects inside, else a large number."""
    for v in range(3):
        w = v + 1 if v < 2 else 0
        ex, ey, ez = tri[w, 0] - tri[v, 0], tri[w, 1] - tri[v, 1], tri[w, 2] - tri[v, 2]
        qx, qy, qz = p[0] - tri[v, 0], p[1] - tri[v, 1], p[2] - tri[v, 2]
        if (ey * qz - ez * qy) * n[0] + (ez * qx - ex * qz) * n[1] + (ex * qy - ey * qx) * n[2] < 0:
            return 1e300
    h = (p[0] - tri[0, 0]) * n[0] + (p[1] - tri[0, 1]) * n[1] + (p[2] - tri[0, 2]) * n[2]
    return float(h * h / nn)


@kernel
def _pierces(p: FloatArray, q: FloatArray, tri: FloatArray, n: FloatArray) -> bool:
    """True when the segment p..q crosses the triangle."""
    hp = (p[0] - tri[0, 0]) * n[0] + (p[1] - tri[0, 1]) * n[1] + (p[2] - tri[0, 2]) * n[2]
    hq = (q[0] - tri[0, 0]) * n[0] + (q[1] - tri[0, 1]) * n[1] + (q[2] - tri[0, 2]) * n[2]
    if (hp > 0) == (hq > 0) or hp == hq:
        return False
    x = p + (hp / (hp - hq)) * (q - p)
    return _face2(x, tri, n, 1.0) < 1e299


@kernel
def triangles_gap2(a: FloatArray, b: FloatArray) -> float:
    """Squared distance of two triangles (3, 3); 0 when they cross."""
    na = np.cross(a[1] - a[0], a[2] - a[0])
    nb = np.cross(b[1] - b[0], b[2] - b[0])
    naa, nbb = _dot(na, na), _dot(nb, nb)
    best = 1e300
    for i in range(3):
        ei = a[(i + 1) % 3] - a[i]
        for j in range(3):
            best = min(best, _edges2(a[i], ei, b[j], b[(j + 1) % 3] - b[j]))
    for v in range(3):
        if nbb > 0:
            best = min(best, _face2(a[v], b, nb, nbb))
            if _pierces(a[v], a[(v + 1) % 3], b, nb):
                return 0.0
        if naa > 0:
            best = min(best, _face2(b[v], a, na, naa))
            if _pierces(b[v], b[(v + 1) % 3], a, na):
                return 0.0
    return best


@kernel
def meshes_gap2(
    va: FloatArray,
    fa: IntArray,
    na: IntArray,
    ba: FloatArray,
    vb: FloatArray,
    fb: IntArray,
    nb: IntArray,
    bb: FloatArray,
    cut2: float,
) -> float:
    """Squared distance of two surfaces, exact when below `cut2`, else `cut2`."""
    best = cut2
    stack = [(0, 0)]
    ta = np.empty((3, 3))
    tb = np.empty((3, 3))
    box = np.empty(6)
    while len(stack) > 0:
        i, j = stack.pop()
        if _box_gap2(ba[i], bb[j]) >= best:
            continue
        if na[i, 2] < 0 and nb[j, 2] < 0:
            for s in range(na[i, 0], na[i, 1]):
                for v in range(3):
                    for c in range(3):
                        ta[v, c] = va[fa[s, v], c]
                for c in range(3):
                    box[c] = min(ta[0, c], ta[1, c], ta[2, c])
                    box[3 + c] = max(ta[0, c], ta[1, c], ta[2, c])
                if _box_gap2(box, bb[j]) >= best:
                    continue
                for t in range(nb[j, 0], nb[j, 1]):
                    gap2 = 0.0
                    for c in range(3):
                        x, y, z = vb[fb[t, 0], c], vb[fb[t, 1], c], vb[fb[t, 2], c]
                        tb[0, c], tb[1, c], tb[2, c] = x, y, z
                        g = max(box[c] - max(x, y, z), min(x, y, z) - box[3 + c])
                        if g > 0:
                            gap2 += g * g
                    if gap2 < best:
                        best = min(best, triangles_gap2(ta, tb))
                        if best <= 0.0:
                            return 0.0
            continue
        size_a = 0.0
        size_b = 0.0
        for c in range(3):
            size_a += ba[i, 3 + c] - ba[i, c]
            size_b += bb[j, 3 + c] - bb[j, c]
        if nb[j, 2] < 0 or (na[i, 2] >= 0 and size_a >= size_b):
            near, far = (na[i, 2], j), (na[i, 3], j)
        else:
            near, far = (i, nb[j, 2]), (i, nb[j, 3])
        if _box_gap2(ba[near[0]], bb[near[1]]) > _box_gap2(ba[far[0]], bb[far[1]]):
            near, far = far, near
        stack.append(far)
        stack.append(near)
    return best


@kernel
def winding(point: FloatArray, vertices: FloatArray, faces: IntArray) -> float:
    """How often the surface goes round a point, by solid angles (van Oosterom and Strackee 1983)."""
    total = 0.0
    for t in range(len(faces)):
        a = vertices[faces[t, 0]] - point
        b = vertices[faces[t, 1]] - point
        c = vertices[faces[t, 2]] - point
        la, lb, lc = np.sqrt(_dot(a, a)), np.sqrt(_dot(b, b)), np.sqrt(_dot(c, c))
        det = _dot(a, np.cross(b, c))
        total += np.arctan2(det, la * lb * lc + _dot(a, b) * lc + _dot(b, c) * la + _dot(c, a) * lb)
    return total / (2 * np.pi)
