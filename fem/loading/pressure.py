"""Pressure square to a face: even, or growing linearly with depth, over the whole face or a spot of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np

from fem.errors import InputError
from fem.loading.kind import LoadKind, Site, with_resultant
from fem.loading.loads import Load
from fem.loading.sampling import FINE, Side, nodal_forces, sample
from fem.loading.spot import OnASpot, spot_centre, within
from fem.loading.traction import Traction
from fem.loading.values import Direction, Point, Pressure, PressureGradient
from fem.part.tetmesh import Index, TetMesh
from fem.tensors import Array, unit


@dataclass(frozen=True)
class DepthPressure:
    """Pressure that is zero at the point `at_zero` (3,) [mm] and grows by `gradient` [MPa/mm] along `direction` (3,).

    Before that point there is none: the dry side of a waterline is not sucked.
    Errors: InputError when the gradient is not positive or the direction has no length.
    """

    at_zero: Annotated[Point, "A point where the pressure is zero, such as one on the waterline."]
    gradient: Annotated[PressureGradient, "Growth of the pressure along `direction`; before the point there is none."]
    direction: Annotated[Direction, "Direction in which the pressure grows."]

    def __post_init__(self) -> None:
        if not self.gradient > 0:
            raise InputError("a pressure's gradient must be more than zero.", advice="Turn the direction round.")
        if not np.linalg.norm(self.direction) > 0:
            raise InputError("the direction in which the pressure grows has no length.")

    def depth(self, points: Array) -> Array:
        """Signed distance (...) [mm] of points (..., 3) from the place of no pressure, along the direction."""
        return (np.asarray(points) - np.asarray(self.at_zero, dtype=float)) @ unit(self.direction)


@dataclass(frozen=True)
class PressureKeys:
    """A pressure [MPa] on a face or a spot of it; positive pushes into the material. It may grow with depth."""

    pressure: Pressure | DepthPressure
    spot: OnASpot = None


@dataclass(frozen=True)
class PressureLoad:
    """Nodal `forces` (n, 3) [N] of a pressure, the loaded `area` [mm^2], the `maximum` pressure [MPa], the
    `centre` (3,) [mm] of pressure and the boundary `triangles` (j,); `traction` is what presses there.
    """

    forces: Array
    area: float
    maximum: float
    centre: Array
    triangles: Index
    traction: Traction


def pressure_on(
    mesh: TetMesh,
    triangles: Index,
    *,
    pressure: float | DepthPressure,
    inside: Side | None = None,
    fine: float | None = None,
    name: str,
) -> PressureLoad:
    """A pressure [MPa] that pushes into the material, or one that grows with depth, on the triangles (j,) of a face.

    `inside` is the border of a spot, `fine` [mm] how closely it is followed.
    Errors: InputError when no part of the face is loaded.
    """
    deep = pressure if isinstance(pressure, DepthPressure) else None
    side = _both(inside, deep)
    samples = sample(mesh, triangles, side=side, fine=fine)
    if not samples.whole_area > 0:
        _refuse_dry(mesh, triangles, deep, name)

    def local_at(points: Array) -> Array:
        if isinstance(pressure, DepthPressure):
            return pressure.gradient * pressure.depth(points)
        return np.full(len(points), pressure)

    def field(points: Array, normals: Array) -> Array:
        return -local_at(points)[:, None] * normals

    local = local_at(samples.point)
    forces = nodal_forces(mesh, samples, field(samples.point, samples.normal))
    weight = samples.area * np.abs(local)
    centre = weight @ samples.point / weight.sum() if weight.sum() > 0 else samples.centre
    largest = float(local[np.argmax(np.abs(local))])
    if deep is not None:
        # The deepest point of a wet face lies on its border, never under a sample
        nodes = mesh.nodes[mesh.triangles[samples.triangles]]
        largest = max(largest, deep.gradient * float(deep.depth(nodes).max())) if inside is None else largest
    traction = Traction(triangles, field, side, fine)
    return PressureLoad(forces, samples.whole_area, largest, centre, samples.triangles, traction)


def _both(inside: Side | None, deep: DepthPressure | None) -> Side | None:
    """The border of what lies both within a spot and under the waterline."""
    if deep is None:
        return inside
    if inside is None:
        return deep.depth
    return lambda x: np.minimum(inside(x), deep.depth(x))


def _refuse_dry(mesh: TetMesh, triangles: Index, deep: DepthPressure | None, name: str) -> None:
    """Errors: InputError, always: nothing of the face is loaded."""
    where = f"loads.{name}.pressure"
    if deep is None:
        raise InputError("the face has no area under the load.", where=where)
    short = -float(deep.depth(mesh.nodes[mesh.triangles[triangles]]).max())
    raise InputError(
        f"the face ends {max(short, 0.0):.4g} mm short of the place of zero pressure; nothing presses on it.",
        where=where,
        advice="Turn the direction round, or move at_zero.",
    )


def pressure_of(site: Site) -> Load:
    """The pressure at factor one. Errors: InputError, FaceError."""
    what: PressureKeys = site.what
    inside, fine = None, None
    if what.spot is not None:
        centre = spot_centre(site.mesh, site.triangles, spot=what.spot, name=site.name)
        inside, fine = within(centre, what.spot.radius), what.spot.radius / FINE
    found = pressure_on(site.mesh, site.triangles, pressure=what.pressure, inside=inside, fine=fine, name=site.name)
    facts: dict[str, Any] = {"pressure_MPa": found.maximum}
    if isinstance(what.pressure, DepthPressure):
        facts = {"maximum_pressure_MPa": found.maximum, "wet_area_mm2": found.area}
    if what.spot is not None:
        facts["spot_area_mm2"] = found.area
    if len(facts) > 1:
        facts["centre_mm"] = found.centre.tolist()
    return with_resultant(site, found.forces, found.triangles, facts, found.centre, tractions=(found.traction,))


KIND = LoadKind(
    "pressure",
    PressureKeys,
    pressure_of,
    says="A pressure on the face, even or growing along a direction; positive pushes into the material.",
    examples=(
        '[loads.wind]\nface = "pad"\npressure = "0.02 MPa"',
        '[loads.water]\nface = "pad"\n'
        'pressure = { at_zero = ["0 mm", "0 mm", "1 m"], gradient = "10.05 kPa/m", direction = [0, 0, -1] }',
    ),
)
