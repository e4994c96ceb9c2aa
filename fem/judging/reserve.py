"""The reserve factor at every node: the least over the families of beads that lie there.

A case's stress is split into a permanent part, which stays, and a growing part; the reserve factor is the
number by which the growing part may be multiplied until the first criterion is met (strength.py).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from fem.judging.strength import exceeded, phase_reserve
from fem.judging.stress import StressField, ZoneStress
from fem.part.tetmesh import Index, TetMesh
from fem.printing.field import Phase, PrintedField, PrintedMaterial, wall_axes
from fem.tensors import Array, stress_rotation

T = TypeVar("T")


@dataclass(frozen=True)
class ReserveField:
    """At each node: `reserve` (n,), `mode` (n,) into `modes`, `phase` (n,) into `phases` (zone, label),
    `print_stress` (n, 6) [MPa] of the whole case in the axes of the beads that come nearest to failure;
    `criteria` the minimum reserve factor of each body by each criterion on its own, `by_zone` that of each zone.
    `used` (n,) marks the places that permanent loads alone use up, whose reserve is 0 and which do not count for any
    minimum, and `alone` is the field of these loads by themselves (None: there are no such places).
    """

    reserve: Array
    mode: Index
    modes: tuple[str, ...]
    phase: Index
    phases: tuple[tuple[str, str], ...]
    print_stress: Array
    criteria: dict[str, dict[str, float | None]]
    by_zone: dict[str, float]
    used: NDArray[np.bool_] | None = None
    alone: ReserveField | None = None

    @property
    def counted(self) -> Array:
        """The reserve (n,) of the places that count for the minimum; infinite where permanent loads use one up.

        Where they use up the whole part, all of it counts.
        """
        if self.used is None or self.used.all():
            return self.reserve
        return np.where(self.used, np.inf, self.reserve)


def judge_reserve(
    mesh: TetMesh,
    printed: PrintedField,
    *,
    permanent: StressField | None,
    growing: StressField,
    start: float = 0.0,
    whole: StressField | None = None,
) -> ReserveField:
    """Reserve factors of a case from the smoothed stress of its zones, permanent and growing.

    Every zone that comes near a node is judged there by its own beads; the least of all counts. Where the growing
    loads' first part, `start` times their size, is within `permanent`, the factors count on from there. `whole` is
    the stress that is shown, the sum of both unless given.
    """
    n = len(mesh.nodes)
    out = _Least(n)
    criteria: dict[str, dict[str, float | None]] = {}
    for number, material in enumerate(printed.materials):
        stay = None if permanent is None else permanent.zones[number].ways
        for k, here in enumerate(growing.zones[number].ways):
            body = mesh.bodies[mesh.node_body[here.nodes[0]]]
            show = None if whole is None else whole.zones[number].ways[k]
            _judge_zone(out, material, here, None if stay is None else stay[k], show, criteria.setdefault(body, {}))
    counted = {body: {k: None if v is None else start + v for k, v in own.items()} for body, own in criteria.items()}
    by_zone = {zone: start + value for zone, value in out.by_zone.items()}
    reserve = start + out.reserve
    return ReserveField(
        reserve, out.mode, tuple(out.modes), out.phase, tuple(out.phases), out.stress, counted, by_zone
    )


def _judge_zone(
    out: _Least,
    material: PrintedMaterial,
    here: ZoneStress,
    stay: ZoneStress | None,
    show: ZoneStress | None,
    least: dict[str, float | None],
) -> None:
    """Take in what one zone's phases bear under its growing stress `here` and the permanent one `stay`."""
    turned = stress_rotation(wall_axes(material, here.turn)) if material.follows_outline else None

    def own(zone: ZoneStress) -> Array:
        stress = zone.stress if turned is None else np.einsum("nab,nb->na", turned, zone.stress)
        # One component after the other in memory: there may be a hundred phases
        return np.ascontiguousarray(stress.T)

    zones = [zone for zone in (here, stay, show) if zone is not None]
    stresses = [own(zone) for zone in zones]
    for phase in material.phases:
        beads = [phase.to_bead @ stress for stress in stresses]
        if phase.thermal_stress.any():
            beads = [
                b + np.outer(phase.thermal_stress, z.temperature_change) for b, z in zip(beads, zones, strict=True)
            ]
        each = iter(beads)
        grows = next(each).T
        fixed = np.zeros_like(grows) if stay is None else next(each).T
        out.lower(here.nodes, fixed, grows, fixed + grows if show is None else next(each).T, phase, least)


class _Least:
    """The minimum reserve factor found so far at each node, and what it belongs to."""

    def __init__(self, n: int) -> None:
        self.reserve = np.full(n, np.inf)
        self.mode, self.phase = np.zeros(n, dtype=np.int32), np.zeros(n, dtype=np.int32)
        self.stress = np.zeros((n, 6))
        self.judged = np.zeros(n, dtype=bool)
        self.modes: list[str] = []
        self.phases: list[tuple[str, str]] = []
        self.by_zone: dict[str, float] = {}

    def lower(
        self, nodes: Index, p: Array, v: Array, shown: Array, phase: Phase, least: dict[str, float | None]
    ) -> None:
        """Take in one phase at `nodes` (j,) under permanent p (j, 6), growing v (j, 6) and the `shown` (j, 6) stress
        [MPa] in bead axes."""
        worth = self._worth(nodes, p, v, phase, least)
        before = self.by_zone.setdefault(phase.zone, np.inf)
        nodes, p, v, shown = nodes[worth], p[worth], v[worth], shown[worth]
        if len(nodes) == 0:
            return
        found = phase_reserve(p, v, phase.strength)
        self.by_zone[phase.zone] = min(before, float(found.reserve.min()))
        place = _place(self.phases, (phase.zone, phase.label))
        lookup = np.array([_place(self.modes, name) for name in found.modes], dtype=np.int32)
        # Where nothing grows (infinite) the first phase's stress is still worth showing
        take = (found.reserve < self.reserve[nodes]) | ~self.judged[nodes]
        at = nodes[take]
        self.reserve[at] = found.reserve[take]
        self.mode[at], self.phase[at] = lookup[found.mode[take]], place
        self.stress[at] = shown[take]
        self.judged[nodes] = True
        _note(least, found.criteria)

    def _worth(
        self, nodes: Index, p: Array, v: Array, phase: Phase, least: dict[str, float | None]
    ) -> NDArray[np.bool_]:
        """Where (j,) this phase may lower a node's reserve, its zone's least, or a criterion's of the whole body."""
        before = self.reserve[nodes]
        outside = exceeded(p, phase.strength)
        worth = ~np.isfinite(before) | ~self.judged[nodes]
        in_zone = self.by_zone.get(phase.zone, np.inf)
        if not np.isfinite(in_zone):
            worth[:] = True
            return worth
        at_zone = exceeded(p + in_zone * v, phase.strength)
        at_node = exceeded(p + np.where(np.isfinite(before), before, 0.0)[:, None] * v, phase.strength)
        for name, at_start in outside.items():
            worth |= at_node[name] | at_zone[name] | (at_start & ((before > 0) | (in_zone > 0)))
            value = least.get(name)
            if value is None or not np.isfinite(value):
                worth[:] = True
            else:
                worth |= exceeded(p + value * v, phase.strength)[name]
        return worth


def _place(names: list[T], name: T) -> int:
    if name not in names:
        names.append(name)
    return names.index(name)


def _note(least: dict[str, float | None], found: dict[str, Array | None]) -> None:
    for name, values in found.items():
        if values is None:
            least.setdefault(name, None)
            continue
        value = float(np.min(values)) if len(values) else np.inf
        before = least.get(name)
        least[name] = value if before is None else min(before, value)
