"""What the variants of one geometry share: its solids, its mesh, and what follows from these alone."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, field
from typing import Any, TypeVar

from fem.loading.kinds import LOAD_KINDS, load_of
from fem.loading.loads import Load
from fem.part.faces import FaceGroup, cuts_of, name_faces
from fem.part.meshing import estimated_unknowns, mesh_solid, refuse_too_large
from fem.part.sizing import SizeField
from fem.part.solid import Solid, read_solid
from fem.part.tetmesh import TetMesh, joined
from fem.printing.body import PrintedBody
from fem.printing.field import PrintedField
from fem.printing.mixing import printed_field
from fem.solving.earlier import Earlier
from fem.solving.equilibrium import Equilibrium
from fem.solving.stiffness import BlockPattern, block_pattern
from fem.study.clock import Clock
from fem.study.fingerprint import mesh_key
from fem.study.plans import Study

T = TypeVar("T")
MOST_ZONINGS = 8
"""So many layouts of walls and covers are kept; each takes some 230 bytes a tetrahedron."""


@dataclass(frozen=True)
class SharedMesh:
    """Solids and the mesh that fills them; what is computed from them once is kept for the next variant.

    Studies of the same `key` (`fingerprint.mesh_key`) may stand on it; `refined_for` names the study for whose
    accuracy its mesh was refined, "" where it is the first one. What is kept goes with the object in its own process,
    and stays behind when the object is sent to another.
    """

    solids: dict[str, Solid]
    mesh: TetMesh
    key: str
    refined_for: str = ""
    _kept: dict[Hashable, Any] = field(default_factory=dict, repr=False, compare=False)

    def once(self, key: Hashable, make: Callable[[], T]) -> T:
        """What `make` gives, made at the first call with this key."""
        if key not in self._kept:
            self._kept[key] = make()
        found: T = self._kept[key]
        return found

    @property
    def pattern(self) -> BlockPattern:
        """Which nodes share an element: the pattern of every variant's matrix."""
        return self.once("pattern", lambda: block_pattern(self.mesh))

    def take_earlier(self) -> Earlier | None:
        """The preconditioner of the latest equilibrium on this shared mesh, and what it was made for.

        Only one at a time may work with it, so it is handed out once.
        """
        found: Earlier | None = self._kept.pop("earlier", None)
        return found

    def remember(self, equilibrium: Equilibrium) -> None:
        """Keep what the next material may use again, once the equilibrium is through with it."""
        self._kept["earlier"] = equilibrium.earlier

    def groups(self, study: Study) -> dict[str, FaceGroup]:
        """The study's named faces. Errors: FaceError."""
        return self.once(("groups", _faces(study)), lambda: name_faces(self.mesh, study.faces))

    def field(self, made: dict[str, PrintedBody]) -> PrintedField:
        """The material as printed; walls and covers that lie as in an earlier variant are not sought again."""
        zonings = self.once("zonings", dict[Any, Any])
        printed = printed_field(self.mesh, bodies=made, zonings=zonings)
        while len(zonings) > MOST_ZONINGS:
            del zonings[next(iter(zonings))]
        return printed

    def loads(self, study: Study, printed: PrintedField) -> dict[str, Load]:
        """The study's loads at factor one; those that do not depend on the material are kept. Errors: InputError."""
        groups, out = self.groups(study), {}
        for name, plan in study.loads.items():
            if LOAD_KINDS[plan.kind].of_material:
                out[name] = load_of(plan, self.mesh, printed, groups)
            else:
                key = ("load", repr(plan), _faces(study))
                out[name] = self.once(key, lambda plan=plan: load_of(plan, self.mesh, printed, groups))  # type: ignore[misc]
        return out

    def __getstate__(self) -> dict[str, Any]:
        return {
            "solids": self.solids,
            "mesh": self.mesh,
            "key": self.key,
            "refined_for": self.refined_for,
            "_kept": {},
        }

    def __setstate__(self, state: dict[str, Any]) -> None:
        for name, value in state.items():
            object.__setattr__(self, name, value)


@dataclass(frozen=True)
class Prepared:
    """A study brought as far as the equations: what `beadwork check` reports on."""

    study: Study
    shared_mesh: SharedMesh
    made: dict[str, PrintedBody]
    printed: PrintedField
    groups: dict[str, FaceGroup]
    loads: dict[str, Load]
    seconds: dict[str, float]

    @property
    def mesh(self) -> TetMesh:
        """The mesh of all bodies."""
        return self.shared_mesh.mesh

    @property
    def solids(self) -> dict[str, Solid]:
        """The solids as read."""
        return self.shared_mesh.solids


Sizes = Mapping[str, tuple[float | None, float | None]]
"""Mesh sizes (size, finest) [mm] by body; None: chosen from the solid."""


def make_shared_mesh(study: Study, *, clock: Clock, sizes: Sizes | None = None) -> SharedMesh:
    """Read the solids and fill them, with elements of other `sizes` than the study asks for where these are given.

    Errors: SolidError, MeshError, TooLargeError.
    """
    clock("read solids", 0.03)
    solids = read_bodies(study)
    chosen = sizes or own_sizes(study)
    refuse_too_large(sum(expected_unknowns(solids, chosen).values()), where=str(study.path))
    clock("mesh", 0.04)
    return SharedMesh(solids, mesh_bodies(study, solids, chosen), mesh_key(study, sizes=sizes))


def refined(shared_mesh: SharedMesh, study: Study, wanted: Mapping[str, SizeField]) -> SharedMesh:
    """The shared mesh with its bodies meshed anew by fields of sizes; its key stays that of the study, which asks for
    an accuracy and not for this mesh or that.

    Errors: MeshError, TooLargeError.
    """
    mesh = mesh_bodies(study, shared_mesh.solids, own_sizes(study), wanted=wanted)
    return SharedMesh(shared_mesh.solids, mesh, shared_mesh.key, study.variant or study.path.stem)


def own_sizes(study: Study) -> Sizes:
    """The mesh sizes that the study asks for."""
    return {name: (body.size, body.finest) for name, body in study.bodies.items()}


def read_bodies(study: Study) -> dict[str, Solid]:
    """The solid of each body. Errors: SolidError."""
    return {
        n: read_solid(b.solid, name=n, unit=b.unit, any_size=b.any_size, part=b.part, fused=b.fused)
        for n, b in study.bodies.items()
    }


def mesh_bodies(
    study: Study, solids: dict[str, Solid], sizes: Sizes, *, wanted: Mapping[str, SizeField] | None = None
) -> TetMesh:
    """All bodies meshed, along the borders of the study's cut faces, those for which a field of sizes is `wanted` by
    that. Errors: MeshError, FaceError, TooLargeError."""
    fields = wanted or {}
    cuts = cuts_of([face for solid in solids.values() for face in solid.faces], study.faces)
    return joined(
        [
            mesh_solid(
                solids[n],
                size=sizes[n][0],
                finest=sizes[n][1],
                unit=b.unit,
                cuts=cuts.get(n, ()),
                wanted=fields.get(n),
            )
            for n, b in study.bodies.items()
        ]
    )


def expected_unknowns(solids: dict[str, Solid], sizes: Sizes) -> dict[str, int]:
    """About how many unknowns each body's mesh will have."""
    out = {}
    for name, (size, finest) in sizes.items():
        size = size if size is not None else solids[name].size / 20
        finest = finest if finest is not None else size / 4
        out[name] = estimated_unknowns(solids[name], size=size, finest=finest)
    return out


def _faces(study: Study) -> str:
    return repr(sorted(study.faces.items()))
