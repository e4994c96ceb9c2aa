"""Limit analysis of a periodic cell: how much mean stress it bears when all its beads may yield.

By the theorems of limit analysis (W. Prager and P. G. Hodge, Theory of Perfectly Plastic Solids (1951)) a load is
borne if some stress that balances it stays within the strength everywhere, and is not borne if some motion takes up
less work than the load does. Both are looked for together, by alternating projections (Douglas and Rachford; J.
Eckstein and D. P. Bertsekas, Math. Program. 55 (1992) 293): onto the stresses that balance, which is an elastic cell
of one made-up stiffness, and onto those that beads bear, point by point. Elastic constants take no part in it.

The stress is that at the eight integration points of each hexahedron (layer by layer where walls cross), and balances
as the cell's own elements do: both bounds are strict for this mesh; how far the mesh itself is off is told by a
second one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fem.cores import even_ranges, shared, workers
from fem.criteria.reserve import utilisation
from fem.criteria.strength import Strength
from fem.printing.infill.hexahedra import point_strains
from fem.printing.infill.homogenise import Balance, balance
from fem.printing.infill.mesh import CellMesh, Index
from fem.printing.infill.yielding import YieldSet, yield_set
from fem.tensors import Array, turned_about_third

GAP = 0.03
"""The search ends when the two bounds are this near to each other, relative to the lower one."""
MOST_STEPS = 300
LOOK = 20
"""Steps between two looks at the bounds."""
PUSH = 0.3
"""How far each projection lets the load run ahead at first, in loads of first yield of the made-up elastic cell."""
LAST_CHANGE = 200
"""After so many steps that distance stays, so that the search settles."""


@dataclass(frozen=True)
class LimitLoads:
    """The factor by which each of d mean stresses may be multiplied lies between `lower` (d,) and `upper` (d,);
    `steps` were taken.
    """

    lower: Array
    upper: Array
    steps: int

    @property
    def gap(self) -> Array:
        """How far the bounds are apart (d,), relative to the lower."""
        return np.asarray(self.upper / self.lower - 1)


@dataclass(frozen=True)
class CellPoints:
    """A cell's integration points and their layers, and the made-up elastic cell in scaled components.

    `weight` (n, q) [mm^3], q = 8, or 4 where nothing changes up the build; `cosine`, `sine` (m,) of each layer's bead
    and `first` (q n + 1,) where a point's layers begin; `moved` (n, 6 q, 24) strain of the corners' motion and `bent`
    (n, 6 q, k) the incompatible modes, both times the root of the weight, the modes orthonormal; `force` (size, 6)
    what six even stresses pull at the nodes with, `mean` (size, 6) the repeating motion of six mean strains, and
    `whole` (6, 6) the mean stress that goes with them.
    """

    sets: YieldSet
    weight: Array
    cosine: Array
    sine: Array
    first: Index
    moved: Array
    bent: Array
    equations: Balance
    force: Array
    mean: Array
    whole: Array
    volume: float


def cell_points(mesh: CellMesh, *, strength: Strength) -> CellPoints:
    """Set up the equations once for all loads."""
    sets = yield_set(strength)
    strain, weight = point_strains(mesh.corners)
    n, q, modes = len(weight), 8, 33
    if mesh.prismatic:  # nothing changes up the build: the upper four points repeat the lower, and nothing bends so
        strain, weight, q, modes = strain[:, :4], 2 * weight[:, :4], 4, 30
    flat = (strain * np.sqrt(weight)[:, :, None, None] * sets.scale[:, None])[..., :modes].reshape(n, 6 * q, modes)
    bent = np.linalg.qr(flat[:, :, 24:])[0]
    moved = flat[:, :, :24] - bent @ (np.swapaxes(bent, 1, 2) @ flat[:, :, :24])
    equations = balance(mesh, np.swapaxes(moved, 1, 2) @ moved)
    even = np.broadcast_to(np.eye(6), (n, q, 6, 6)) * np.sqrt(weight)[:, :, None, None]
    force = np.swapaxes(moved, 1, 2) @ even.reshape(n, 6 * q, 6)
    pulls = equations.gather(force)
    mean = -equations.solve(pulls)
    whole = np.eye(6) * weight.sum() + pulls.T @ mean
    angle, count = _angles(mesh, q)
    first = np.concatenate([[0], np.cumsum(np.repeat(count, q))])
    turn = np.radians(angle)
    return CellPoints(
        sets,
        weight,
        np.cos(turn),
        np.sin(turn),
        first.astype(np.intp),
        moved,
        bent,
        equations,
        pulls,
        mean,
        (whole + whole.T) / 2 / mesh.volume,
        mesh.volume,
    )


def _angles(mesh: CellMesh, points: int) -> tuple[Array, Index]:
    """Bead angle (m,) [degrees] of every layer at each of so many integration points, and how many (n,) of them a
    hexahedron has.
    """
    if mesh.angle is not None:
        return np.repeat(mesh.angle, points), np.ones(len(mesh.corners), dtype=np.intp)
    own = [mesh.families[f].angles for f in mesh.family]
    return np.concatenate([np.tile(a, points) for a in own]), np.array([len(a) for a in own], dtype=np.intp)


@dataclass
class _Search:
    """Where the alternating projections are, for the loads (d,) of numbers `which` that are not settled yet."""

    which: Index
    asked: Array
    push: Array
    mean: Array
    told: Array
    pull: Array
    parts: Array

    def keep(self, some: NDArray[np.bool_]) -> None:
        """Go on with some of the loads."""
        self.which, self.asked, self.push = self.which[some], self.asked[:, some], self.push[some]
        self.mean, self.told, self.pull = (
            np.ascontiguousarray(a[..., some]) for a in (self.mean, self.told, self.pull)
        )
        self.parts = np.ascontiguousarray(self.parts[:, some])

    def even(self, p: CellPoints, stress: Array, pull: Array) -> None:
        """Change the push so that stress and multipliers, which were `stress` and `pull`, settle alike."""
        now = self.told + self.pull
        change = _evened(now - stress, self.pull - pull, now, self.pull)
        self.push = self.push * change
        self.told += self.pull * (1 - change)
        self.pull *= change
        self.parts *= change[:, None, None]
        self.mean = _at_points(p, self.told)


def limit_loads(points: CellPoints, loads: Array, *, strength: Strength, gap: float = GAP) -> LimitLoads:
    """By which factor mean stresses `loads` (d, 6) [MPa, cell axes] may be multiplied until the cell collapses."""
    from fem.printing.infill import yield_kernels

    p, (n, q), m, d = points, points.weight.shape, len(points.cosine), len(loads)
    asked = loads.T / p.sets.scale[:, None]
    size = (asked * np.linalg.solve(p.whole, asked)).sum(axis=0)
    none = np.zeros((n, q, 6, d)), np.zeros((m, 6, d)), np.zeros((m, 6, d)), np.zeros((m, d, 3, 6))
    elastic, _ = _balanced(p, none[0], asked, size)
    push = PUSH * size / _largest_use(_layers(p, elastic, none[1]), p, strength)
    at = _Search(np.arange(d), asked, push, *none)
    lower, upper = np.zeros(d), np.full(d, np.inf)
    beads, ranges = (p.sets.row, p.cosine, p.sine, p.first), even_ranges(n, pieces=4 * workers())
    step = 0
    for step in range(1, MOST_STEPS + 1):
        grown, factor = _balanced(p, at.mean, at.asked, at.push)
        look = step % LOOK == 0 or step == MOST_STEPS
        if not look:
            shared(yield_kernels.split, ranges, *beads, grown, at.mean, at.told, at.pull, at.parts)
            continue
        borne = factor / _largest_use(_layers(p, at.mean + grown, at.told), p, strength)
        before = at.told + at.pull, at.pull.copy()
        shared(yield_kernels.split, ranges, *beads, grown, at.mean, at.told, at.pull, at.parts)
        work = np.zeros((len(ranges), len(at.which)))
        numbered = [(k, *r) for k, r in enumerate(ranges)]
        for k, first, last in numbered:
            yield_kernels.bound(*beads, p.weight, grown, at.pull, at.told, at.parts, work[k], first, last)
        lower[at.which] = np.maximum(lower[at.which], borne)
        upper[at.which] = np.minimum(upper[at.which], work.sum(axis=0) / p.volume / at.push)
        if step <= LAST_CHANGE:
            at.even(p, *before)
        left = upper[at.which] > (1 + gap) * lower[at.which]
        if not left.any():
            break
        if not left.all():
            at.keep(left)
    return LimitLoads(lower, upper, step)


def _balanced(p: CellPoints, mean: Array, asked: Array, push: Array) -> tuple[Array, Array]:
    """What takes the stress `mean` (n, q, 6, d) to the nearest one that balances some factor (d,) of the load
    `asked` (6, d), where the load's work on the cell's mean strain is `push` (d,); and that factor.
    """
    n, q, _, d = mean.shape
    soft = np.linalg.solve(p.whole, asked)
    root = np.sqrt(p.weight)[:, :, None, None]
    flat = (mean * root).reshape(n, 6 * q, d)
    grown = -(p.bent @ (np.swapaxes(p.bent, 1, 2) @ flat))
    load = p.equations.gather(np.swapaxes(p.moved, 1, 2) @ flat)
    u = -p.equations.solve(load)
    alone = np.einsum("nqad,nq->ad", mean, p.weight) + p.force.T @ u
    alone /= p.volume
    factor = (push + (soft * alone).sum(axis=0)) / (asked * soft).sum(axis=0)
    strain = np.linalg.solve(p.whole, factor * asked - alone)
    grown += p.moved @ (u + p.mean @ strain)[p.equations.unknowns]
    return np.asarray(grown.reshape(n, q, 6, d) / root + strain), factor


def _layers(p: CellPoints, stress: Array, told: Array) -> Array:
    """Stress (m, 6, d) of each layer, print axes: what they share, and in the plane what each has by itself."""
    count = np.diff(p.first)
    point = np.repeat(np.arange(len(count)), count)
    out = stress.reshape(len(count), 6, -1)[point]
    if len(point) > len(count):
        own = told - (np.add.reduceat(told, p.first[:-1], axis=0) / count[:, None, None])[point]
        own[:, 2:5] = 0.0
        out = out + own
    return out


def _evened(moved: Array, changed: Array, stress: Array, pull: Array) -> Array:
    """By which factor (d,) the push should change so that stress and multipliers settle alike (B. Wohlberg, ADMM
    penalty parameter selection by residual balancing, arXiv 1704.06209 (2017)).
    """
    size = [np.sqrt((a**2).sum(axis=(0, 1))) + 1e-300 for a in (moved, changed, stress, pull)]
    return np.asarray(np.clip(np.sqrt((size[0] / size[3]) / (size[1] / size[2])), 0.2, 5.0))


def _at_points(p: CellPoints, layers: Array) -> Array:
    """Mean over the layers (m, 6, d) at each integration point (n, q, 6, d)."""
    if len(layers) > len(p.first) - 1:
        layers = np.add.reduceat(layers, p.first[:-1], axis=0) / np.diff(p.first)[:, None, None]
    return np.array(layers.reshape(*p.weight.shape, 6, -1))


def _largest_use(layers: Array, p: CellPoints, strength: Strength) -> Array:
    """The largest share (d,) of its strength that any layer uses up."""
    c, s, scale = p.cosine[:, None], p.sine[:, None], p.sets.scale
    used = np.empty(layers.shape[2])
    for k in range(layers.shape[2]):
        x = layers[:, :, k] * scale
        used[k] = utilisation(turned_about_third(x, np.arctan2(s, c)[:, 0]), strength).max()
    return used
