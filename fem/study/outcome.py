"""A study answered, as one looks at it from Python: cases by name, fields as arrays, values at points, pictures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from fem.errors import InputError, nearest
from fem.judging.findings import CaseFindings, Findings
from fem.judging.reserve import own_stress
from fem.judging.scene import CaseFields, Patch, Scene
from fem.judging.stress import StressField, recover_stress
from fem.judging.worst import worst_places
from fem.loading.case import LoadCase
from fem.part.tetmesh import Index, TetMesh
from fem.printing.cut import cut_body
from fem.printing.field import PrintedField
from fem.study.shared_mesh import Prepared
from fem.tensors import Array, stress_rotation, von_mises
from fem.zooming.nouns import ZoomView
from fem.zooming.probe import Probe, Values, line_points

AXES = ("part", "print", "bead")


@dataclass(frozen=True)
class CaseReserve:
    """The reserve factor of a case: `minimum` the decided one with its `band` (low, high; empty: not known), by
    `mode` in the `zone` at `at` (3,) [mm], and the homogenised `field` (n,) at the nodes, infinite where nothing
    grows towards failure.
    """

    minimum: float
    band: tuple[float, ...]
    mode: str
    zone: str
    at: tuple[float, ...]
    field: Array = field(repr=False)


@dataclass(frozen=True)
class ZoneOutcome:
    """One zone of a case where it is judged: `nodes` (j,) of the mesh, their places `points` (j, 3) [mm], and its own
    stress, which is never mixed with a neighbour's. In a wall a node stands once for each way that walls run there.
    """

    name: str
    nodes: Index
    points: Array
    _part: Array = field(repr=False)
    _print: Array = field(repr=False)

    def stress(self, axes: str = "part") -> Array:
        """Stress (j, 6) [MPa] in "part" axes (xx yy zz yz xz xy) or "print" axes (11 22 33 23 13 12; in a wall 1 runs
        along its beads). Errors: InputError for other axes.
        """
        return {"part": self._part, "print": self._print}[_known(axes, ("part", "print"), "axes")]

    @property
    def von_mises(self) -> Array:
        """Von Mises stress (j,) [MPa]."""
        return von_mises(self._part)


class CaseOutcome:
    """One case of an outcome; `findings` are its plain numbers, `name` its name, `mesh` what the arrays stand on."""

    def __init__(self, outcome: Outcome, name: str) -> None:
        self._outcome, self.name = outcome, name
        self.findings: CaseFindings = outcome.findings.cases[name]
        self.mesh: TetMesh = outcome.mesh
        self._fields: CaseFields = outcome.fields[name]

    def __repr__(self) -> str:
        return f"CaseOutcome({self.name!r}, reserve factor {self.findings.reserve.minimum:.4g})"

    @property
    def reserve(self) -> CaseReserve:
        """The reserve factor: number, band, place, and the field of all nodes."""
        told = self.findings.reserve
        return CaseReserve(told.minimum, told.band, told.mode, told.zone, told.at_mm, self._fields.reserve)

    @property
    def displacement(self) -> Array:
        """Displacement (n, 3) [mm] of the mesh's nodes."""
        return self._fields.displacement

    def stress(self, axes: str = "part") -> Array:
        """Stress (n, 6) [MPa] at the nodes, each that of the zone in which the node lies: in "part" axes (xx yy zz yz
        xz xy), in the "print" axes of its body (11 22 33 23 13 12: along raster 0, across it, up the build; of a
        metal the part axes), or in the axes of the beads that come nearest to failure there ("bead").
        Errors: InputError for other axes.
        """
        if _known(axes, AXES, "axes") == "bead":
            return self._fields.print_stress
        return self._fields.stress if axes == "part" else self._in_print_axes()

    def _in_print_axes(self) -> Array:
        out = self._fields.stress.copy()
        for number, name in enumerate(self.mesh.bodies):
            axes = self._outcome.findings.bodies[name].print_axes
            if axes is not None:
                mine = self.mesh.node_body == number
                out[mine] = out[mine] @ stress_rotation(np.array(axes)).T
        return out

    @property
    def von_mises(self) -> Array:
        """Von Mises stress (n,) [MPa] at the nodes."""
        return von_mises(self._fields.stress)

    def at(self, points: Any, *, outside: str = "error") -> Values:
        """Displacement, stress and reserve factor at points (k, 3) [mm] inside the part.

        Errors: InputError for points outside, unless `outside` is "nan": then their numbers are nan.
        """
        return self._outcome.probe.values(self._fields, points, outside=outside)

    def along(self, start: Sequence[float], end: Sequence[float], n: int = 101, *, outside: str = "error") -> Values:
        """The same at `n` points, evenly from `start` to `end` [mm], both included."""
        return self.at(line_points(start, end, n), outside=outside)

    def zone(self, name: str) -> ZoneOutcome:
        """The stress of one zone ("wall", "cover", "core", "solid", "metal") of all bodies that have it. Errors:
        InputError that names the zones there are.
        """
        materials = self._outcome.printed.materials
        _known(name, tuple(dict.fromkeys(m.zone for m in materials)), "zone")
        mine = [(m, z) for m, z in zip(materials, self._stress.zones, strict=True) if m.zone == name]
        nodes = np.concatenate([z.nodes for _, z in mine])
        turned = [
            own_stress(m, z) if m.follows_outline else z.stress @ stress_rotation(m.print_axes).T for m, z in mine
        ]
        part = np.concatenate([z.stress for _, z in mine])
        return ZoneOutcome(name, nodes, self.mesh.nodes[nodes], part, np.concatenate(turned))

    @cached_property
    def _stress(self) -> StressField:
        case = LoadCase(self.name, self.findings.factors, self._outcome.ready.loads)
        warm = case.temperature_change(tuple(case.factors))
        return recover_stress(self.mesh, self._outcome.printed, self.displacement, temperature_change=warm)

    def picture(self, quantity: str = "reserve", *, towards: Sequence[float] | None = None) -> Any:
        """A picture of the surface as a pillow image, which a notebook shows and `save` writes; see
        `Outcome.picture`.
        """
        return self._outcome.picture(quantity, case=self.name, towards=towards)


@dataclass(frozen=True)
class Outcome:
    """A study answered: `findings` the numbers, `ready` the study as it stands on its last mesh, `fields` by case,
    `patches` where supports and loads work, `zooms` the places solved bead by bead.
    """

    findings: Findings
    ready: Prepared = field(repr=False)
    fields: Mapping[str, CaseFields] = field(repr=False)
    patches: tuple[Patch, ...] = field(repr=False)
    zooms: tuple[ZoomView, ...]

    @property
    def printed(self) -> PrintedField:
        """The material of each tetrahedron."""
        return self.ready.printed

    @cached_property
    def scene(self) -> Scene:
        """What pictures are drawn from."""
        arrows = tuple(arrow for load in self.ready.loads.values() for arrow in load.arrows)
        worst = worst_places(self.findings)
        cuts = (
            cut_body(self.mesh, body=name, made=made, through=worst.get(name))
            for name, made in self.ready.made.items()
        )
        return Scene(self.mesh, dict(self.fields), arrows, self.patches, tuple(cut for own in cuts for cut in own))

    @property
    def mesh(self) -> TetMesh:
        """The mesh on which all arrays stand: `nodes` (n, 3) [mm], `tets` (m, 10)."""
        return self.ready.mesh

    @property
    def cases(self) -> dict[str, CaseOutcome]:
        """All cases by name."""
        return {name: CaseOutcome(self, name) for name in self.findings.cases}

    def case(self, name: str | None = None) -> CaseOutcome:
        """One case by its name, which may be left out where there is one alone. Errors: InputError that names those
        there are.
        """
        names = tuple(self.findings.cases)
        if name is None and len(names) > 1:
            raise InputError("there are several cases.", advice=f"Name one of {', '.join(names)}.")
        return CaseOutcome(self, _known(names[0] if name is None else name, names, "case"))

    @cached_property
    def probe(self) -> Probe:
        """What finds points in the mesh."""
        return Probe(self.mesh)

    def at(self, points: Any, *, outside: str = "error") -> dict[str, Values]:
        """By case, displacement, stress and reserve factor at points (k, 3) [mm]. Errors: InputError for points
        outside the part, unless `outside` is "nan": then their numbers are nan.
        """
        return {name: case.at(points, outside=outside) for name, case in self.cases.items()}

    def along(
        self, start: Sequence[float], end: Sequence[float], n: int = 101, *, outside: str = "error"
    ) -> dict[str, Values]:
        """The same at `n` points, evenly from `start` to `end` [mm], both included."""
        return self.at(line_points(start, end, n), outside=outside)

    def picture(
        self, quantity: str = "reserve", *, case: str | None = None, towards: Sequence[float] | None = None
    ) -> Any:
        """A picture of the surface as a pillow image, which a notebook shows and `save` writes.

        `quantity` is "reserve", "displacement", "von mises", "principal" (the one of the largest size), "interlayer
        shear" (the resultant of 13 and 23) or a stress in part axes ("xx", "yy", "zz", "yz", "xz", "xy") or bead
        axes ("11", "22", "33", "23", "13", "12"); `towards` (3,) points from the part to the eye.
        Errors: InputError for a quantity or case that is none.
        """
        from fem.telling.quantity_picture import draw_quantity

        name = self.case(case).name
        return draw_quantity(self.findings, self.scene, quantity=quantity, case=name, towards=towards)

    def plotter(self, quantity: str = "reserve", *, case: str | None = None) -> Any:
        """A pyvista plotter with the surface in the same colours, yours to add to and to show."""
        from fem.telling.quantity_picture import quantity_plotter

        return quantity_plotter(self.findings, self.scene, quantity=quantity, case=self.case(case).name)

    def tell(self, folder: Any) -> Any:
        """Write the report, its pictures and fields.vtu into `folder`; returns the report's path."""
        from pathlib import Path

        from fem.telling import tell
        from fem.telling.bead_files import with_pictures

        findings = with_pictures(self.findings, self.zooms)
        return tell(findings, self.scene, folder=Path(folder), zooms=self.zooms)

    def _repr_html_(self) -> str:
        return self.findings._repr_html_()


def _known(name: str, names: Sequence[str], what: str) -> str:
    if name not in names:
        close = nearest(str(name), names)
        raise InputError(f"there is no {what} {name!r}.", advice=close or f"There are: {', '.join(names)}.")
    return name
