"""The reserve factor at every node: the least over the families of beads that lie there.

A case's stress is split into a permanent part, which stays, and a growing part; the reserve factor is the
number by which the growing part may be multiplied until the first criterion is met (strength.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fem.judging.strength import phase_reserve
from fem.part.tetmesh import Index, TetMesh
from fem.printing.field import PrintedField
from fem.tensors import Array


@dataclass(frozen=True)
class ReserveField:
    """At each node: `reserve` (n,), `mode` (n,) into `modes`, `phase` (n,) into `phases` (zone, label),
    `print_stress` (n, 6) [MPa] of the whole case in the axes of the beads that come nearest to failure;
    `criteria` the least reserve factor of each body by each criterion on its own.
    """

    reserve: Array
    mode: Index
    modes: tuple[str, ...]
    phase: Index
    phases: tuple[tuple[str, str], ...]
    print_stress: Array
    criteria: dict[str, dict[str, float | None]]


def judge_reserve(
    mesh: TetMesh,
    printed: PrintedField,
    *,
    permanent: Array,
    growing: Array,
    permanent_warming: Array | None = None,
    growing_warming: Array | None = None,
) -> ReserveField:
    """Reserve factors of a case from smoothed stress (n, 6) [MPa] in part axes, permanent and growing.

    The warmings (m,) [K] add what the layers do to one another. Nodes take the material of a tetrahedron that
    touches them; a body's nodes are never judged by another body's material.
    """
    n = len(mesh.nodes)
    owner = np.zeros(n, dtype=np.int64)
    owner[mesh.tets.ravel()] = np.repeat(np.arange(len(mesh.tets)), 10)
    material = printed.material[owner]
    reserve = np.full(n, np.inf)
    mode, phase = np.zeros(n, dtype=np.int32), np.zeros(n, dtype=np.int32)
    stress = np.zeros((n, 6))
    modes: list[str] = []
    phases: list[tuple[str, str]] = []
    criteria: dict[str, dict[str, float | None]] = {}
    for index, what in enumerate(printed.materials):
        own = np.flatnonzero(material == index)
        if len(own) == 0:
            continue
        body = mesh.bodies[mesh.node_body[own[0]]]
        for each in what.phases:
            p = permanent[own] @ each.to_bead.T + _warmed(permanent_warming, owner[own], each.warming_stress)
            v = growing[own] @ each.to_bead.T + _warmed(growing_warming, owner[own], each.warming_stress)
            found = phase_reserve(p, v, each.strength)
            lower = found.reserve < reserve[own]
            first = phase[own] == 0
            if not phases or (each.zone, each.label) not in phases:
                phases.append((each.zone, each.label))
            number = {name: _place(modes, name) for name in found.modes}
            lookup = np.array([number[name] for name in found.modes], dtype=np.int32)
            # Where nothing grows (infinite) the first family's stress is still worth showing
            take = lower | (first & ~np.isfinite(reserve[own]) & ~np.isfinite(found.reserve))
            at = own[take]
            reserve[at] = np.minimum(reserve[at], found.reserve[take])
            mode[at] = lookup[found.mode[take]]
            phase[at] = phases.index((each.zone, each.label))
            stress[at] = (p + v)[take]
            _note(criteria.setdefault(body, {}), found.criteria)
    return ReserveField(reserve, mode, tuple(modes), phase, tuple(phases), stress, criteria)


def _warmed(warming: Array | None, owner: Index, per_kelvin: Array) -> Array | float:
    return 0.0 if warming is None else warming[owner, None] * per_kelvin


def _place(names: list[str], name: str) -> int:
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
