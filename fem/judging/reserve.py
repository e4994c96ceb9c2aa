"""The reserve factor at every node: the least over the families of beads that lie there.

A case's stress is split into a permanent part, which stays, and a growing part; the reserve factor is the
number by which the growing part may be multiplied until the first criterion is met (fem/criteria).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from fem.criteria.strength import modes_of
from fem.criteria.zone import MeanStress, ZoneStrength, bead_stress, zone_reserve
from fem.judging.stress import StressField, ZoneStress
from fem.part.tetmesh import Index, TetMesh
from fem.printing.field import PrintedField, PrintedMaterial
from fem.tensors import Array, stress_rotation, turned_about_third

T = TypeVar("T")


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


@dataclass(frozen=True)
class InfillReserve:
    """One infill at its own `nodes` (j,): `reserve` (j,) of its first bead or wall, its `mode` (j,) into `modes`,
    `growing` (j, 6) [MPa, part axes] what grows, `failing` (j, 6) the whole stress when that reserve is used up.
    """

    nodes: Index
    reserve: Array
    mode: Index
    modes: list[str]
    growing: Array
    failing: Array


@dataclass(frozen=True)
class ReserveField:
    """At each node: `reserve` (n,), `mode` (n,) into `modes`, `phase` (n,) into `phases` (zone, label),
    `print_stress` (n, 6) [MPa] of the whole case in the axes of the beads that come nearest to failure;
    `criteria` the minimum reserve factor of each body by each criterion on its own, `by_zone` that of each zone.
    `used` (n,) marks the places that permanent loads alone use up, whose reserve is 0 and which do not count for any
    minimum, and `alone` is the field of these loads by themselves (None: there are no such places). `infill` tells of
    each infill by the number of its material.
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
    infill: Mapping[int, InfillReserve] = field(default_factory=dict)

    @property
    def counted(self) -> Array:
        """The reserve (n,) of the places that count for the minimum; infinite where permanent loads use one up.

        Where they use up the whole part, all of it counts.
        """
        if self.used is None or self.used.all():
            return self.reserve
        return np.where(self.used, np.inf, self.reserve)

    def least(self, singular: NDArray[np.bool_]) -> LeastReserve:
        """The least of all nodes; nodes (n,) marked `singular` do not count for `away`."""
        counted = self.counted
        node = int(counted.argmin())
        value, away = float(counted[node]), float(np.min(counted[~singular], initial=np.inf))
        zone, phase = self.phases[self.phase[node]]
        mode = self.modes[self.mode[node]] if value < np.inf else "none"
        return LeastReserve(value, node, mode, zone, phase, away)


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
    out, infill = _Least(len(mesh.nodes)), dict[int, InfillReserve]()
    for number, material in enumerate(printed.materials):
        here = growing.zones[number]
        if not len(here.nodes):
            continue
        body = mesh.bodies[mesh.node_body[here.nodes[0]]]
        stay = None if permanent is None else permanent.zones[number]
        found = out.take(material, body, here, stay, None if whole is None else whole.zones[number])
        if material.zone == "core":
            infill[number] = replace(found, reserve=start + found.reserve)
    criteria = {
        body: {k: None if v is None else start + v for k, v in own.items()} for body, own in out.criteria.items()
    }
    by_zone = {zone: start + value for zone, value in out.by_zone.items()}
    names = tuple(out.modes), out.phase, tuple(out.phases)
    return ReserveField(start + out.reserve, out.mode, *names, out.stress, criteria, by_zone, infill=infill)


def own_stress(material: PrintedMaterial, zone: ZoneStress) -> Array:
    """Stress (j, 6) [MPa] of a zone in the axes its phases start from: a wall's own, part axes for the others."""
    if not material.follows_outline:
        return np.ascontiguousarray(zone.stress)
    return turned_about_third(zone.stress @ stress_rotation(material.print_axes).T, zone.turn)


class _Least:
    """The minimum reserve factor found so far at each node, and what it belongs to."""

    def __init__(self, n: int) -> None:
        self.reserve = np.full(n, np.inf)
        self.mode, self.phase = np.zeros(n, dtype=np.int32), np.zeros(n, dtype=np.int32)
        self.stress = np.zeros((n, 6))
        self.judged = np.zeros(n, dtype=bool)
        self.modes: list[str] = []
        self.phases: list[tuple[str, str]] = []
        self.criteria: dict[str, dict[str, float | None]] = {}
        self.by_zone: dict[str, float] = {}

    def take(
        self,
        material: PrintedMaterial,
        body: str,
        here: ZoneStress,
        stay: ZoneStress | None,
        show: ZoneStress | None,
    ) -> InfillReserve:
        """Take in a zone of a body under its growing stress `here`, the permanent one `stay` and that to `show`; what
        comes back is the zone by itself.
        """
        phases = material.phases
        strength = ZoneStrength(
            np.array([p.to_bead for p in phases]),
            np.array([p.thermal_stress for p in phases]),
            [p.strength for p in phases],
        )
        grows = MeanStress(own_stress(material, here), here.temperature_change)
        fixed = MeanStress(np.zeros_like(grows.stress), np.zeros_like(grows.warming))
        if stay is not None:
            fixed = MeanStress(own_stress(material, stay), stay.temperature_change)
        shown = MeanStress(fixed.stress + grows.stress, fixed.warming + grows.warming)
        if show is not None:
            shown = MeanStress(own_stress(material, show), show.temperature_change)
        found = zone_reserve(strength, permanent=fixed, growing=grows)
        least = self.criteria.setdefault(body, {})
        for name, there in strength.criteria.items():
            value = found.minima[name] if there else None
            before = least.get(name)
            least[name] = value if before is None else before if value is None else min(before, value)
        zone = phases[0].zone
        self.by_zone[zone] = min(self.by_zone.get(zone, np.inf), float(found.reserve.min()))

        names = [_place(self.phases, (p.zone, p.label)) for p in phases]
        modes = [[_place(self.modes, mode) for mode in modes_of(p.strength)] for p in phases]
        table = np.array([own + own[-1:] * (max(map(len, modes)) - len(own)) for own in modes])
        stress = bead_stress(strength, shown, found.phase)
        # In a wall a node stands once for each way that walls run there
        for way in np.unique(here.way):
            mine = np.flatnonzero(here.way == way)
            nodes = here.nodes[mine]
            # Where nothing grows (infinite) the first phase's stress is still worth showing
            mine = mine[
                (found.reserve[mine] < self.reserve[nodes]) | np.isnan(found.reserve[mine]) | ~self.judged[nodes]
            ]
            self.judged[nodes] = True
            at = here.nodes[mine]
            self.reserve[at], self.stress[at] = found.reserve[mine], stress[mine]
            self.mode[at] = table[found.phase[mine], found.mode[mine]]
            self.phase[at] = np.array(names)[found.phase[mine]]
        finite = np.where(np.isfinite(found.reserve), found.reserve, 0.0)
        failing = fixed.stress + finite[:, None] * grows.stress
        return InfillReserve(
            here.nodes, found.reserve, table[found.phase, found.mode], self.modes, grows.stress, failing
        )


def _place(names: list[T], name: T) -> int:
    if name not in names:
        names.append(name)
    return names.index(name)
