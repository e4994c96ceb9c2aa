"""What a kind of load or support is: a row of the table in `kinds.py`, which stands in a module of its own."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from fem.caution import Caution
from fem.errors import FaceError, InputError
from fem.loading.loads import Arrow, Load, force_text, resultant
from fem.loading.plan import LoadPlan
from fem.loading.supports import Support
from fem.loading.traction import Traction
from fem.part.faces import FaceGroup
from fem.part.tetmesh import Index, TetMesh
from fem.printing.field import PrintedField
from fem.tensors import Array

NOWHERE = np.zeros(0, dtype=np.int32)
"""The triangles of a load that works on no face."""


@dataclass(frozen=True)
class Site:
    """Where a load is built: its plan, the mesh with its material, and the study's named faces."""

    plan: LoadPlan
    mesh: TetMesh
    printed: PrintedField
    groups: Mapping[str, FaceGroup]

    @property
    def name(self) -> str:
        return self.plan.name

    @property
    def what(self) -> Any:
        return self.plan.what

    @property
    def group(self) -> FaceGroup:
        """The face that the load acts on. Errors: InputError, FaceError."""
        if self.plan.face is None:
            raise InputError("needs a face.", where=f"loads.{self.name}")
        group = self.groups[self.plan.face]
        if not group.area > 0:
            raise FaceError("the face has no area.", where=f"loads.{self.name}.face")
        return group

    @property
    def triangles(self) -> Index:
        """Boundary triangles (j,) of that face."""
        return self.group.triangles


@dataclass(frozen=True)
class LoadKind:
    """One kind of load: its `word` in the study, its `noun`, and what `build` makes of it at factor one.

    The noun's annotations are its form in the study file (see `values.py`). A field that bears the kind's own word is
    all that stands behind that key, and the noun's others stand beside it; else the key holds a table of all fields.
    `says` and `examples` are for the reader. `names` are places of the table where something of the study is named,
    each with the table that it must stand in; `on_a_face` tells that a face stands beside; `of_material` that the
    print changes it; `smooth` that it ends without an edge, so that no stress there is singular; `permanent` what
    counts where the study does not say. `without_resultant` tells from the facts what it is, and why a free body
    shows no force of it.
    """

    word: str
    noun: type
    build: Callable[[Site], Load]
    says: str
    examples: tuple[str, ...]
    names: Mapping[tuple[str, ...], str] = field(default_factory=dict)
    on_a_face: bool = True
    of_material: bool = False
    smooth: bool = False
    permanent: bool = False
    without_resultant: Callable[[Mapping[str, Any]], tuple[str, str]] | None = None


@dataclass(frozen=True)
class SupportKind:
    """One kind of support: `word`, `noun`, `says` and `examples` as for a load; `hold` makes it of the noun on a face
    of the mesh, by its name, and `facts` are its words and numbers for the report.
    """

    word: str
    noun: type
    hold: Callable[[Any, TetMesh, FaceGroup, str], Support]
    facts: Callable[[Any], dict[str, Any]]
    says: str
    examples: tuple[str, ...]


def pushed(
    site: Site, traction: Traction, facts: Mapping[str, Any], at: Array, *, cautions: tuple[Caution, ...] = ()
) -> Load:
    """A load that is one traction over the whole of the site's face."""
    forces = traction.nodal_forces(site.mesh)
    return with_resultant(site, forces, site.triangles, facts, at, cautions=cautions, tractions=(traction,))


def with_resultant(
    site: Site,
    forces: Array,
    triangles: Index,
    facts: Mapping[str, Any],
    at: Array,
    *,
    cautions: tuple[Caution, ...] = (),
    tractions: tuple[Traction, ...] = (),
) -> Load:
    """A load with its resultant told in the facts and drawn as arrows at a point (3,) [mm]."""
    plan, mesh = site.plan, site.mesh
    force, moment = resultant(mesh, forces)
    told = {"kind": plan.kind, "permanent": plan.permanent, "force_N": clean(force), **facts}
    told["moment_about_origin_Nmm"] = clean(moment, scale=float(np.linalg.norm(force)) * mesh.diagonal)
    arrows = []
    size = float(np.linalg.norm(force))
    if size > 1e-9 * np.abs(forces).sum():
        arrows.append(Arrow(plan.name, "force", at, force, force_text(size)))
    about = moment - np.cross(at, force)
    turn = float(np.linalg.norm(about))
    if turn > 1e-6 * max(size * mesh.diagonal, np.abs(forces).sum() * mesh.diagonal * 1e-3):
        arrows.append(Arrow(plan.name, "moment", at, about, f"{turn / 1000:.3g} N·m"))
    return Load(
        plan.name,
        plan.kind,
        forces,
        plan.permanent,
        triangles,
        told,
        point=at,
        arrows=tuple(arrows),
        cautions=cautions,
        tractions=tractions,
    )


def clean(vector: Array, *, scale: float = 0.0) -> list[float]:
    """The components, with those that are rounding of the largest (or of `scale`) set to zero."""
    size = max(float(np.abs(vector).max()), scale)
    return [float(v) if abs(v) > 1e-10 * size else 0.0 for v in vector]
