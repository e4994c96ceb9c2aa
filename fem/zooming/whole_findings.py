"""What a whole part solved bead by bead says beside the homogenised answer, and the places that this missed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from fem.caution import Caution
from fem.digits import reserve_text
from fem.errors import InputError, NotConverged, NoTrustworthyAnswer
from fem.judging.findings import CaseFindings
from fem.judging.zoomed import MISSED, FaceMoves, MissedPlace, WholeFindings
from fem.tensors import Array
from fem.zooming.place import SolvedPart, ZoomedPlace, zoom_place
from fem.zooming.whole import WeakPlace, WholeBody
from fem.zooming.worst import MOST, JudgedCase, Surroundings, node_near, place_text

MOST_TOLD = 8


def missed_places(found: CaseFindings, name: str, bodies: Sequence[WholeBody]) -> list[tuple[WholeBody, WeakPlace]]:
    """Places of the whole part, worst first, whose beads bear less than a case's decided reserve factor, and which no
    zoom has looked at.
    """
    out = []
    for whole in bodies:
        for place in whole.cases[name].places if name in whole.cases else ():
            looked = any(
                z.body == whole.body.name
                and (np.abs((place.at - np.array(z.at_mm)) @ whole.body.axes.T) <= z.size_mm / 4).all()
                for z in found.zooms
            )
            if not looked and place.reserve < MISSED * found.reserve.minimum:
                out.append((whole, place))
    return sorted(out, key=lambda pair: pair[1].reserve)


def zoom_missed(
    around: Surroundings,
    told: Mapping[str, CaseFindings],
    bodies: Sequence[WholeBody],
    *,
    parts: Sequence[SolvedPart],
    wanted: int | None,
) -> tuple[list[ZoomedPlace], list[Caution]]:
    """Look closer at what the whole part shows and the homogenised answer missed; nothing where no zoom is wanted."""
    places: list[ZoomedPlace] = []
    remarks: list[Caution] = []
    if wanted == 0:
        return places, remarks
    for name, found in sorted(told.items(), key=lambda item: item[1].reserve.minimum):
        for whole, place in missed_places(found, name, bodies)[:2]:
            near = [p for p in places if p.body.name == whole.body.name]
            if len(places) >= MOST or any(np.linalg.norm(p.at - place.at) < p.size / 4 for p in near):
                continue
            try:
                places.append(zoom_place(whole.body, place.at, parts=parts))
            except (InputError, NotConverged, NoTrustworthyAnswer) as error:
                text = (
                    f"Case {name}: the place at {place_text(place.at)} was not solved in a cube of its own: {error}"
                )
                remarks.append(Caution("no_zoom", text, {"case": name, "at_mm": _floats(place.at)}))
    return places, remarks


def with_whole(
    around: Surroundings, name: str, found: CaseFindings, bodies: Sequence[WholeBody], case: JudgedCase
) -> CaseFindings:
    """A case's findings with those of the whole part.

    Its boxes are coarser than a zoom's: it decides only where nothing else looked at what it found.
    """
    mine = [whole for whole in bodies if name in whole.cases]
    ranked = sorted(((p, w) for w in mine for p in w.cases[name].places), key=lambda pair: pair[0].reserve)
    if not ranked:
        return found
    (worst, of), mesh = ranked[0], around.mesh
    left = missed_places(found, name, bodies)
    nodes = [node_near(mesh, whole.body.name, place.at) for whole, place in left]
    missed = tuple(
        MissedPlace(_floats(p.at), p.zone, p.mode, p.reserve, float(case.field.reserve[node]))
        for (_, p), node in zip(left, nodes, strict=True)
    )
    whole = WholeFindings(
        voxel_mm=_floats(of.step),
        unknowns=sum(w.unknowns for w in mine),
        iterations=max(w.iterations for w in mine),
        least=worst.reserve,
        zone=worst.zone,
        mode=worst.mode,
        at_mm=_floats(worst.at),
        body=of.body.name,
        by_zone={
            zone: min((v for w in mine if (v := w.cases[name].by_zone[zone]) is not None), default=None)
            for zone in ("wall", "cover", "core")
        },
        strain_energy_mJ=sum(w.cases[name].energy for w in mine),
        maximum_displacement_mm=max(w.cases[name].displacement for w in mine),
        beads_beyond=sum(w.cases[name].beyond for w in mine),
        faces={
            face: FaceMoves(_floats(moves[:3]), _floats(np.degrees(moves[3:])))
            for w in mine
            for face, moves in w.cases[name].faces.items()
        },
        missed=missed[:MOST_TOLD],
        device=of.device,
    )
    reserve = found.reserve
    if left and left[0][1].reserve < reserve.minimum:
        at = left[0][1]
        reserve = replace(
            reserve,
            minimum=at.reserve,
            least=at.reserve,
            mode=at.mode,
            zone=at.zone,
            phase="beads",
            body=left[0][0].body.name,
            face=around.near(nodes[0])[0],
            at_mm=_floats(at.at),
            singular=False,
            nonsingular_minimum=min(reserve.nonsingular_minimum, at.reserve),
            decided_by="whole",
            band=(),
        )
    return replace(found, reserve=reserve, whole=whole)


def missed_caution(name: str, found: CaseFindings) -> tuple[Caution, ...]:
    """What must be said of places that the homogenised answer missed."""
    if found.whole is None or not found.whole.missed:
        return ()
    worst = found.whole.missed[0]
    text = (
        f"Case {name}: the whole part bead by bead is weakest where the homogenised answer did not look: "
        f"{reserve_text(worst.least)} at {place_text(worst.at_mm)}, in the {worst.zone} "
        f"(homogenised {reserve_text(worst.homogenised)})."
    )
    return (Caution("missed", text, {"case": name, "reserve": worst.least}, decisive=True),)


def _floats(values: Array) -> tuple[float, ...]:
    return tuple(float(v) + 0.0 for v in np.asarray(values, dtype=float))
