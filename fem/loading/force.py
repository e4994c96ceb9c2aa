"""A force, spread evenly over a face or over a spot of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fem.caution import Caution
from fem.loading.bearing import is_whole_hole
from fem.loading.kind import LoadKind, Site, pushed, with_resultant
from fem.loading.loads import Load, even_traction
from fem.loading.spot import OnASpot, spot_force
from fem.loading.values import Forces
from fem.tensors import Array


@dataclass(frozen=True)
class ForceKeys:
    """A force (3,) [N] spread evenly over a face, or over a spot of it."""

    force: Forces
    spot: OnASpot = None


def force_on(site: Site) -> Load:
    """The force at factor one. Errors: InputError, FaceError."""
    what: ForceKeys = site.what
    force = np.asarray(what.force)
    if what.spot is None:
        even = even_traction(site.group, force=force)
        return pushed(site, even, {}, site.group.centre, cautions=_glued(site, force))
    spot = spot_force(site.mesh, site.triangles, force=force, spot=what.spot, name=site.name)
    facts = {"spot_area_mm2": spot.area, "centre_mm": spot.point.tolist()}
    off = float(np.linalg.norm(spot.point - spot.centre))
    cautions: tuple[Caution, ...] = ()
    if off > 1e-6 * what.spot.radius:
        text = f"an edge cuts its spot; the force acts at the middle of what is left, {off:.3g} mm from the point."
        numbers = {"load": site.name, "off_mm": off}
        cautions = (Caution("spot_cut", f"Load {site.name}: {text}", numbers),)
    tractions = (spot.traction,)
    return with_resultant(
        site, spot.forces, spot.triangles, facts, spot.point, cautions=cautions, tractions=tractions
    )


def _glued(site: Site, force: Array) -> tuple[Caution, ...]:
    """The caution for a force that would pull on the far half of a bore as if the pin were glued in."""
    if not is_whole_hole(site.mesh, site.group):
        return ()
    axis = site.mesh.faces[site.group.faces[0]].axis
    across = force if axis is None else force - (force @ axis) * axis
    if np.linalg.norm(across) <= 1e-3 * np.linalg.norm(force):
        return ()
    text = "its force is spread over the whole bore, as if the pin were glued in; write bearing in place of force."
    return (Caution("glued_pin", f"Load {site.name}: {text}", {"load": site.name}, decisive=True),)


KIND = LoadKind(
    "force",
    ForceKeys,
    force_on,
    says="A force, spread evenly over the face.",
    examples=('[loads.hook]\nface = "pad"\nforce = ["0 N", "0 N", "-60 N"]',),
)
