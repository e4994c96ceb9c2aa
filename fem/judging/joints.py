"""What the faces of each joint do to each other, in numbers."""

from __future__ import annotations

import numpy as np

from fem.joining.joint import Joint
from fem.judging.findings import JointFindings
from fem.judging.pressed import state_of
from fem.solving.equilibrium import Contact, Equilibrium
from fem.tensors import Array

MOST_PRESSED = 0.01
"""The share of a joint's area over which the highest pressure is told: single points scatter."""


def joint_findings(
    equilibrium: Equilibrium, displacement: Array, *, contact: Contact | None
) -> dict[str, JointFindings]:
    """The joints of a solved case, by name."""
    joined = equilibrium.joined
    if joined is None:
        return {}
    law, jump = joined.law, joined.links.jump(displacement)
    state = state_of(equilibrium, displacement, contact=contact)
    total = -state.total(law.normal)
    out = {}
    for number, joint in enumerate(joined.joints):
        own = joined.joint == number
        area, at = joined.area[own], joint.facing.places
        centre = area @ at / area.sum()
        touching, slipping = state.touching[own], state.slipping[own]
        pressure = np.maximum(state.force[own], 0.0) / area
        along = jump[own] - np.einsum("qi,qi->q", jump[own], law.normal[own])[:, None] * law.normal[own]
        slip = np.linalg.norm(along, axis=1)
        share = float(area[touching].sum() / area.sum())
        sliding = float(area[slipping].sum() / area.sum())
        out[joint.name] = JointFindings(
            force_N=_three(total[own].sum(axis=0)),
            moment_Nmm=_three(np.cross(at - centre, total[own]).sum(axis=0)),
            at_mm=_three(centre),
            pressure_max_MPa=_highest(pressure, area),
            gap_max_mm=float(np.maximum(-state.approach[own], 0.0).max(initial=0.0)),
            slip_max_mm=float(slip[slipping].max(initial=0.0)),
            touching=share,
            slipping=sliding,
            closing_max_mm=float(np.maximum(state.approach[own], 0.0).max(initial=0.0)),
            state=_in_words(joint.kind, share, sliding),
            bodies=_bodies(equilibrium, joint),
        )
    return out


def _bodies(equilibrium: Equilibrium, joint: Joint) -> tuple[str, ...]:
    """The body of the first face, and that of the second where it is meshed."""
    mesh, nodes = equilibrium.mesh, joint.facing.nodes[0]
    ends = nodes[:1] if joint.rigid else nodes[[0, len(nodes) // 2]]
    return tuple(mesh.bodies[mesh.node_body[node]] for node in ends)


def _highest(pressure: Array, area: Array) -> float:
    """The mean of the highest pressures (q,) [MPa], over a small share of the area (q,) [mm^2]."""
    order = np.argsort(-pressure)
    reach = np.cumsum(area[order])
    most = order[: max(1, int(np.searchsorted(reach, MOST_PRESSED * reach[-1])))]
    return float(area[most] @ pressure[most] / area[most].sum())


def _in_words(kind: str, touching: float, slipping: float) -> str:
    if kind == "bonded":
        return "glued"
    if touching == 0:
        return "open"
    words = "touches all over" if touching > 0.999 else f"touches on {100 * touching:.0f} % of its area"
    if slipping > 0.999 * touching:
        return f"{words}, slips"
    return f"{words}, slips on {100 * slipping:.0f} %" if slipping > 0.001 else words


def _three(vector: Array) -> tuple[float, float, float]:
    x, y, z = (float(v) for v in vector)
    return x, y, z
