"""A pin or shaft that presses on its bore: pressure over the half that is pushed, and none on the other.

The pressure is p0 cos(theta) around the force's direction, even along the axis, square to the true cylinder; its
total over a half of radius r and length L is p0 r L pi / 2 (closed form). Common practice for a closely fitting pin.
Where the mesh or a cut-out unbalances it, the pressure is tilted by a small linear factor around and along the bore,
so that the force is exact and passes through the bore's centre; it never becomes a pull.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fem.caution import Caution
from fem.errors import FaceError, InputError
from fem.loading.kind import LoadKind, Site, with_resultant
from fem.loading.loads import Load
from fem.loading.sampling import Samples, nodal_forces, sample
from fem.loading.traction import Traction
from fem.loading.values import Forces
from fem.part.faces import FaceGroup, describe
from fem.part.solid import Face
from fem.part.tetmesh import Index, TetMesh
from fem.tensors import Array, unit

AXIAL = 1e-4
"""Share of the force that may lie along the axis: an axis fitted to triangles misses by some 1e-5, and is then turned
square to the force. A pin cannot push along its axis."""
COVERED = 0.9
"""Share of the pushed half, weighted by cos(theta), that the faces must offer."""
BIN = 5.0
"""Degrees around the bore in which the presence of a wall is told."""


@dataclass(frozen=True)
class BearingKeys:
    """The force (3,) [N] of a pin or shaft on the half of its bore that it pushes."""

    bearing: Forces


@dataclass(frozen=True)
class Bore:
    """Coaxial cylinder faces that bear on one pin, or one shaft: `axis` (3,), `centre` (3,) [mm] on the axis halfway
    between the ends, `radius` and `length` [mm]; `hollow` for a bore, also an open one, else a shaft; boundary
    `triangles` (j,).
    """

    axis: Array
    centre: Array
    radius: float
    length: float
    hollow: bool
    triangles: Index

    def radial(self, points: Array) -> Array:
        """Unit directions (..., 3) into the material, square to the axis."""
        off = points - self.centre
        off = off - (off @ self.axis)[..., None] * self.axis
        return off / np.linalg.norm(off, axis=-1)[..., None] * (1.0 if self.hollow else -1.0)


@dataclass(frozen=True)
class Bearing:
    """Nodal `forces` (n, 3) [N] of a pin, the `peak` and `mean` pressure [MPa] (the mean over the projected area),
    where it presses, and what presses there.
    """

    forces: Array
    peak: float
    mean: float
    bore: Bore
    triangles: Index
    traction: Traction


@dataclass(frozen=True)
class PinPressure:
    """The pressure of a pin that pushes `ahead` (3,), square to the axis of its `bore`: cos(theta) on the half ahead,
    times a factor that is linear around and along the bore with four `factors` [MPa].
    """

    bore: Bore
    ahead: Array
    factors: Array

    def parts(self, points: Array) -> tuple[Array, Array, Array]:
        """At points (q, 3) [mm]: the directions (q, 3) into the material, cos(theta) (q,) where it is positive, and
        the four terms (q, 4) of the factor.
        """
        into = self.bore.radial(points)
        around = into @ np.cross(self.bore.axis, self.ahead)
        along = (points - self.bore.centre) @ self.bore.axis / (self.bore.length / 2)
        terms = np.stack([np.ones_like(around), around, along, around * along], axis=1)
        return into, np.clip(into @ self.ahead, 0.0, None), terms

    def __call__(self, points: Array, normals: Array) -> Array:
        """Traction (q, 3) [MPa] at points (q, 3) [mm], square to the true cylinder whatever the normals (q, 3)."""
        into, weight, terms = self.parts(points)
        return (weight * (terms @ self.factors))[:, None] * into


def find_bore(mesh: TetMesh, group: FaceGroup, *, name: str) -> Bore:
    """The one bore, or shaft, that a named face stands for: halves and coaxial pieces together.

    Errors: FaceError when a face is no cylinder, or they do not share axis and side.
    """
    where = f"loads.{name}.face"
    faces = [mesh.faces[i] for i in group.faces]
    for face in faces:
        if face.kind != "cylinder" or face.axis is None or face.origin is None or face.radius is None:
            raise FaceError(
                f"{describe(face)} is no cylinder; a bearing load presses on a bore or a shaft.",
                where=where,
                advice="Name the bore's faces alone, or use force.",
            )
    first = faces[0]
    axis, origin, radius = _round(first)
    for face in faces[1:]:
        its_axis, its_origin, its_radius = _round(face)
        off = its_origin - origin
        apart = float(np.linalg.norm(off - (off @ axis) * axis))
        if abs(float(its_axis @ axis)) < 0.9999 or apart > 0.02 * radius or face.body != first.body:
            raise FaceError(
                f"{describe(first)} and {describe(face)} are not on one axis.",
                where=where,
                advice="Give each bore a face name and a bearing load of its own.",
            )
        if abs(its_radius - radius) > 0.02 * radius:
            raise FaceError(
                f"{describe(first)} and {describe(face)} differ in radius: one pin does not fit both closely.",
                where=where,
                advice="Give each a face name and a bearing load of its own.",
            )
        if face.hollow != first.hollow:
            raise FaceError(
                f"{describe(first)} and {describe(face)} are inside and outside of a ring.",
                where=where,
                advice="Name one of them.",
            )
    triangles = group.triangles
    along = (mesh.nodes[mesh.triangles[triangles]] - origin) @ axis
    low, high = float(along.min()), float(along.max())
    return Bore(axis, origin + axis * (low + high) / 2, radius, high - low, first.hollow, triangles)


def _round(face: Face) -> tuple[Array, Array, float]:
    """Axis (3,), a point (3,) on it and radius of a cylinder."""
    assert face.axis is not None and face.origin is not None and face.radius is not None
    return unit(face.axis), face.origin, float(face.radius)


def bearing_load(mesh: TetMesh, bore: Bore, *, force: Array, name: str) -> Bearing:
    """A force (3,) [N] of a pin through the bore's centre, as cosine pressure on the wall that it pushes.

    Errors: InputError when the force is zero or has a part along the axis, or the wall it would push is not there.
    """
    bore = _square_to(bore, np.asarray(force, dtype=float), name)
    size = float(np.linalg.norm(force))
    ahead = np.asarray(force, dtype=float) / size
    sense = 1.0 if bore.hollow else -1.0

    def side(points: Array) -> Array:
        return sense * ((points - bore.centre) @ ahead)

    pushed = sample(mesh, bore.triangles, side=side, fine=bore.radius / 8)
    _refuse_missing_half(bore, pushed, ahead, name)
    into, weight, terms = PinPressure(bore, ahead, np.zeros(4)).parts(pushed.point)
    # Force and moment about the centre of each term; their parts along the axis are zero by construction
    traction = (weight[:, None] * terms)[:, :, None] * into[:, None, :]
    across = np.stack([ahead, np.cross(bore.axis, ahead)])
    forces = np.einsum("q,qti->ti", pushed.area, traction)
    moments = np.einsum("q,qti->ti", pushed.area, np.cross((pushed.point - bore.centre)[:, None, :], traction))
    arm = bore.length / 2
    rows = np.concatenate([forces @ across.T, moments @ across.T / arm], axis=1).T
    factors = np.linalg.lstsq(rows, np.array([size, 0.0, 0.0, 0.0]), rcond=1e-12)[0]
    pressure = weight * (terms @ factors)
    missed = float(np.abs(rows @ factors - [size, 0, 0, 0]).max())
    if pressure.min() < -1e-9 * pressure.max() or missed > 1e-9 * size:
        raise InputError(
            "the wall that the pin pushes lies too far to one side of the bore's centre; the pin would have to pull.",
            where=f"loads.{name}.bearing",
            advice="Name the parts of the bore that share the force evenly, or give a wrench.",
        )
    found = nodal_forces(mesh, pushed, pressure[:, None] * into)
    shadow = float((pushed.area * weight).sum())
    pressed = Traction(bore.triangles, PinPressure(bore, ahead, factors), side, bore.radius / 8)
    return Bearing(found, float(pressure.max()), size / shadow, bore, pushed.triangles, pressed)


def _square_to(bore: Bore, force: Array, name: str) -> Bore:
    """The bore with its axis square to the force. Errors: InputError when that is zero or pushes along the axis."""
    where = f"loads.{name}.bearing"
    size = float(np.linalg.norm(force))
    if not size > 0:
        raise InputError("a bearing load without force.", where=where)
    lengthwise = float(force @ bore.axis)
    if abs(lengthwise) > AXIAL * size:
        axis = ", ".join(f"{v + 0.0:.4g}" for v in bore.axis)
        raise InputError(
            f"{abs(lengthwise):.4g} N of it point along the bore's axis ({axis}); a pin cannot push along its axis.",
            where=where,
            advice="Put this part as a force on the shoulder that takes it.",
        )
    return replace(bore, axis=unit(bore.axis - force * lengthwise / size**2))


def _refuse_missing_half(bore: Bore, pushed: Samples, ahead: Array, name: str) -> None:
    """Errors: InputError when the faces do not offer the half that is pushed."""
    edges = np.radians(np.arange(-90.0, 90.0 + BIN / 2, BIN))
    want = np.diff(np.sin(edges))
    there = np.zeros(len(want), dtype=bool)
    if len(pushed.area):
        into = bore.radial(pushed.point)
        angle = np.arctan2(into @ np.cross(bore.axis, ahead), into @ ahead)
        there = np.histogram(angle, edges)[0] > 0
    share = float(want[there].sum() / want.sum())
    if share >= COVERED:
        return
    what = "bore" if bore.hollow else "shaft"
    found = f"only {100 * share:.0f} % of it is there" if share > 0 else "nothing of it is there"
    raise InputError(
        f"a bearing load presses the half of the {what} that the force points to, and {found}.",
        where=f"loads.{name}.bearing",
        advice=f"Name all faces of the {what}; on a fillet or a groove use force or pressure.",
    )


def is_whole_hole(mesh: TetMesh, group: FaceGroup) -> bool:
    """True when a named face holds a hole's wall all round, as a bearing pin would fill it."""
    triangles = group.triangles
    for i in group.faces:
        face = mesh.faces[i]
        if face.kind != "cylinder" or not face.hole:
            continue
        axis, origin, radius = _round(face)
        first = unit(np.cross(axis, np.eye(3)[np.argmin(np.abs(axis))]))
        second = np.cross(axis, first)
        off = sample(mesh, triangles).point - origin
        own = np.abs(np.linalg.norm(off - (off @ axis)[:, None] * axis, axis=1) - radius) < 0.05 * radius
        angle = np.degrees(np.arctan2(off[own] @ second, off[own] @ first))
        if (np.histogram(angle, np.arange(-180, 181, 30))[0] > 0).all():
            return True
    return False


def bearing_of(site: Site) -> Load:
    """The pin's push at factor one. Errors: InputError, FaceError."""
    bore = find_bore(site.mesh, site.group, name=site.name)
    found = bearing_load(site.mesh, bore, force=np.asarray(site.what.bearing), name=site.name)
    facts = {
        "peak_bearing_pressure_MPa": found.peak,
        "mean_bearing_pressure_MPa": found.mean,
        "bore_diameter_mm": 2 * bore.radius,
        "bore_length_mm": bore.length,
        "centre_mm": bore.centre.tolist(),
    }
    # Niu, Airframe Stress Analysis and Sizing, figure 7.7.25; Shigley's table of lugs for the loose pin
    text = (
        f"Load {site.name}: its pin fits closely and touches half of the bore. Published factors for close fits lie "
        "some 10 % above this pressure's peak stress, those of a loose pin 35 to 50 %: keep that much in reserve."
    )
    fit = Caution("pin_fit", text, {"load": site.name, "close_fit": 1.1, "loose_fit": 1.5})
    tractions = (found.traction,)
    return with_resultant(
        site, found.forces, found.triangles, facts, bore.centre, cautions=(fit,), tractions=tractions
    )


KIND = LoadKind(
    "bearing",
    BearingKeys,
    bearing_of,
    says="The force of a closely fitting pin or shaft: cosine pressure on the half of the bore that it pushes, "
    "through its middle and none along its axis.",
    examples=(
        '[supports.bolts]\nface = "back"   # so that nothing else holds the bore\n'
        '[faces]\none_hole = { cylinder = { radius = "3.3 mm" }, near = ["5 mm", "8 mm", "45 mm"] }\n'
        '[loads.pin]\nface = "one_hole"\nbearing = ["0 N", "0 N", "-100 N"]',
    ),
    smooth=True,
)
