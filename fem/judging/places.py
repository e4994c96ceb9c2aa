"""The places where a case may fail, with the stress of each part of its load: what chance is judged on.

Stress is linear in the loads, so a sample of other loads needs no solve: it is a sum of these. How it changes with
the stiffness of a body stands beside it, to the first order.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from fem.criteria.strength import Strength, WallBuckling
from fem.judging.recovered import RecoveredStress, factors_of
from fem.judging.reserve import ReserveField
from fem.judging.stress import StressField, UnitStress, ZoneStress
from fem.loading.case import LoadCase
from fem.part.tetmesh import Index, TetMesh
from fem.printing.field import PrintedMaterial, wall_axes
from fem.tensors import Array, stress_rotation

MOST_NODES = 60
"""So many nodes of a case are looked at, those that may come nearest to failure first."""
OF_EACH_ZONE = 15
"""So many of them at least in each zone: beads may yet say that another zone decides."""
FAR_OFF = 3.0
"""Loads are taken to be off by so many standard deviations when these nodes are chosen."""


@dataclass(frozen=True)
class LoadPart:
    """A part of a case's load: the load `name` by its factor, or ("") all that do not scatter; `scatter` its
    coefficient of variation, `permanent` whether it stays while the others grow.
    """

    name: str
    scatter: float
    permanent: bool

    def __post_init__(self) -> None:
        if not 0 <= self.scatter < 1:
            raise ValueError(f"a scatter of {self.scatter} lies outside 0 to 1")


@dataclass(frozen=True)
class BeadFamily:
    """Beads of one family in a `zone` of a `body`, at the places of j nodes: `stress` (k, j, 6) [MPa] in bead axes by
    each part of the load, and `change` (k, j, 6) [MPa] of it for a unit change of the factor on the body's stiffness.
    """

    body: str
    zone: str
    nodes: Index
    strength: Strength | WallBuckling
    stress: Array
    change: Array

    def __post_init__(self) -> None:
        if self.stress.shape != self.change.shape or self.stress.shape[1:] != (len(self.nodes), 6):
            raise ValueError(f"stress {self.stress.shape} and change {self.change.shape} of {len(self.nodes)} places")

    def at(self, some: Index) -> BeadFamily:
        """Only some (i,) of the places."""
        return replace(self, nodes=self.nodes[some], stress=self.stress[:, some], change=self.change[:, some])


@dataclass(frozen=True)
class Places:
    """Where a case may fail: the `parts` (k) of its load and the families of beads there."""

    parts: tuple[LoadPart, ...]
    families: tuple[BeadFamily, ...]

    def decided(self, body: str, zone: str) -> Places:
        """Those of one zone alone; all of them where it has none."""
        own = tuple(f for f in self.families if (f.body, f.zone) == (body, zone))
        return replace(self, families=own) if own else self


def gather_places(
    case: LoadCase,
    *,
    recovered: RecoveredStress,
    changes: UnitStress | None,
    scatter: Mapping[str, float],
    field: ReserveField,
) -> Places:
    """The places of a judged case, from the stress `recovered` of its loads and how that of each of them `changes`
    as displacements do with the stiffness of the part (None: they shrink as it grows, and stress stays). `scatter`
    is that of loads.
    """
    mesh, printed = recovered.mesh, recovered.printed
    loads = [(p, names) for p, names in _grouped(case, scatter).items() if any(case.factors[k] for k in names)]
    stress = [recovered.of(case, names) for _, names in loads]
    moved: list[StressField | None] = [None] * len(loads)
    if changes is not None:
        moved = [changes.sum(factors_of(case, names, recovered.loads)) for _, names in loads]
    nodes = _candidates(mesh, field, [(p.scatter, s.node) for (p, _), s in zip(loads, stress, strict=True)])
    families = []
    for number, material in enumerate(printed.materials):
        families += list(_families(mesh, number, material, nodes, stress, moved))
    return Places(tuple(part for part, _ in loads), tuple(families))


def _grouped(case: LoadCase, scatter: Mapping[str, float]) -> dict[LoadPart, tuple[str, ...]]:
    """The loads of a case by the part that they belong to."""
    out: dict[LoadPart, tuple[str, ...]] = {}
    for name in case.factors:
        own = scatter.get(name, 0.0)
        part = LoadPart(name if own else "", own, name in case.permanent)
        out[part] = (*out.get(part, ()), name)
    return out


def _candidates(mesh: TetMesh, field: ReserveField, loads: list[tuple[float, Array]]) -> Index:
    """The nodes that may come nearest to failure, also where loads that cancel each other go apart: each has its
    scatter and its stress (n, 6) [MPa].

    1 over the reserve is at most the sum of what each load uses up; what a load that is off adds to it is told
    from the size of its stress, and that from the reserve of the stress of all.
    """
    used = 1 / np.maximum(field.reserve, 1e-6)
    if sum(scatter > 0 for scatter, _ in loads) > 1:
        sizes = [np.linalg.norm(stress, axis=1) for _, stress in loads]
        whole = np.linalg.norm(field.print_stress, axis=1)
        with np.errstate(invalid="ignore", divide="ignore"):
            borne = np.where(used > 0, whole / used, np.inf)
        weakest = float(np.min(borne[borne > 0], initial=np.inf))
        borne = np.where(np.isfinite(borne) & (borne > 0), borne, weakest)
        used = used + FAR_OFF * sum(c * size for (c, _), size in zip(loads, sizes, strict=True)) / borne
    # Where permanent loads alone use up all, nothing is left for those that grow: such places are told on their own
    counts = field.reserve > 0 if (field.reserve > 0).any() else np.ones(len(used), dtype=bool)
    order = np.argsort(-used, kind="stable")
    order = order[counts[order]]
    zone = np.array([name for name, _ in field.phases])[field.phase]
    chosen = [order[:MOST_NODES]]
    for body in range(len(mesh.bodies)):
        for name in dict.fromkeys(name for name, _ in field.phases):
            chosen.append(order[(zone[order] == name) & (mesh.node_body[order] == body)][:OF_EACH_ZONE])
    return np.unique(np.concatenate(chosen))


def _families(
    mesh: TetMesh,
    number: int,
    material: PrintedMaterial,
    nodes: Index,
    stress: list[StressField],
    moved: list[StressField | None],
) -> Iterator[BeadFamily]:
    """The families of beads of one zone at the nodes."""
    here = stress[0].zones[number]
    rows = np.flatnonzero(np.isin(here.nodes, nodes))
    if len(rows) == 0:
        return
    own = [_own_axes(material, here, field.zones[number].stress[rows], rows) for field in stress]
    more = [
        np.zeros_like(o) if m is None else _own_axes(material, here, m.zones[number].stress[rows], rows)
        for o, m in zip(own, moved, strict=True)
    ]
    for phase in material.phases:
        beads = [o @ phase.to_bead.T for o in own]
        if phase.thermal_stress.any():
            warm = [field.zones[number].temperature_change[rows] for field in stress]
            beads = [b + np.outer(w, phase.thermal_stress) for b, w in zip(beads, warm, strict=True)]
        # The material's own stress grows with its stiffness, and shrinks as it gives way less
        change = [
            np.zeros_like(b) if m is None else b + c @ phase.to_bead.T
            for b, c, m in zip(beads, more, moved, strict=True)
        ]
        body = mesh.bodies[mesh.node_body[here.nodes[rows[0]]]]
        yield BeadFamily(body, phase.zone, here.nodes[rows], phase.strength, np.array(beads), np.array(change))


def _own_axes(material: PrintedMaterial, here: ZoneStress, stress: Array, rows: Index) -> Array:
    """Stress (j, 6) [MPa] in the axes that a zone's phases start from."""
    if not material.follows_outline:
        return stress
    return np.asarray(np.einsum("nab,nb->na", stress_rotation(wall_axes(material, here.turn[rows])), stress))
