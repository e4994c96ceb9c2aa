"""The fields over the mesh that pictures, the report's model and fields.vtu are drawn from."""

from __future__ import annotations

from dataclasses import dataclass

from fem.judging.pressed import PressedJoint
from fem.loading.loads import Arrow
from fem.part.tetmesh import Index, TetMesh
from fem.printing.cut import ZoneCut
from fem.tensors import Array


@dataclass(frozen=True)
class Patch:
    """The boundary triangles (j,) that a load or a support works on; `role` is "load" or "support"."""

    name: str
    role: str
    triangles: Index


@dataclass(frozen=True)
class CaseFields:
    """Node fields of one case: `displacement` (n, 3) [mm]; `stress` (n, 6) [MPa] in part axes; `print_stress`
    (n, 6) [MPa] in the axes of the beads that come nearest to failure; `reserve` (n,), inf where nothing grows.
    `joints` are its bearing joints, point by point.
    """

    displacement: Array
    stress: Array
    print_stress: Array
    reserve: Array
    joints: tuple[PressedJoint, ...] = ()


@dataclass(frozen=True)
class Scene:
    """A mesh with the fields of each case, the arrows and patches that explain the loading, and cuts through the
    printed bodies that show their zones.
    """

    mesh: TetMesh
    cases: dict[str, CaseFields]
    arrows: tuple[Arrow, ...]
    patches: tuple[Patch, ...]
    cuts: tuple[ZoneCut, ...] = ()
