"""The clamping of tightened bolts: equal and opposite pressures whose resultant is zero.

Each bolt presses with its washer on a ring around the hole, on the side away from the face it clamps to; the
counter-pressure spreads over the part of that face which the pressure cone reaches.
Source of the cone (half angle 30 degrees): R. G. Budynas and J. K. Nisbett, Shigley's Mechanical Engineering
Design (9th ed.), section 8-5.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np

from fem.caution import Caution
from fem.digits import number
from fem.errors import FaceError, InputError
from fem.loading.kind import LoadKind, Site, clean
from fem.loading.loads import Arrow, Load, force_text, resultant
from fem.loading.sampling import FINE, linear_on, nodal_forces, sample
from fem.loading.traction import Traction
from fem.loading.values import Extent, Name, Preload
from fem.part.faces import FaceGroup, describe
from fem.part.tetmesh import Index, TetMesh
from fem.tensors import Array, unit


@dataclass(frozen=True)
class PreloadKeys:
    """Tightened bolts: `force` [N] for each hole of the face `holes`, `washer` the washer's outer diameter [mm],
    `against` the face they are clamped to, `head` the face under the washers (None: found next to the holes).
    """

    holes: Annotated[Name, "The face of the bolts' holes."]
    against: Annotated[Name, "The face that is pressed on the other part."]
    force: Annotated[Preload, "Force of each bolt."]
    washer: Annotated[Extent, "Outer diameter of the washer."]
    head: Annotated[Name | None, "The face under the washers. Found beside the holes if left out."] = None


@dataclass(frozen=True)
class Hole:
    """One bolt hole: `axis` (3,) points from the clamped face to the head, `origin` (3,) [mm] on the axis,
    `radius` [mm], `head` and `seat` positions along the axis [mm], `head_triangles` (j,) that carry the washer.
    """

    axis: Array
    origin: Array
    radius: float
    head: float
    seat: float
    head_triangles: Index

    @property
    def grip(self) -> float:
        """Preloaded length [mm]."""
        return self.head - self.seat


def find_holes(
    mesh: TetMesh, holes: FaceGroup, against: FaceGroup, *, head: FaceGroup | None, name: str
) -> list[Hole]:
    """The separate bolt holes in a group of cylinder faces, with the face that the head or washer sits on.

    Errors: FaceError when a face is no hole, or no plane square to the hole carries the head.
    """
    bundles: list[list[int]] = []
    for i in holes.faces:
        face = mesh.faces[i]
        known = face.axis is not None and face.origin is not None and face.radius is not None
        if face.kind != "cylinder" or not known or not face.hole:
            raise FaceError(f"{describe(face)} is not a round hole.", where=f"loads.{name}.preload.holes")
        for bundle in bundles:
            if _coaxial(mesh, bundle[0], i):
                bundle.append(i)
                break
        else:
            bundles.append([i])
    return [_hole(mesh, bundle, against, head, name) for bundle in bundles]


def _coaxial(mesh: TetMesh, first: int, second: int) -> bool:
    a, b = mesh.faces[first], mesh.faces[second]
    assert a.axis is not None and b.axis is not None and a.origin is not None and b.origin is not None
    off = b.origin - a.origin
    apart = off - (off @ a.axis) * a.axis
    scale = a.radius or 1.0
    return bool(abs(a.axis @ b.axis) > 0.999 and np.linalg.norm(apart) < 0.05 * scale and a.body == b.body)


def _hole(mesh: TetMesh, bundle: list[int], against: FaceGroup, head: FaceGroup | None, name: str) -> Hole:
    face = mesh.faces[bundle[0]]
    assert face.axis is not None and face.origin is not None and face.radius is not None
    own = mesh.nodes[mesh.nodes_of(tuple(bundle))]
    axis = unit(face.axis)
    along = (own - face.origin) @ axis
    seat = float((against.centre - face.origin) @ axis)
    # The head sits at the end of the hole that lies farther from the clamped face
    if abs(along.max() - seat) < abs(along.min() - seat):
        axis, along, seat = -axis, -along, -seat
    top = float(along.max())
    if head is not None:
        carrying = head.triangles
        top = float((head.centre - face.origin) @ axis)
    else:
        carrying = mesh.triangles_of(_square_planes(mesh, bundle, axis, face.origin, top, against))
    if not len(carrying):
        raise FaceError(
            f"no plane square to the hole at {describe(face)} carries the bolt's head.",
            where=f"loads.{name}.preload",
            advice='Name the face that the washer sits on: head = "...".',
        )
    return Hole(axis, face.origin, float(face.radius), top, seat, carrying)


def _square_planes(
    mesh: TetMesh, bundle: list[int], axis: Array, origin: Array, top: float, against: FaceGroup
) -> tuple[int, ...]:
    """Planes that look along the axis and share an edge with the hole."""
    own = set(mesh.nodes_of(tuple(bundle)).tolist())
    body = mesh.faces[bundle[0]].body
    found = []
    for i, face in enumerate(mesh.faces):
        if face.body != body or face.normal is None or i in against.faces or face.normal @ axis < 0.999:
            continue
        if abs(float((face.centre - origin) @ axis) - top) > 0.05 * (1 + abs(top)):
            continue
        if own & set(mesh.nodes_of((i,)).tolist()):
            found.append(i)
    return tuple(found)


@dataclass(frozen=True)
class Preloaded:
    """One bolt's clamping: `forces` (n, 3) [N]; `pressure` [MPa] the mean and `peak` the largest under the washer;
    `cover` the share of the washer that rests on the part; `tractions` are what presses under the washer and on the
    clamped face.
    """

    forces: Array
    pressure: float
    peak: float
    cover: float
    tractions: tuple[Traction, Traction]


def preload_forces(
    mesh: TetMesh, hole: Hole, *, against: FaceGroup, force: float, washer: float, name: str
) -> Preloaded:
    """The pull `force` [N] of one bolt under a washer of outer diameter `washer` [mm].

    Errors: InputError when the washer is no larger than the hole, misses the face, or hangs so far over an edge
    that it would have to pull.
    """
    if not washer / 2 > hole.radius * 1.02:
        raise InputError(
            f"a washer of {washer:g} mm is no larger than the hole of {2 * hole.radius:.4g} mm.",
            where=f"loads.{name}.preload.washer",
        )
    under = _pressed(mesh, hole, hole.head_triangles, outer=washer / 2, height=hole.head, push=-force, name=name)
    # Near an edge the cone is cut; its reach is drawn in until the linear pressure pushes everywhere
    full = washer / 2 + max(hole.grip, 0.0) * np.tan(np.radians(30))
    for reach in np.linspace(full, washer / 2, 6):
        over = _pressed(mesh, hole, against.triangles, outer=float(reach), height=hole.seat, push=force, name=name)
        if over.least >= 0:
            break
    if under.least < 0 or over.least < 0:
        at = ", ".join(f"{v:.4g}" for v in hole.origin + hole.axis * hole.head)
        raise InputError(
            f"the washer at ({at}) mm hangs so far over an edge that it would have to pull.",
            where=f"loads.{name}.preload.washer",
            advice="Take a smaller washer, or move the hole.",
        )
    whole = np.pi * ((washer / 2) ** 2 - hole.radius**2)
    cover, both = min(1.0, under.area / whole), (under.traction, over.traction)
    return Preloaded(under.forces + over.forces, force / under.area, under.most, cover, both)


@dataclass(frozen=True)
class _Pressed:
    """Nodal forces of one side, its `area` [mm^2], the `least` and `most` pressure [MPa] on it, and its traction."""

    forces: Array
    area: float
    least: float
    most: float
    traction: Traction


def _pressed(
    mesh: TetMesh, hole: Hole, triangles: Index, *, outer: float, height: float, push: float, name: str
) -> _Pressed:
    def ring(points: Array) -> Array:
        off = points - hole.origin
        return outer - np.linalg.norm(off - (off @ hole.axis)[..., None] * hole.axis, axis=-1)

    samples = sample(mesh, triangles, side=ring, fine=outer / FINE)
    if not samples.whole_area > 0:
        at = ", ".join(f"{v:.4g}" for v in hole.origin + hole.axis * height)
        raise InputError(f"no face lies under the washer at ({at}) mm.", where=f"loads.{name}.preload")
    field = linear_on(samples, force=push * hole.axis, moment=np.zeros(3), at=hole.origin, name=name)
    traction = field(samples.point, samples.normal)
    pressure = traction @ hole.axis * np.sign(push)
    forces = nodal_forces(mesh, samples, traction)
    pressed = Traction(triangles, field, ring, outer / FINE)
    return _Pressed(forces, samples.whole_area, float(pressure.min()), float(pressure.max()), pressed)


def preload_of(site: Site) -> Load:
    """The clamping of all bolts at factor one. Errors: InputError, FaceError."""
    what: PreloadKeys = site.what
    mesh, plan, against = site.mesh, site.plan, site.groups[what.against]
    head = site.groups[what.head] if what.head else None
    holes = find_holes(mesh, site.groups[what.holes], against, head=head, name=site.name)
    pressed = [
        preload_forces(mesh, h, against=against, force=what.force, washer=what.washer, name=site.name) for h in holes
    ]
    forces = np.sum([p.forces for p in pressed], axis=0)
    arrows = [
        Arrow(site.name, "force", h.origin + h.axis * place, sense * what.force * h.axis, force_text(what.force))
        for h in holes
        for place, sense in ((h.head, -1.0), (h.seat, 1.0))
    ]
    cover = min(p.cover for p in pressed)
    facts = {
        "kind": plan.kind,
        "permanent": plan.permanent,
        "bolts": len(holes),
        "force_per_bolt_N": what.force,
        "mean_washer_pressure_MPa": max(p.pressure for p in pressed),
        "peak_washer_pressure_MPa": max(p.peak for p in pressed),
        "washer_cover_share": cover,
        "grip_mm": holes[0].grip,
        "force_N": clean(resultant(mesh, forces)[0], scale=what.force),
    }
    text = f"Load {site.name}: a washer rests on the part with {100 * cover:.0f} % of its area only."
    caution = Caution("washer_overhangs", text, {"load": site.name, "cover_fraction": cover})
    return Load(
        site.name,
        plan.kind,
        forces,
        plan.permanent,
        np.unique(np.concatenate([h.head_triangles for h in holes])),
        facts,
        arrows=tuple(arrows),
        cautions=(caution,) if cover < 0.95 else (),
        tractions=tuple(t for p in pressed for t in p.tractions),
    )


def preload_words(facts: Mapping[str, Any]) -> tuple[str, str]:
    """How many bolts pull with what force, and why they add up to nothing."""
    count, each = int(facts["bolts"]), float(facts["force_per_bolt_N"])
    bolts = f"preload of {count} bolts" if count != 1 else "preload of 1 bolt"
    force = f"{number(each / 1000)} kN" if each >= 1000 else f"{number(each)} N"
    return f"{bolts}, {force} each", "each pair of forces is in equilibrium"


KIND = LoadKind(
    "preload",
    PreloadKeys,
    preload_of,
    says="Tightened bolts, which press the part between washer and seat.",
    examples=(
        '[loads.tightened]\npreload = { holes = "bolt_holes", against = "back", force = "0.5 kN", washer = "12 mm" }',
    ),
    names={("holes",): "faces", ("against",): "faces", ("head",): "faces"},
    on_a_face=False,
    smooth=True,
    permanent=True,
    without_resultant=preload_words,
)
