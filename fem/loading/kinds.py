"""The one table of loads and the one of supports: a kind is its own module and its line here."""

from __future__ import annotations

from collections.abc import Mapping

from fem.loading import (
    acceleration,
    bearing,
    displacement,
    fixed,
    force,
    foundation,
    preload,
    pressure,
    rigid_bearing,
    spring,
    temperature_change,
    wing,
    wrench,
)
from fem.loading.kind import LoadKind, Site, SupportKind
from fem.loading.loads import Load
from fem.loading.plan import LoadPlan, SupportPlan
from fem.loading.supports import Support
from fem.part.faces import FaceGroup
from fem.part.tetmesh import Index, TetMesh
from fem.printing.field import PrintedField

LOAD_KINDS: dict[str, LoadKind] = {
    kind.word: kind
    for kind in (
        force.KIND,
        pressure.KIND,
        bearing.KIND,
        wrench.KIND,
        wing.KIND,
        preload.KIND,
        displacement.KIND,
        acceleration.KIND,
        temperature_change.KIND,
    )
}
"""Every load's word in the study, and what stands behind it."""
SUPPORT_KINDS: dict[str, SupportKind] = {
    kind.word: kind for kind in (fixed.KIND, foundation.KIND, spring.KIND, rigid_bearing.KIND)
}
"""Every support's word in the study, and what stands behind it."""


def load_of(plan: LoadPlan, mesh: TetMesh, printed: PrintedField, groups: Mapping[str, FaceGroup]) -> Load:
    """One load at factor one, with the arrows of its resultant.

    Errors: InputError, FaceError naming the load.
    """
    return LOAD_KINDS[plan.kind].build(Site(plan, mesh, printed, groups))


def support_of(plan: SupportPlan, mesh: TetMesh, groups: Mapping[str, FaceGroup]) -> Support:
    """One support on its face. Errors: InputError naming the support."""
    return SUPPORT_KINDS[plan.kind].hold(plan.what, mesh, groups[plan.face], plan.name)


def edged_patches(loads: Mapping[str, Load]) -> dict[str, Index]:
    """Boundary triangles (j,) by name of the loads that end at an edge: a small patch makes a singular place."""
    return {k: v.triangles for k, v in loads.items() if len(v.triangles) and not LOAD_KINDS[v.kind].smooth}
