"""A load case: loads with factors, parted into what stays and what grows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from fem.caution import Caution
from fem.errors import InputError
from fem.loading.loads import Load, resultant
from fem.part.tetmesh import TetMesh
from fem.tensors import Array

JOINTS = "joints"
"""The load of a case that stands for what its joints do beside springs (`solving/jointed`): it never grows."""
NO_RESULTANT = 1e-9
"""A resultant below this share of the sum of all nodal forces is what rounding leaves of forces in balance."""


@dataclass(frozen=True)
class LoadCase:
    """Loads and their factors. `growing` names the loads that a reserve factor multiplies.

    A case of permanent loads alone has nothing that could grow; there all loads are taken to grow together, and
    `all_grow` says so.
    """

    name: str
    factors: Mapping[str, float]
    loads: Mapping[str, Load]

    def __post_init__(self) -> None:
        unknown = [k for k in self.factors if k not in self.loads]
        if unknown:
            raise InputError(f"there is no load {unknown[0]!r}.", where=f"cases.{self.name}")

    @property
    def all_grow(self) -> bool:
        return all(self.loads[k].permanent for k, f in self.factors.items() if f != 0 and k != JOINTS)

    @property
    def growing(self) -> tuple[str, ...]:
        return tuple(k for k in self.factors if k != JOINTS and (self.all_grow or not self.loads[k].permanent))

    @property
    def permanent(self) -> tuple[str, ...]:
        return tuple(k for k in self.factors if k not in self.growing)

    @property
    def displaced(self) -> tuple[str, ...]:
        """The loads of this case that prescribe a face's displacement."""
        return tuple(sorted(k for k, f in self.factors.items() if f != 0 and self.loads[k].displacement is not None))

    def combined(self, names: tuple[str, ...], each: Mapping[str, Array]) -> Array:
        """Sum of fields of unit loads times their factors, over these loads."""
        shape = next(iter(each.values())).shape
        return sum((self.factors[k] * each[k] for k in names), np.zeros(shape))

    def temperature_change(self, names: tuple[str, ...]) -> Array | None:
        """Warming (m,) [K] of the tetrahedra by these loads, None where none warms."""
        warm = [self.factors[k] * w for k in names if (w := self.loads[k].temperature_change) is not None]
        return sum(warm[1:], warm[0]) if warm else None

    def growing_forces(self, mesh: TetMesh) -> dict[str, float]:
        """The resultant [N] of each growing load at its factor, of those that have one."""
        out = {}
        for name in self.growing:
            forces = self.factors[name] * self.loads[name].forces
            force = float(np.linalg.norm(resultant(mesh, forces)[0]))
            if force > NO_RESULTANT * float(np.linalg.norm(forces, axis=1).sum()):
                out[name] = force
        return out


def without_joints(case: LoadCase) -> LoadCase:
    """The case with the loads that a study names, without what its joints add."""
    if JOINTS not in case.factors:
        return case
    return LoadCase(
        case.name,
        {k: f for k, f in case.factors.items() if k != JOINTS},
        {k: load for k, load in case.loads.items() if k != JOINTS},
    )


def lost_loads(loads: Mapping[str, Load], projector: Array) -> tuple[Caution, ...]:
    """Cautions for loads that fall on held directions, where the part never feels them.

    `projector` (n, 3, 3) is onto what may move. Errors: InputError when a load is lost altogether.
    """
    cautions = []
    for name, load in loads.items():
        size = float(np.linalg.norm(load.forces, axis=1).sum())
        if size == 0 or load.temperature_change is not None:
            continue
        felt = float(np.linalg.norm(np.einsum("nij,nj->ni", projector, load.forces), axis=1).sum())
        lost = 1 - felt / size
        if lost > 0.99:
            raise InputError(
                "it falls wholly on held directions of a face; the part would never feel it.",
                where=f"loads.{name}",
                advice="Load another face, or hold less.",
            )
        if lost > 0.2:
            text = f"{100 * lost:.0f} % of load {name} falls on held directions, where the part does not feel it."
            cautions.append(Caution("lost_load", text, {"load": name, "lost_fraction": lost}))
    return tuple(cautions)
