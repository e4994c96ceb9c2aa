"""What decides where some places of a part were looked at bead by bead."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from fem.caution import Caution
from fem.digits import reserve_text
from fem.judging.advice import MOVING, SETTLED
from fem.judging.deciding import as_homogenised
from fem.judging.findings import CaseFindings, HotSpot, Reserve, UsedUp
from fem.judging.growing import LIFTS_OFF
from fem.judging.hotspots import MOST_SPOTS, WORTH
from fem.judging.reserve import ReserveField
from fem.judging.zoomed import ZoomFindings
from fem.tensors import Array
from fem.zooming.nouns import ZoomView
from fem.zooming.place import ZoomedCase, ZoomedPlace
from fem.zooming.worst import JudgedCase, Surroundings, covers, inside, node_near, place_text


def zoom_findings(around: Surroundings, place: ZoomedPlace, zoomed: ZoomedCase, field: ReserveField) -> ZoomFindings:
    """The numbers of a place in one case."""
    mesh, first = around.mesh, zoomed.first
    own = inside(place, mesh.nodes) & (mesh.node_body == mesh.bodies.index(place.body.name))
    node = node_near(mesh, place.body.name, place.at)
    if own.any():
        node = int(np.flatnonzero(own)[field.reserve[own].argmin()])
    homogenised, zone = float(field.reserve[node]), field.phases[field.phase[node]][0]
    worst = zoomed.judged.part_point(*first.at)
    face, distance = around.near(node_near(mesh, place.body.name, worst))
    return ZoomFindings(
        body=place.body.name,
        at_mm=_floats(place.at),
        size_mm=place.size,
        voxel_mm=_floats(zoomed.judged.beads.grid.step),
        unknowns=place.unknowns,
        iterations=place.iterations,
        least=first.reserve,
        band=zoomed.band,
        zone=first.zone,
        mode=first.mode,
        worst_at_mm=_floats(worst),
        by_zone=first.by_zone,
        homogenised=homogenised,
        homogenised_zone=zone,
        beads_beyond=first.beyond,
        change=zoomed.change,
        settled=zoomed.settled,
        face=face,
        face_distance_mm=distance,
        print_stress_MPa=_floats(zoomed.judged.stress[first.at]),
        scan=place.scan,
    )


def views_of(places: Sequence[ZoomedPlace], told: Mapping[str, CaseFindings]) -> tuple[ZoomView, ...]:
    """What pictures are drawn from: each place once, in the case in which it bears least; case by case in the order
    of each case's findings.
    """
    worst = [
        None if place.scan else min(place.cases, key=lambda name: place.cases[name].first.reserve) for place in places
    ]
    out = []
    for name, case in told.items():
        mine = [(place, least) for place, least in zip(places, worst, strict=True) if name in place.cases]
        out += [
            ZoomView(name, z, place.cases[name].judged)
            for z, (place, least) in zip(case.zooms, mine, strict=True)
            if least == name
        ]
    return tuple(out)


def views_at(around: Surroundings, place: ZoomedPlace, fields: Mapping[str, ReserveField]) -> tuple[ZoomView, ...]:
    """A place alone, case by case."""
    return tuple(
        ZoomView(name, zoom_findings(around, place, zoomed, fields[name]), zoomed.judged)
        for name, zoomed in place.cases.items()
    )


def decided(around: Surroundings, name: str, case: JudgedCase, places: Sequence[ZoomedPlace]) -> CaseFindings:
    """A case's findings in which beads decide where they were looked at.

    Elsewhere the homogenised answer decides where it is not doubtful; where it is, it only ranks, and its worst
    places were looked at. `failing_load` is left to the caller.
    """
    found, before = case.findings, case.findings.reserve
    mine = [place for place in places if name in place.cases]
    zooms = tuple(zoom_findings(around, place, place.cases[name], case.field) for place in mine)
    plain = as_homogenised(before)
    if not mine:
        return replace(found, reserve=plain)
    mesh, r = around.mesh, case.field.counted
    asked = {place.body.name for place in mine}
    counts = np.ones(len(mesh.nodes), dtype=bool)
    for body in asked:
        counts[(mesh.node_body == mesh.bodies.index(body)) & around.doubtful] = False
    for place in mine:
        counts[inside(place, mesh.nodes) & (mesh.node_body == mesh.bodies.index(place.body.name))] = False
    # Where beads bear nothing under the permanent loads alone, the place is told among those that are used up
    bearing = [z for z in zooms if z.least > 0]
    worst = min(bearing, key=lambda z: z.least, default=None)
    node = int(np.where(counts, r, np.inf).argmin())
    other = float(r[node]) if counts.any() else np.inf
    away = float(np.min(r[counts & ~case.singular.at], initial=np.inf))
    if worst is None:
        reserve = _of_node(around, case, node, plain, away) if counts.any() else plain
    elif other < worst.least:
        reserve = _of_node(around, case, node, plain, min(away, worst.least))
    else:
        reserve = replace(
            plain,
            minimum=worst.least,
            least=worst.least,
            mode=worst.mode,
            zone=worst.zone,
            phase="beads",
            body=worst.body,
            face=worst.face,
            at_mm=worst.worst_at_mm,
            singular=False,
            nonsingular_minimum=min(away, worst.least),
            decided_by="zoom",
            band=worst.band,
        )
    if case.lift_off < reserve.minimum:
        away = min(reserve.nonsingular_minimum, case.lift_off)
        reserve = replace(
            reserve,
            minimum=case.lift_off,
            least=case.lift_off,
            mode=LIFTS_OFF,
            nonsingular_minimum=away,
            decided_by="homogenised",
            band=(),
        )
    return replace(
        found,
        reserve=reserve,
        zooms=zooms,
        hot_spots=_spots(around, found.hot_spots, mine, zooms),
        used_up=_used_up(found.used_up, mine, zooms),
    )


def _used_up(
    told: Sequence[UsedUp], places: Sequence[ZoomedPlace], zooms: Sequence[ZoomFindings]
) -> tuple[UsedUp, ...]:
    """The places that permanent loads use up: by the beads where they were asked, else by the homogenised answer."""
    out: list[UsedUp] = []
    for place, zoom in zip(places, zooms, strict=True):
        if zoom.least == 0:
            own = next((u for u in told if _holds(place, u)), None)
            where = {"mode": zoom.mode, "zone": zoom.zone, "face": zoom.face, "at_mm": zoom.worst_at_mm}
            out.append(
                replace(own, **where) if own else UsedUp(None, body=zoom.body, share=0.0, nodes=0, **where)  # type: ignore[arg-type]
            )
    return (*out, *(u for u in told if not any(_holds(place, u) for place in places)))


def _holds(place: ZoomedPlace, used: UsedUp) -> bool:
    return used.body == place.body.name and bool(inside(place, np.array([used.at_mm]))[0])


def _of_node(around: Surroundings, case: JudgedCase, node: int, before: Reserve, away: float) -> Reserve:
    """The homogenised reserve of a node, as the deciding one; its band is that of the hot spot there, else as wide
    in proportion as that of the homogenised minimum.
    """
    mesh, field = around.mesh, case.field
    zone, phase = field.phases[field.phase[node]]
    value, at = float(field.reserve[node]), _floats(mesh.nodes[node])
    spot = next((s for s in case.findings.hot_spots if s.at_mm == at and s.band), None)
    band = spot.band if spot else ()
    if not band and before.band and 0 < before.minimum < np.inf and value < np.inf:
        band = tuple(value * end / before.minimum for end in before.band)
    return replace(
        before,
        minimum=value,
        nonsingular_minimum=away,
        band=band,
        least=value,
        mode=field.modes[field.mode[node]],
        zone=zone,
        phase=phase,
        body=mesh.bodies[mesh.node_body[node]],
        face=around.near(node)[0],
        at_mm=at,
        singular=bool(case.singular.at[node]),
    )


def _spots(
    around: Surroundings, spots: Sequence[HotSpot], places: Sequence[ZoomedPlace], zooms: Sequence[ZoomFindings]
) -> tuple[HotSpot, ...]:
    """The hot spots with the beads' numbers where they were asked, those whose number is doubtful last."""
    told = [
        HotSpot(
            reserve=z.least,
            mode=z.mode,
            zone=z.zone,
            phase="beads",
            body=z.body,
            face=z.face,
            face_distance_mm=z.face_distance_mm,
            at_mm=z.worst_at_mm,
            print_stress_MPa=z.print_stress_MPa,
            singular=False,
            singular_reason="",
            decided_by="zoom",
            homogenised=z.homogenised,
            homogenised_zone=z.homogenised_zone,
            band=z.band,
            verdict="" if z.scan else SETTLED if z.settled else MOVING,
        )
        for z in zooms
    ]
    rest = [s for s in spots if not any(covers(p, s) for p in places)]
    doubtful = {id(s): bool(around.doubtful[node_near(around.mesh, s.body, np.array(s.at_mm))]) for s in rest}
    sure = [s for s in rest if not doubtful[id(s)]]
    unsure = [replace(s, decided_by="undecided") for s in rest if doubtful[id(s)]]
    known = sorted([*told, *sure], key=lambda s: s.reserve)
    floor = min((s.reserve for s in known if s.reserve > 0), default=0.0)
    return (*[s for s in known if s.reserve <= WORTH * floor][:MOST_SPOTS], *unsure)


def passed_over(name: str, case: CaseFindings) -> tuple[Caution, ...]:
    """What must be said of a case's doubtful places that were not looked at."""
    left = [s for s in case.hot_spots if s.decided_by == "undecided" and s.reserve < case.reserve.minimum]
    unsettled = [z for z in case.zooms if not z.settled]
    out = []
    if left:
        worst = min(left, key=lambda s: s.reserve)
        places = "place" if len(left) == 1 else "places"
        text = (
            f"Case {name}: {len(left)} further {places} with a doubtful homogenised reserve factor (down to "
            f"{reserve_text(worst.reserve)}, at {place_text(worst.at_mm)}) were not solved bead by bead; "
            "--zoom N asks for more."
        )
        out.append(Caution("not_zoomed", text, {"case": name, "places": len(left), "reserve": worst.reserve}))
    for z in unsettled:
        text = (
            f"Case {name}: the cube at {place_text(z.at_mm)} has not settled: its reserve factor still moved by "
            f"{100 * z.change:.0f} % when it last grew; the band holds that."
        )
        out.append(Caution("not_settled", text, {"case": name, "change": z.change}))
    return tuple(out)


def _floats(values: Array) -> tuple[float, ...]:
    return tuple(float(v) + 0.0 for v in np.asarray(values, dtype=float))
