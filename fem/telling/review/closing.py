"""The end of a review: assumptions, cautions, signatures, and all that went in."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fem.digits import number
from fem.judging.cautions import texts_of
from fem.judging.findings import BodyFindings
from fem.telling.blocks import (
    Beside,
    Block,
    Cell,
    Heading,
    Items,
    Listing,
    Notice,
    Section,
    Signatures,
    Text,
    table,
)
from fem.telling.facts import flat
from fem.telling.review.material import CAUTION, Material
from fem.telling.review.numbers import seconds_text, spaced
from fem.telling.words import place

BASIS = (
    "Linear statics: small displacements, elastic material, no contact. Cases are sums of loads solved one by one.",
    "Buckling of the part as a whole, fatigue, creep and impact are not computed.",
    "Beads are assumed bonded to their neighbours everywhere, with the strengths of the card.",
)
MEETING = (
    "Statics: small displacements, elastic material; each case is solved as a whole, with where faces touch and slip."
)
"""Instead of the first of these, where faces meet."""


def _held(support: Mapping[str, Any]) -> str:
    """What a support is taken to do, from its facts."""
    if "bearing_friction" in support:
        return "bears on a rigid body of its shape that pushes and rubs and does not pull."
    if support.get("push_only"):
        return "lies on an elastic foundation that acts in compression alone."
    if "foundation_normal_N_per_mm3" in support:
        return "lies on an elastic foundation that acts in compression and tension alike."
    if "spring_N_per_mm" in support:
        return "is held by springs spread evenly over it."
    return "is fixed rigidly in its fixed directions."


def assumptions(material: Material) -> Section:
    """What the numbers rest on, and how far they may be trusted."""
    f = material.findings
    lines = list(BASIS)
    if any(case.joints for case in f.cases.values()):
        lines[0] = MEETING
    for name, support in f.supports.items():
        lines.append(f"Support {name}: face {support.get('face', '')} {_held(support)}")
    for name, b in f.bodies.items():
        if b.estimates:
            lines.append(
                f"Body {name}: of card {b.material} ({b.state}) these values are estimates: {', '.join(b.estimates)}."
            )
        else:
            lines.append(f"Body {name}: all values of card {b.material} ({b.state}) have a source.")
        lines.append(f"Body {name}: {_over_a_length(b)}")
        if b.print and b.print.assumed:
            told = ", ".join(a.replace("_", " ") for a in b.print.assumed)
            lines.append(f"Body {name}: assumed, since the study does not give them: {told}.")
        if b.print and b.print.cell_stiffness_mesh_change is not None:
            lines.append(
                f"Body {name}: the infill is a homogenised material from a periodic cell. When the cell's "
                f"mesh was refined, its stiffness changed by {_share(b.print.cell_stiffness_mesh_change)} and its "
                f"strength by {_share(b.print.cell_strength_mesh_change or 0.0)}; its peak bead stress may "
                f"be underestimated by {_share(b.print.cell_peak_underestimate or 0.0)}."
            )
    blocks: list[Block] = [Items(tuple(lines)), Heading("Accuracy of the numbers")]
    errors = f.trust.get("relative_energy_error", {})
    errors = errors if isinstance(errors, Mapping) else {}
    rows = [
        [name, number(c.force_error, digits=2), number(c.moment_error, digits=2)]
        + ([_share(float(errors[name])) if name in errors else "–"] if errors else [])
        for name, c in f.cases.items()
    ]
    head = ["Case", "Force residual [1]", "Moment residual [1]"]
    head += ["Estimated energy error"] if errors else []
    blocks.append(
        table(head, rows, caption="Equilibrium (relative to the applied loads) and the estimated error of the mesh.")
    )
    m = f.mesh
    blocks.append(
        Text(
            f"The mesh has {m.tetrahedra:,} tetrahedra of order {m.order}, {m.nodes:,} nodes and {m.unknowns:,} "
            f"unknowns; shape quality (1 is best) is {number(m.worst_quality)} at worst and "
            f"{number(m.median_quality)} in the median; {m.straightened} mid-side nodes were straightened."
        )
    )
    shown = ("relative_energy_error", "worst_tetrahedron_quality")
    rest = flat({k: v for k, v in f.trust.items() if k not in shown})
    if rest:
        blocks.append(table(("Quantity", "Value"), rest, align="ll", caption="Further accuracy figures.", small=True))
    return Section("assumptions", "Assumptions and accuracy", tuple(blocks))


def _over_a_length(body: BodyFindings) -> str:
    """Over which length stress is averaged before it is judged, and what that rests on."""
    distance = body.critical_distance_mm
    if body.print is None and distance is None:
        return "its card has no toughness, so stress is judged as it is, however small the place."
    critical = f"the critical distance of its card's toughness, {number(distance or 0.0)} mm"
    if body.print is None:
        return f"stress is averaged over {critical}."
    width = body.print.bead_width_mm
    infill = "; in infill, over the edge of a cell" if body.print.cell_mm else ""
    if distance is not None and distance > width:
        return f"stress in beads is averaged over {critical}{infill}; bead by bead, over a bead's width."
    why = (
        "its card has no toughness, which is on the safe side at notches"
        if distance is None
        else f"more than {critical}"
    )
    return f"stress in beads is averaged over a bead's width, {number(width)} mm ({why}){infill}."


def cautions(material: Material) -> Section:
    """What a reader must know, the particular first, and the standing caution."""
    own = material.findings.cautions
    blocks: list[Block] = [Items(texts_of(own))] if own else []
    blocks.append(Notice("Before anyone relies on this part", CAUTION))
    return Section("cautions", "Cautions", tuple(blocks))


def signatures(material: Material) -> Section:
    """Lines for those who answer for the review."""
    del material
    text = "Those who sign have read this review to its end and state what they have checked beyond it."
    return Section("signatures", "Signatures", (Signatures(("Prepared", "Checked", "Approved")), Text(text, "soft")))


def inputs(material: Material) -> Section:
    """All that went in: faces, files with their digests, versions, the study's own text."""
    f = material.findings
    faces = [[n, str(v.count), number(v.area_mm2, digits=4), place(v.centre_mm)] for n, v in f.faces.items()]
    blocks: list[Block] = []
    if faces:
        head = ("Face", "Faces of the solid", "Area [mm²]", "Centre")
        blocks.append(table(head, faces, align="lrrl", caption="Named faces."))
    blocks.append(table(("Input", "Value"), _files(f.inputs), align="ll", caption="Files.", small=True))
    versions = f.inputs.get("versions", {})
    rows = [["beadwork", f.beadwork], *([str(k), str(v)] for k, v in versions.items())]
    used = table(("Program or library", "Version"), rows, align="ll", caption="Versions.", small=True)
    took = [[k.replace("_", " "), seconds_text(v)] for k, v in f.seconds.items()]
    if f.peak_memory_MB:
        took.append(["peak memory", f"{number(f.peak_memory_MB)} MB"])
    spent = table(("Step of the run", "Time"), took, caption="Time and memory.", small=True)
    blocks.append(Beside((used, spent), (0.5, 0.5)) if took else used)
    text = f.inputs.get("text")
    if isinstance(text, str):
        blocks += [Heading("The study as it was read"), Listing(text)]
    return Section("inputs", "Inputs and versions", tuple(blocks), fresh=True)


def _files(given: Mapping[str, Any]) -> list[list[str | Cell]]:
    rows: list[list[str | Cell]] = []
    for key, value in given.items():
        if key in ("text", "versions"):
            continue
        if isinstance(value, Mapping):
            for name, told in value.items():
                if isinstance(told, Mapping):
                    rows += [[f"{key} · {name} · {k}", _told(k, v)] for k, v in told.items()]
                else:
                    rows.append([f"{key} · {name}", _told(name, told)])
        else:
            rows.append([key, _told(key, value)])
    return rows


def _told(key: str, value: Any) -> str:
    return spaced(str(value)) if key == "fingerprint" or "sha256" in key else str(value)


def _share(value: float) -> str:
    return f"{number(100 * value, digits=2)} %"
