"""The minimum reserve factor of a whole part, and its largest interlayer tension, without the fields.

A scan over many prints needs one number of each, not a field to draw. A phase need not be solved for where its stress
at the minimum reserve found so far is still inside its criteria: these are convex and hold zero. Most places are so
far inside that a bound on the size of their stress tells it at once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fem.judging.strength import exceeded, phase_reserve, tsai_wu_coefficients
from fem.judging.stress import StressField, ZoneStress
from fem.part.tetmesh import Index, TetMesh
from fem.printing.field import Phase, PrintedField, PrintedMaterial, Strength, WallBuckling, wall_axes
from fem.tensors import Array, stress_rotation

REPORTED_ALONE = ("hill",)
"""Criteria that are reported and never decide."""


@dataclass(frozen=True)
class LeastReserve:
    """`reserve` the least of the part (infinite: nothing grows towards failure) at `node`, by `mode` in the beads
    `phase` of `zone`; `away` the least outside places that a support or a load's edge makes.
    """

    reserve: float
    node: int
    mode: str
    zone: str
    phase: str
    away: float


def combined_stress(parts: Sequence[tuple[float, StressField]]) -> StressField:
    """The sum of stress fields of one mesh and material times their factors; its energy error is not known."""
    zones = []
    for zone in zip(*(field.zones for _, field in parts), strict=True):
        stress = sum(factor * z.stress for (factor, _), z in zip(parts, zone, strict=True))
        temperature_change = sum(factor * z.temperature_change for (factor, _), z in zip(parts, zone, strict=True))
        zones.append(
            ZoneStress(zone[0].nodes, np.asarray(stress), zone[0].turn, np.asarray(temperature_change), zone[0].way)
        )
    node = sum(factor * field.node for factor, field in parts)
    return StressField(tuple(zones), np.asarray(node), float("nan"))


def least_reserve(
    mesh: TetMesh,
    printed: PrintedField,
    *,
    permanent: StressField | None,
    growing: StressField,
    singular: NDArray[np.bool_] | None = None,
) -> LeastReserve:
    """The least of `judge_reserve` over all nodes; `singular` (n,) marks the nodes that `away` leaves out."""
    marked = np.zeros(len(mesh.nodes), dtype=bool) if singular is None else singular
    found = _Search(marked)
    for number, material in enumerate(printed.materials):
        grows = growing.zones[number]
        v = _own_axes(material, grows, grows.stress)
        p = np.zeros_like(v) if permanent is None else _own_axes(material, grows, permanent.zones[number].stress)
        warm = grows.temperature_change
        stays = np.zeros_like(warm) if permanent is None else permanent.zones[number].temperature_change
        warms = bool(warm.any() or stays.any())
        sizes = np.linalg.norm(p, axis=0), np.linalg.norm(v, axis=0)
        for phase in material.phases:
            # The bound on the stress knows nothing of what beads do to one another as they warm
            some = np.arange(len(warm)) if warms else found.near(grows.nodes, sizes, safe_size(phase))
            if len(some) == 0:
                continue
            fixed, rising = phase.to_bead @ p[:, some], phase.to_bead @ v[:, some]
            if warms:
                fixed = fixed + np.outer(phase.thermal_stress, stays[some])
                rising = rising + np.outer(phase.thermal_stress, warm[some])
            found.take(grows.nodes[some], fixed.T, rising.T, phase)
    return LeastReserve(found.least, found.node, found.mode, found.zone, found.phase, found.away)


class _Search:
    """The minimum reserve factors found so far, with and without marked nodes, and what the least belongs to."""

    def __init__(self, marked: NDArray[np.bool_]) -> None:
        self.marked = marked
        self.least = self.away = np.inf
        self.node, self.mode, self.zone, self.phase = 0, "none", "", ""

    def near(self, nodes: Index, sizes: tuple[Array, Array], safe: float) -> Index:
        """Which of the nodes (j,) can fail at all up to the reserve found so far, by the size of their stress."""
        at, bound = sizes[0], self._bound(nodes)
        with np.errstate(invalid="ignore"):
            full = at + np.where(sizes[1] > 0, bound * sizes[1], 0.0)
        return np.flatnonzero((full >= safe) | (at >= safe))

    def _bound(self, nodes: Index) -> Array:
        return np.where(self.marked[nodes], self.least, self.away)

    def take(self, nodes: Index, p: Array, v: Array, phase: Phase) -> None:
        """Take in one phase at nodes (j,) under permanent p (j, 6) and growing v (j, 6) [MPa] in bead axes."""
        bound = self._bound(nodes)
        known = np.isfinite(bound)
        worth = ~known | _fails(p, phase.strength)
        worth |= _fails(p + np.where(known, bound, 0.0)[:, None] * v, phase.strength)
        if not worth.any():
            return
        nodes = nodes[worth]
        found = phase_reserve(p[worth], v[worth], phase.strength)
        first = int(found.reserve.argmin())
        if found.reserve[first] < self.least:
            self.least, self.node = float(found.reserve[first]), int(nodes[first])
            self.mode, self.zone, self.phase = found.modes[found.mode[first]], phase.zone, phase.label
        real = found.reserve[~self.marked[nodes]]
        if len(real):
            self.away = min(self.away, float(real.min()))


def _fails(stress: Array, strength: Strength | WallBuckling) -> NDArray[np.bool_]:
    outside = [at for name, at in exceeded(stress, strength).items() if name not in REPORTED_ALONE]
    return np.asarray(np.any(outside, axis=0))


def safe_size(phase: Phase) -> float:
    """A size [MPa] of a zone's mean stress (the root of the sum of its six squares) below which no criterion that
    decides can be met in this phase.
    """
    turn, strength = phase.to_bead, phase.strength
    rows = np.linalg.norm(turn, axis=1)
    if isinstance(strength, WallBuckling):
        linear = rows[0] / strength.along + rows[2] / strength.up
        return _root((rows[4] / strength.shear) ** 2, linear)
    if strength.yield_stress is not None:
        # Von Mises is at most sqrt(3) times the root of the sum of the six squares (all of it one shear)
        return float(strength.yield_stress / (np.sqrt(3.0) * np.linalg.norm(turn, 2)))
    assert strength.tension is not None and strength.compression is not None and strength.shear is not None
    weakest = np.concatenate([np.minimum(strength.tension, strength.compression), strength.shear])
    linear, quadratic = tsai_wu_coefficients(strength)
    tsai_wu = _root(_largest(turn.T @ quadratic @ turn), float(np.linalg.norm(turn.T @ linear)))
    weight = np.diag(
        [0.0, 0.0, 1 / strength.tension[2] ** 2, 1 / strength.shear[0] ** 2, 1 / strength.shear[1] ** 2, 0.0]
    )
    interlayer = _root(_largest(turn.T @ weight @ turn), 0.0)
    return min(float((weakest / np.maximum(rows, 1e-300)).min()), tsai_wu, interlayer)


def _largest(form: Array) -> float:
    return float(max(np.linalg.eigvalsh((form + form.T) / 2).max(), 0.0))


def _root(square: float, linear: float) -> float:
    """The size s at which square s^2 + linear s = 1."""
    return float(2 / (linear + np.sqrt(linear**2 + 4 * square))) if square > 0 or linear > 0 else float("inf")


def largest_interlayer(printed: PrintedField, cases: Mapping[str, StressField]) -> tuple[float, str]:
    """The largest tension [MPa] up the build (stress 33 in print axes) in the beads of any zone, and its case.

    It is 0 with no case where layers are pressed together everywhere; metals have no layers.
    """
    most, where = 0.0, ""
    for name, field in cases.items():
        for material, zone in zip(printed.materials, field.zones, strict=True):
            if material.zone == "metal" or len(zone.nodes) == 0:
                continue
            own = _own_axes(material, zone, zone.stress)
            rows = [
                (p.to_bead[2], p.thermal_stress[2])
                for p in material.phases
                if not isinstance(p.strength, WallBuckling)
            ]
            # Rasters of one layer stack share what pulls them apart: equal rows are looked at once
            turn = np.unique(np.array([np.append(row, warm) for row, warm in rows]).round(12), axis=0)
            up = turn[:, :6] @ own + np.outer(turn[:, 6], zone.temperature_change)
            if up.size and up.max() > most:
                most, where = float(up.max()), name
    return most, where


def _own_axes(material: PrintedMaterial, here: ZoneStress, stress: Array) -> Array:
    """Stress (6, j) [MPa] of a zone in the axes its phases start from: a wall's own, part axes for the others."""
    if material.follows_outline:
        stress = np.einsum("nab,nb->na", stress_rotation(wall_axes(material, here.turn)), stress)
    return np.ascontiguousarray(stress.T)
