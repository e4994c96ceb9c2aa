"""What was found bead by bead as rows of text, for the tables of the report and of the review."""

from __future__ import annotations

import math
from collections.abc import Mapping

from fem.digits import number
from fem.judging.findings import CaseFindings, FaceFindings, Findings
from fem.judging.zoomed import MISSED, WholeFindings, ZoomFindings
from fem.telling.words import place, vector
from fem.telling.zoom_words import band_text, reserve_or_none, short_reserve, zones_in

EXPLAINED = (
    "The homogenised answer takes infill as an even material, which is right where many of its cells lie side by "
    "side. At the places below a cube was filled with the beads themselves, as they are printed, moved at its cut "
    "faces as the solved part moves there, and solved again; the beads of its inner half were judged by the mean "
    "stress of each bead. The range in brackets is that of larger cubes and other positions of the infill's lattice. "
    "Verdict, requirements and hot spots take the number of the beads where there is one."
)
WHOLE_EXPLAINED = (
    "Every printed body was also solved bead by bead as a whole, on the loads and supports of the study. It shows "
    "whether a place was missed, and how far the homogenised stiffness lies off. Its boxes are coarser than those of "
    "a place, whose number counts where there is one."
)
LOOKED_HEAD = ("Case", "Location of the weakest bead", "Bead by bead", "Homogenised", "Looked at")
LOOKED = (
    "All places looked at. A scan takes one cube of coarse boxes, to see whether the place may decide; where its "
    "beads bear clearly more than those of another place it is not looked at further."
)
NONE_MISSED = (
    f"no place bears less than {100 * MISSED:.0f} % of the reserve factor that was found without the whole part."
)
"""What is said, after the case's name, where the whole part shows no place that was missed."""
WHOLE_HEAD = ("Quantity", "Homogenised", "Bead by bead, at places", "Bead by bead, whole")
MISSED_HEAD = ("Location", "Zone", "Failure mode", "Bead by bead", "Homogenised")


def zoom_title(case: str, zoom: ZoomFindings) -> str:
    """What a table of a zoom is about."""
    near = f", {zoom.face_distance_mm:.1f} mm from face {zoom.face}" if zoom.face else ""
    return f"Case {case}: {zoom.body} at {place(zoom.worst_at_mm)}{near}"


def zoom_rows(zoom: ZoomFindings) -> tuple[tuple[str, str], ...]:
    """Name and text of all that a table says of one place."""
    band = band_text(zoom.band)
    boxes = " x ".join(f"{v:.3g}" for v in zoom.voxel_mm)
    minima = [(f"Minimum in the {zone}", reserve_or_none(zoom.by_zone.get(zone))) for zone in zones_in(zoom.by_zone)]
    return (
        (
            "Reserve factor, bead by bead",
            f"{short_reserve(zoom.least)}{f' ({band})' if band else ''}, in the {zoom.zone}",
        ),
        ("Reserve factor, homogenised", _in_zone(zoom.homogenised, zoom.homogenised_zone)),
        ("Failure mode", zoom.mode),
        *minima,
        ("Beads beyond their strength", "none" if zoom.beads_beyond == 0 else f"{zoom.beads_beyond:,}"),
        ("Cube", f"{number(zoom.size_mm)} mm around {place(zoom.at_mm)}"),
        ("Boxes", f"{boxes} mm: {zoom.unknowns:,} unknowns, {zoom.iterations} iterations"),
        ("Larger cube", settled_text(zoom)),
    )


def looked_rows(findings: Findings) -> tuple[tuple[str, ...], ...]:
    """All places of all cases in one table, the worst of a case first."""
    out = []
    for name, case in findings.cases.items():
        for zoom in sorted(case.zooms, key=lambda z: z.least):
            band = "" if zoom.scan else f" ({band_text(zoom.band)})"
            out.append(
                (
                    name,
                    place(zoom.worst_at_mm),
                    f"{'about ' if zoom.scan else ''}{short_reserve(zoom.least)}{band}, in the {zoom.zone}",
                    _in_zone(zoom.homogenised, zoom.homogenised_zone),
                    "scan" if zoom.scan else "in full",
                )
            )
    return tuple(out)


def settled_text(zoom: ZoomFindings) -> str:
    """Whether the number still moves when the cube grows."""
    moved = f"changed the reserve factor by {number(100 * abs(zoom.change), digits=2)} %"
    return f"{moved}: settled" if zoom.settled else f"{moved}: NOT settled"


def _in_zone(value: float, zone: str) -> str:
    return short_reserve(value) + (f", in the {zone}" if zone and math.isfinite(value) else "")


# ---- the whole part beside the other two


def whole_rows(case: CaseFindings, faces: Mapping[str, FaceFindings]) -> tuple[tuple[str, str, str, str], ...]:
    """Rows under WHOLE_HEAD; empty where the part was not solved as a whole."""
    whole = case.whole
    if whole is None:
        return ()
    most = whole.maximum_displacement_mm
    rows = [
        (
            "Maximum displacement",
            f"{number(case.maximum_displacement_mm)} mm",
            "–",
            f"{number(most)} mm{_off(most, case.maximum_displacement_mm)}",
        )
    ]
    for name in (face for face in case.faces if face in whole.faces and face in faces):
        own, beads = case.faces[name].displacement_mm, whole.faces[name].displacement_mm
        told = f"{vector(beads)} mm{_off(math.hypot(*beads), math.hypot(*own))}"
        rows.append((f"Displacement of {name}", f"{vector(own)} mm", "–", told))
    energy = f"{number(whole.strain_energy_mJ)} mJ{_off(whole.strain_energy_mJ, case.strain_energy_mJ)}"
    rows.append(("Strain energy", f"{number(case.strain_energy_mJ)} mJ", "–", energy))
    rows += [
        (f"Minimum in the {zone}", homogenised_minimum(case, zone), _zoomed_minimum(case, zone), _whole(whole, zone))
        for zone in zones_in(whole.by_zone)
    ]
    beyond = "none" if whole.beads_beyond == 0 else f"{whole.beads_beyond:,}"
    rows.append(("Beads beyond their strength", "–", "–", beyond))
    return tuple(rows)


def whole_line(whole: WholeFindings) -> str:
    """How the whole was solved."""
    boxes = " x ".join(f"{v:.3g}" for v in whole.voxel_mm)
    on = f", on {whole.device}" if whole.device else ""
    return (
        f"Minimum {short_reserve(whole.least)}, {whole.mode}, in the {whole.zone} of {whole.body} at "
        f"{place(whole.at_mm)}. Boxes of {boxes} mm: {whole.unknowns:,} unknowns, {whole.iterations} iterations{on}."
    )


def homogenised_minimum(case: CaseFindings, zone: str) -> str:
    """The homogenised minimum of a zone, or a dash where the part has no such zone."""
    return reserve_or_none(case.reserve.by_zone.get(zone))


def _zoomed_minimum(case: CaseFindings, zone: str) -> str:
    found = [(z.by_zone[zone], z) for z in case.zooms if z.by_zone.get(zone) is not None]
    if not found:
        return "–"
    least, at = min(found, key=lambda pair: pair[0] or 0.0)
    return reserve_or_none(least) + (f" at {place(at.worst_at_mm)}" if at.zone == zone else "")


def _whole(whole: WholeFindings, zone: str) -> str:
    return reserve_or_none(whole.by_zone.get(zone)) + (f" at {place(whole.at_mm)}" if whole.zone == zone else "")


def _off(value: float, base: float) -> str:
    return f" ({100 * (value / base - 1):+.1f} %)" if base > 0 else ""


def missed_rows(whole: WholeFindings) -> tuple[tuple[str, str, str, str, str], ...]:
    """Rows under MISSED_HEAD."""
    return tuple(
        (place(m.at_mm), m.zone, m.mode, short_reserve(m.least), short_reserve(m.homogenised)) for m in whole.missed
    )
