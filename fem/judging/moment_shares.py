"""Which connection carries how much of the moment that one body hands to another."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from fem.judging.findings import CaseFindings
from fem.judging.path import Vector
from fem.tensors import Array

NOTHING = 1e-6
"""A sum of moments below this share of their sizes added up is what rounding leaves."""

Connection = tuple[Vector, Vector, Vector]
"""What one connection does to the body: force (3,) [N], moment (3,) [N mm] about a place, that place (3,) [mm]."""


@dataclass(frozen=True)
class MomentShares:
    """The `moment` (3,) [N mm] and `force` (3,) [N] of all connections together, about the place `about` (3,) [mm],
    and the share of each in the moment: its own moment about that place, along the whole one, over it. Shares add up
    to one; a connection that turns the other way has a negative one. There are none where the moments cancel.
    """

    about: Vector
    force: Vector
    moment: Vector
    shares: dict[str, float]


def moment_shares(connections: Mapping[str, Connection], *, about: Vector | None = None) -> MomentShares:
    """How much of the moment each of the `connections` carries, all on the same body, `about` one place (3,) [mm]:
    unless given, the middle of their own places.

    Two connections apart from each other carry a moment by their forces too, as the pull of one and the push of the
    other: about one place, these count to each.
    """
    names = list(connections)
    force, moment, at = (
        np.array([connections[name][i] for name in names], dtype=float).reshape(-1, 3) for i in range(3)
    )
    centre = at.mean(axis=0) if about is None and names else np.asarray(about or (0.0, 0.0, 0.0), dtype=float)
    own = moment + np.cross(at - centre, force)
    whole = own.sum(axis=0)
    size = float(np.linalg.norm(whole))
    shares = {}
    if size > NOTHING * float(np.linalg.norm(own, axis=1).sum()):
        shares = {name: float(m @ whole) / size**2 for name, m in zip(names, own, strict=True)}
    return MomentShares(_three(centre), _three(force.sum(axis=0)), _three(whole), shares)


def connections_of(case: CaseFindings) -> dict[tuple[str, str], dict[str, Connection]]:
    """The connections of each pair of bodies in a case, by name: what they do to the body that is named first."""
    out: dict[tuple[str, str], dict[str, Connection]] = {}
    for name, joint in case.joints.items():
        if len(joint.bodies) != 2:
            continue
        one, other = joint.bodies
        pair = (min(one, other), max(one, other))
        sign = 1.0 if pair[0] == one else -1.0
        force, moment = (tuple(sign * v for v in vector) for vector in (joint.force_N, joint.moment_Nmm))
        out.setdefault(pair, {})[name] = (force, moment, joint.at_mm)
    for name, bolt in case.bolts.items():
        one, other = bolt.bodies
        if one != other and other:
            pair = (min(one, other), max(one, other))
            sign = 1.0 if pair[0] == one else -1.0
            force, moment = (tuple(sign * v for v in vector) for vector in (bolt.on_head_N, bolt.on_head_Nmm))
            out.setdefault(pair, {})[f"bolt {name}"] = (force, moment, bolt.at_mm)
    return out


def _three(vector: Array) -> Vector:
    return tuple(float(v) + 0.0 for v in vector)
