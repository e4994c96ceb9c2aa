"""Quarters of rings and of plates with a hole, and the stress around a hole."""

import numpy as np
from helpers_fe import HIGH_Y, HIGH_Z, LOW_Y, LOW_Z, block, group

from fem.loading.supports import held_face


def ring(cells, inner, outer, height, *, grade=None):
    """A quarter of a ring around z: faces x- inner, x+ outer, y- at y = 0, y+ at x = 0. Radii (2,) make ellipses."""
    (a, b), (c, d) = np.broadcast_to(inner, 2), np.broadcast_to(outer, 2)

    def bend(p):
        s, angle = p[:, 0], p[:, 1] * np.pi / 2
        return np.stack(
            [(a + (c - a) * s) * np.cos(angle), (b + (d - b) * s) * np.sin(angle), height * p[:, 2]], axis=1
        )

    return block(cells, bend=bend, grade=grade)


def mirrored(mesh):
    """The two cut planes of a quarter, held square to themselves."""
    return [
        held_face(mesh, group(mesh, LOW_Y), fixed="normal", name="cut y"),
        held_face(mesh, group(mesh, HIGH_Y), fixed="normal", name="cut x"),
    ]


def flat(mesh):
    """Bottom and top held along z: plane strain."""
    return [held_face(mesh, group(mesh, LOW_Z, HIGH_Z), fixed=("z",), name="flat")]


def growing(ratio):
    """Grid positions from 0 to 1 whose last step is about `ratio` times the first."""
    return lambda s: s if ratio == 1 else (ratio**s - 1) / (ratio - 1)


def kirsch(x, y):
    """Stress (3,): xx, yy, xy around a hole of radius one under unit tension along x.

    Source: G. Kirsch (1898), as in S. P. Timoshenko and J. N. Goodier, section 35.
    """
    r, t = np.hypot(x, y), np.arctan2(y, x)
    q, f = r**-2, r**-4
    return (
        1 - q * (1.5 * np.cos(2 * t) + np.cos(4 * t)) + 1.5 * f * np.cos(4 * t),
        -q * (0.5 * np.cos(2 * t) - np.cos(4 * t)) - 1.5 * f * np.cos(4 * t),
        -q * (0.5 * np.sin(2 * t) + np.sin(4 * t)) + 1.5 * f * np.sin(4 * t),
    )
