"""A face that is moved by a given amount."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np

from fem.digits import number
from fem.errors import InputError
from fem.loading.kind import LoadKind, Site
from fem.loading.loads import Load
from fem.loading.plan import LoadPlan
from fem.loading.supports import Held, held_face
from fem.loading.values import Length
from fem.part.faces import FaceGroup
from fem.part.tetmesh import TetMesh


@dataclass(frozen=True)
class DisplacementKeys:
    """Prescribed displacement of a face [mm]; None leaves that direction free. Errors: InputError where all are."""

    x: Annotated[Length | None, "Displacement along x. Free if left out."] = None
    y: Annotated[Length | None, "Displacement along y. Free if left out."] = None
    z: Annotated[Length | None, "Displacement along z. Free if left out."] = None

    def __post_init__(self) -> None:
        if self.x is None and self.y is None and self.z is None:
            raise InputError("no direction is given.", advice='Write displacement = { z = "0.1 mm" }.')

    @property
    def move(self) -> tuple[float, float, float]:
        """The displacement (3,) [mm], zero where the face is free."""
        return self.x or 0.0, self.y or 0.0, self.z or 0.0


def displaced_face(mesh: TetMesh, load: LoadPlan, groups: Mapping[str, FaceGroup]) -> Held:
    """The held face of a prescribed displacement at factor one. Errors: InputError when the load is none."""
    what = load.what
    if not isinstance(what, DisplacementKeys) or load.face is None:
        raise InputError("is not a displacement of a face.", where=f"loads.{load.name}")
    axes = tuple(a for a in "xyz" if getattr(what, a) is not None)
    name = f"displacement {load.name}"  # never that of a support, which may bear the load's
    return held_face(mesh, groups[load.face], fixed=axes, name=name, value=np.array(what.move))


def displacement_of(site: Site) -> Load:
    """The displacement at factor one."""
    plan, move = site.plan, site.what.move
    held = displaced_face(site.mesh, plan, site.groups)
    zero = np.zeros((len(site.mesh.nodes), 3))
    facts = {"kind": plan.kind, "permanent": plan.permanent, "displacement_mm": list(move)}
    return Load(plan.name, plan.kind, zero, plan.permanent, held.triangles, facts, displacement=held)


def displacement_words(facts: Mapping[str, Any]) -> tuple[str, str]:
    """How far the face is moved, and where its force is told."""
    move = ", ".join(number(float(v)) for v in facts["displacement_mm"])
    return f"prescribed displacement ({move}) mm", "its force is part of the reaction"


KIND = LoadKind(
    "displacement",
    DisplacementKeys,
    displacement_of,
    says="The face is moved by a given amount. It is free in cases that do not name the load.",
    examples=('[loads.settle]\nface = "pad"\ndisplacement = { z = "-0.1 mm" }',),
    smooth=True,
    without_resultant=displacement_words,
)
