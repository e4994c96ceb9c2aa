"""From scene and findings to all that one viewer shows."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

import numpy as np

from fem.errors import InputError
from fem.judging.findings import Findings
from fem.judging.pressed import on_nodes
from fem.judging.scene import CaseFields, Scene
from fem.judging.verdict import TARGET_RESERVE, verdict_of
from fem.telling.colours import UTILISATION_TOP, painted
from fem.telling.hand.body import Shown, levels
from fem.telling.hand.nouns import Hand
from fem.telling.hand.packing import packed, packed_indices, places, signed, unsigned
from fem.telling.hand.quantities import JOINT_FIELDS, described, principal_stresses
from fem.telling.hand.things import arrows_of, marks_of, named_axes, sections_of, supports_of

MOST_BYTES = 4_500_000
"""A viewer's data stay below this unless the caller allows another size."""
STRESS_STEPS = 4095
"""Stresses are told in so many steps to the largest of their case: 0.012 %, far below what any mesh can tell."""
FIVE_TIMES = 5
"""Packing makes numbers up to so many times smaller: a level whose plain numbers are larger still is not tried."""


def part_in_hand(
    scene: Scene,
    findings: Findings | None = None,
    *,
    title: str = "",
    still: str = "",
    most_bytes: int = MOST_BYTES,
) -> Hand:
    """What a viewer of `scene` shows; `findings` bring hot spots, the required reserve and the factors of the cases.

    The mesh is taken along whole where it fits into `most_bytes`; otherwise ever coarser, and the viewer says so.
    Errors: InputError when even the thinned surface is larger, or findings and scene are of different cases.
    """
    if findings is not None and not set(scene.cases) <= set(findings.cases):
        raise InputError("the findings are of other cases than the fields.", where="the part in hand")
    required = verdict_of(findings).required if findings is not None else TARGET_RESERVE
    known = {
        "diagonal": scene.mesh.diagonal,
        "quantities": described(scene, required),
        "first": findings.worst_case if findings is not None and findings.cases else next(iter(scene.cases), ""),
        "axes": named_axes(scene, findings),
        "arrows": arrows_of(scene, findings),
        "marks": {name: [asdict(mark) for mark in marks] for name, marks in marks_of(scene, findings).items()},
        "sections": sections_of(scene, findings),
        "faces": [face.label for face in scene.mesh.faces],
    }
    for shown in levels(scene.mesh):
        if _plain_size(shown, len(scene.cases)) > FIVE_TIMES * most_bytes:
            continue
        data = known | _mesh_data(scene, shown) | {"note": shown.note}
        size = len(json.dumps(data)) + len(still)
        if size <= most_bytes:
            return Hand(
                title or (findings.title if findings is not None else "The part"), data, shown.note, still, size
            )
    raise InputError(
        f"the part in hand would take more than {most_bytes / 1e6:g} MB of the page.",
        where="the part in hand",
        advice="Ask for fewer cases in one study.",
    )


def _plain_size(shown: Shown, cases: int) -> int:
    """Bytes of the numbers before they are packed."""
    indices = shown.triangles.size + shown.straight.size + shown.curved.size
    return len(shown.node) * (6 + 26 * cases) + 4 * indices


def _mesh_data(scene: Scene, shown: Shown) -> dict[str, Any]:
    joints = _joint_data(scene, shown)
    return {
        "nodes": len(shown.node),
        "points": places(shown.points),
        "triangles": packed_indices(shown.triangles),
        "face": packed(shown.face.astype(np.uint16)),
        "edges": packed_indices(shown.edges),
        **_bodies(scene, shown),
        "straight": packed_indices(shown.straight),
        "curved": packed_indices(shown.curved),
        "supports": supports_of(scene, shown),
        "cases": {name: _case_data(fields, shown) | joints[name] for name, fields in scene.cases.items()},
    }


def _bodies(scene: Scene, shown: Shown) -> dict[str, Any]:
    """The bodies by name and that of each node, where there are several."""
    if len(scene.mesh.bodies) < 2:
        return {}
    of = scene.mesh.node_body[shown.node].astype(np.uint16)
    return {"bodies": list(scene.mesh.bodies), "body": packed(of)}


def _joint_data(scene: Scene, shown: Shown) -> dict[str, dict[str, Any]]:
    """By case, the packed fields at joints, where any case has one."""
    out: dict[str, dict[str, Any]] = {name: {} for name in scene.cases}
    if not any(fields.joints for fields in scene.cases.values()):
        return out
    for name, fields in scene.cases.items():
        for key, *_ in JOINT_FIELDS:
            values = on_nodes(fields.joints, key, scene.mesh.triangles, count=len(scene.mesh.nodes))
            out[name][key] = signed(values[shown.node], steps=STRESS_STEPS)
    return out


def _case_data(fields: CaseFields, shown: Shown) -> dict[str, Any]:
    """The packed fields of a case by the names that `quantities.described` uses."""
    at = shown.node
    out: dict[str, Any] = {"reserve": unsigned(painted(fields.reserve[at]), top=UTILISATION_TOP)}
    for axis, column in zip("xyz", fields.displacement[at].T, strict=True):
        out[f"displacement_{axis}"] = signed(column)
    for number, column in enumerate(fields.print_stress[at].T):
        out[f"bead_{number}"] = signed(column, steps=STRESS_STEPS)
    for number, column in enumerate(principal_stresses(fields.stress[at]).T):
        out[f"principal_{number}"] = signed(column, steps=STRESS_STEPS)
    return out
