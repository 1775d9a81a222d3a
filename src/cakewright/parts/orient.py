"""Ways to turn a part: those that are allowed, spread evenly."""

from __future__ import annotations

from itertools import permutations, product
from math import cos, radians

import numpy as np

from cakewright.model.mesh import FloatArray, Mesh
from cakewright.model.part import Freedom, OrientationRule
from cakewright.sources import parts as limits

SAME_TURN = 1e-6


def candidate_rotations(mesh: Mesh, rule: OrientationRule, seed: int, count: int = 24) -> FloatArray:
    """Rotations a part may take, (k, 3, 3), the identity first, at most `count` (at least one).

    FREE: the 24 turns that map axes to axes, then evenly random ones. ABOUT_Z: 4 quarter turns, then
    evenly spaced ones. UPRIGHT_CONE: tilts within the cone, evenly over its area, with turns about the
    vertical. FIXED: none. Turns that leave a box of equal edges alone are kept: the shape inside differs.
    All but FREE start from the part with the rule's `up` upwards.
    """
    if count < 1:
        raise ValueError(f"count is {count}, expected at least 1")
    found = _from_upright(rule, seed, count)
    return found if rule.freedom is Freedom.FREE else found @ upright(rule)


def upright(rule: OrientationRule) -> FloatArray:
    """The turn that brings the rule's `up` to +Z: none for the file's Z."""
    up = np.asarray(rule.up, dtype=np.float64)
    length = float(np.linalg.norm(up))
    if not np.isfinite(length) or length == 0:
        raise ValueError(f"up is {rule.up}, expected a direction")
    return np.eye(3) if rule.up == (0.0, 0.0, 1.0) else turn_onto(up / length)


def _from_upright(rule: OrientationRule, seed: int, count: int) -> FloatArray:
    match rule.freedom:
        case Freedom.FIXED:
            return np.eye(3)[None]
        case Freedom.ABOUT_Z:
            return about_z(count)
        case Freedom.UPRIGHT_CONE:
            return _in_cone(rule.cone_deg, count, seed)
        case Freedom.FREE:
            turns = axis_rotations()
            if count <= len(turns):
                return turns[:count]
            return np.concatenate([turns, random_rotations(count - len(turns), seed)])


def is_allowed(rotation: FloatArray, rule: OrientationRule, slack_deg: float = 0.01) -> bool:
    """True when the rotation keeps to the rule: what the check of a nest asks."""
    r = np.asarray(rotation) @ upright(rule).T
    match rule.freedom:
        case Freedom.FREE:
            return True
        case Freedom.FIXED:
            return bool((np.trace(r) - 1) / 2 >= cos(radians(slack_deg)))
        case Freedom.ABOUT_Z:
            return bool(r[2, 2] >= cos(radians(slack_deg)))
        case Freedom.UPRIGHT_CONE:
            return bool(r[2, 2] >= cos(radians(min(rule.cone_deg + slack_deg, 180.0))))


def axis_rotations() -> FloatArray:
    """The 24 proper rotations that map coordinate axes to coordinate axes, the identity first."""
    found = [np.eye(3)]
    for order in permutations(range(3)):
        for signs in product((1.0, -1.0), repeat=3):
            r = np.zeros((3, 3))
            r[range(3), order] = signs
            if np.linalg.det(r) > 0 and not np.array_equal(r, found[0]):
                found.append(r)
    return np.array(found)


def about_z(count: int) -> FloatArray:
    """`count` turns about the vertical: quarter turns first, then halves of the gaps between them."""
    angles: list[float] = []
    step = 4
    while len(angles) < count:
        angles += [k / step for k in range(step) if k / step not in angles]
        step *= 2
    return np.array([turn_z(2 * np.pi * part) for part in angles[:count]])


def turn_z(angle_rad: float) -> FloatArray:
    """Rotation about the vertical, exact for quarter turns."""
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    c, s = (0.0 if abs(c) < SAME_TURN else c), (0.0 if abs(s) < SAME_TURN else s)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def random_rotations(count: int, seed: int) -> FloatArray:
    """Evenly distributed rotations from normal quaternions (Shoemake 1992's density)."""
    q = np.random.default_rng(seed).normal(size=(count, 4))
    w, x, y, z = (q / np.linalg.norm(q, axis=1, keepdims=True)).T
    rows = [
        [1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)],
        [2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)],
        [2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)],
    ]
    return np.moveaxis(np.array(rows), -1, 0).copy()


def turn_onto(direction: FloatArray) -> FloatArray:
    """The shortest rotation that brings the unit vector `direction` (3,) to +Z."""
    d = np.asarray(direction, dtype=np.float64)
    if d[2] < -1 + 1e-12:
        return np.diag([1.0, -1.0, -1.0])
    v = np.array([d[1], -d[0], 0.0])
    k = np.array([[0, -v[2], v[1]], [v[2], 0, -v[0]], [-v[1], v[0], 0]])
    return np.asarray(np.eye(3) + k + k @ k / (1 + d[2]))


def _in_cone(cone_deg: float, count: int, seed: int) -> FloatArray:
    """The upright part in a few turns, then tilted ones: a spiral over the cap, turned at random."""
    turns = min(count, int(float(limits.CONE_TURNS)))
    upright = about_z(turns)
    rest = count - turns
    if rest == 0 or cone_deg <= 0:
        return upright
    golden = np.pi * (3 - np.sqrt(5))
    k = np.arange(rest) + 0.5
    z = 1 - (1 - cos(radians(cone_deg))) * k / rest
    flat = np.sqrt(1 - z * z)
    up = np.column_stack([flat * np.cos(golden * k), flat * np.sin(golden * k), z])
    spin = np.random.default_rng(seed).uniform(0, 2 * np.pi, rest)
    tilted = [turn_z(a) @ turn_onto(u) for a, u in zip(spin, up, strict=True)]
    return np.concatenate([upright, np.array(tilted)])
