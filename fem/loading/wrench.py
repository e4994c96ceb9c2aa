"""A force and a moment, spread linearly over a face that stays free to deform."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from fem.loading.kind import LoadKind, Site, pushed
from fem.loading.loads import Load, wrench_traction
from fem.loading.values import Forces, Moments, Point


@dataclass(frozen=True)
class WrenchKeys:
    """A force (3,) [N] and a moment (3,) [N mm] about the point `at` (3,) [mm], None: the face's centre."""

    force: Annotated[Forces, "The force."] = (0.0, 0.0, 0.0)
    moment: Annotated[Moments, "The moment about `at`."] = (0.0, 0.0, 0.0)
    at: Annotated[Point | None, "Where the force acts. The centre of the face if left out."] = None


def wrench_on(site: Site) -> Load:
    """The wrench at factor one. Errors: those of `linear_on`."""
    what: WrenchKeys = site.what
    at = site.group.centre if what.at is None else np.asarray(what.at)
    force, moment = np.asarray(what.force), np.asarray(what.moment)
    spread = wrench_traction(site.mesh, site.triangles, force=force, moment=moment, at=at, name=site.name)
    return pushed(site, spread, {"moment_Nmm": list(what.moment)}, at)


KIND = LoadKind(
    "wrench",
    WrenchKeys,
    wrench_on,
    says="A force and a moment, spread linearly over the face, which stays free to deform.",
    examples=(
        '[loads.lever]\nface = "pad"\n'
        'wrench = { moment = ["0 N*m", "0 N*m", "2 N*m"], at = ["72 mm", "0 mm", "13 mm"] }',
    ),
)
