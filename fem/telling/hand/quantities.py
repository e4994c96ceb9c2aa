"""Which quantities a viewer paints, and in which colours: the same that the report's pictures have."""

from __future__ import annotations

from typing import Any

import numpy as np

from fem.judging.pressed import on_nodes
from fem.judging.scene import Scene
from fem.telling.colours import UTILISATION_TOP, ZONES, Colour, displacement_map, reserve_scale, use_map
from fem.tensors import Array

STEPS = 64
"""Colours of a continuous scale that the page takes along; the browser blends between them."""
BEAD = (
    ("σ11, along the bead", "σ11"),
    ("σ22, across the bead in the layer", "σ22"),
    ("σ33, across the layers", "σ33"),
    ("τ23, shear between layers, across the bead", "τ23"),
    ("τ13, shear between layers, along the bead", "τ13"),
    ("τ12, shear in the layer", "τ12"),
)
"""Names of the stresses in bead axes, in the order of components."""
JOINT_FIELDS = (("pressure", "bearing pressure", "p", "MPa"), ("opening", "opening of joints", "", "mm"))
"""Key of the field at joints, its name, sign and unit."""
PRINCIPAL = ("largest principal", "middle principal", "smallest principal")


def principal_stresses(stress: Array) -> Array:
    """Principal stresses (n, 3) [MPa], largest first, of stresses (n, 6) [MPa] in the order xx yy zz yz xz xy."""
    matrix = stress[:, [0, 5, 4, 5, 1, 3, 4, 3, 2]].reshape(-1, 3, 3)
    return np.asarray(np.linalg.eigvalsh(matrix)[:, ::-1])


def described(scene: Scene, required: float) -> list[dict[str, Any]]:
    """The quantities in the order of the list: key of the fields, name, group, unit, range and colours of each."""
    out: list[dict[str, Any]] = []
    if scene.cases:
        out = [_reserve(required), _displacement(scene)]
        bead = _largest(scene, "print_stress")
        out += [
            _signed(f"bead_{i}", name, sign, bead[i], "Stress in bead axes") for i, (name, sign) in enumerate(BEAD)
        ]
        principal = np.concatenate([principal_stresses(fields.stress) for fields in scene.cases.values()])
        top, group = float(np.abs(principal).max(initial=0.0)), "Stress of the zone as a whole"
        out += [
            _signed(f"principal_{i}", f"{name} stress", f"σ{i + 1}", top, group) for i, name in enumerate(PRINCIPAL)
        ]
        out.append(_mises(principal, group))
        if any(fields.joints for fields in scene.cases.values()):
            out += [_at_joints(scene, *each) for each in JOINT_FIELDS]
    if scene.cuts:
        name = "zone and bead direction, on sections"
        out.append({"key": "zone", "name": name, "group": "As printed", "scale": _zones(scene)})
    return out


def _largest(scene: Scene, name: str) -> list[float]:
    """The largest size of each of the six components over all cases."""
    each = [np.abs(getattr(f, name)).max(axis=0) for f in scene.cases.values()]
    return [float(v) for v in np.max(each, axis=0)]


def _reserve(required: float) -> dict[str, Any]:
    scale = reserve_scale(required)
    edges = [0.0 if np.isinf(e) else UTILISATION_TOP if e == 0 else 1 / e for e in scale.edges]
    marks = {1.0: "failure", required: "required"} if required != 1 else {1.0: "failure, required"}
    labels = [f"{e:g}" for e in scale.edges[1:-1]]
    words = [marks.get(e, "") for e in scale.edges[1:-1]]
    return {
        "key": "reserve",
        "name": "reserve factor",
        "group": "Strength and stiffness",
        "unit": "",
        "top": UTILISATION_TOP,
        "scale": {
            "kind": "bands",
            "edges": edges,
            "colours": [_hex(c) for c in scale.colours],
            "labels": labels,
            "words": words,
        },
    }


def _displacement(scene: Scene) -> dict[str, Any]:
    sizes = [float(np.linalg.norm(f.displacement, axis=1).max(initial=0.0)) for f in scene.cases.values()]
    scale = {"kind": "even", "colours": _sampled(displacement_map())}
    tops = dict(zip(scene.cases, sizes, strict=True))
    return {
        "key": "displacement",
        "name": "displacement",
        "group": "Strength and stiffness",
        "unit": "mm",
        "tops": tops,
        "scale": scale,
    }


def _signed(key: str, name: str, sign: str, top: float, group: str) -> dict[str, Any]:
    from cmcrameri import cm

    scale = {"kind": "even", "signed": True, "colours": _sampled(cm.vik)}
    return {"key": key, "name": name, "sign": sign, "group": group, "unit": "MPa", "top": top, "scale": scale}


def _mises(principal: Array, group: str) -> dict[str, Any]:
    a, b, c = principal.T
    top = float(np.sqrt(((a - b) ** 2 + (b - c) ** 2 + (c - a) ** 2) / 2).max(initial=0.0))
    scale = {"kind": "even", "colours": _sampled(use_map())}
    return {
        "key": "mises",
        "name": "von Mises stress",
        "sign": "σv",
        "group": group,
        "unit": "MPa",
        "top": top,
        "scale": scale,
    }


def _at_joints(scene: Scene, key: str, name: str, sign: str, unit: str) -> dict[str, Any]:
    mesh = scene.mesh
    tops = {
        case: float(on_nodes(fields.joints, key, mesh.triangles, count=len(mesh.nodes)).max(initial=0.0))
        for case, fields in scene.cases.items()
    }
    scale = {"kind": "even", "colours": _sampled(use_map() if key == "pressure" else displacement_map())}
    out = {"key": key, "name": name, "group": "Where bodies meet", "skin": True, "unit": unit, "tops": tops}
    return out | {"scale": scale} | ({"sign": sign} if sign else {})


def _zones(scene: Scene) -> dict[str, Any]:
    """Colours of all that a section can show; names of what these sections do show, "" for all else."""
    from fem.printing.cut import OUTSIDE, PLACES

    seen = {int(place) for cut in scene.cuts for place in np.unique(cut.place)} - {OUTSIDE}
    names = [name if number in seen else "" for number, name in enumerate(PLACES)]
    return {"kind": "names", "names": names, "colours": [_hex(ZONES[name]) for name in PLACES]}


def _sampled(colours: Any) -> list[str]:
    return [_hex(colours(float(v))[:3]) for v in np.linspace(0, 1, STEPS)]


def _hex(colour: Colour) -> str:
    return "#" + "".join(f"{round(255 * c):02x}" for c in colour)
