"""Both strengths of an infill: at the first bead, as the reserve field judges it, and at the collapse of its cell.

Collapse is calculated, by limit analysis of the cell under its own mean stress, at the places that come first by the
first bead, and at others of a like reserve whose stress is of another kind. From the stress at which the first bead
fails, permanent and growing together, it goes on in proportion; of two readings of what that leaves for the growing
part - all of the stress grows, or only what points along the growing part - the lesser counts.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from fem.caution import Caution
from fem.criteria.reserve import phase_reserve
from fem.criteria.strength import Strength
from fem.digits import reserve_text
from fem.judging.deciding import holding
from fem.judging.findings import CaseFindings, Reserve, Vector
from fem.judging.infill_findings import COLLAPSE, FIRST_BEAD, InfillFindings
from fem.judging.reserve import InfillReserve, ReserveField
from fem.part.tetmesh import Index, TetMesh
from fem.printing.body import PrintedBody
from fem.printing.field import PrintedField, PrintedMaterial
from fem.printing.infill.buckling import first_to_buckle
from fem.printing.infill.collapse import BRITTLE, CellRecipe, collapse_under
from fem.printing.plan import raster_axes
from fem.tensors import Array, stress_rotation

PLACES = 8
"""So many places of an infill are looked at in a case."""
BENDING = {"grid": 0.67, "honeycomb": 0.62, "triangle": 0.8}
"""Patterns of upright walls, with the least ratio of collapse to first bead that cells of 20 % have in the layer
(card pla, `beadwork cell`)."""
ALIKE = 2.0
"""Only places whose reserve factor is less than so many times the least are looked at."""


def infill_of_case(
    mesh: TetMesh,
    printed: PrintedField,
    field: ReserveField,
    *,
    made: Mapping[str, PrintedBody],
    collapse: bool,
) -> dict[str, InfillFindings]:
    """What the infill of each body bears in a case; `collapse` says whether that is calculated, too, and decides."""
    out = {}
    for number, found in field.infill.items():
        material = printed.materials[number]
        body = next(name for name, each in made.items() if each.core is material)
        if not np.isfinite(found.reserve).any():
            continue
        told = _first_bead(mesh, material, made[body], found)
        out[body] = _with_collapse(told, mesh, made[body], found) if collapse else told
    return out


def decided_by_infill(case: CaseFindings, field: ReserveField, *, mesh: TetMesh) -> CaseFindings:
    """The case with the collapse of its infill in place of the first bead's failure there; other zones count as they
    did. Its band holds what the mesh leaves open, and a place stays singular.
    """
    collapsing = {body: i for body, i in case.infill.items() if i.decides == COLLAPSE and i.collapse is not None}
    if not collapsing:
        return case
    body, first = min(collapsing.items(), key=lambda item: item[1].collapse or 0.0)
    least, was = first.collapse or 0.0, case.reserve
    others = {zone: r for zone, r in was.by_zone.items() if zone != "core" and r is not None}
    zone = min(others, key=lambda name: others[name], default="")
    if was.zone != "core" and was.minimum <= least:
        return case
    if zone and others[zone] < least:
        value = others[zone]
        told = replace(
            was,
            mode="first bead, before the infill collapses",
            zone=zone,
            phase="",
            band=_with_mesh((value, value), was),
        )
        told = replace(told, at_mm=_place_outside(field, mesh), face="", decided_by="homogenised")
    else:
        value = least
        told = replace(was, mode=first.collapse_mode, zone="core", phase="cell")
        told = replace(told, band=_with_mesh(first.collapse_band, was))
        told = replace(told, body=body, at_mm=first.collapse_at_mm, face="", decided_by=COLLAPSE)
    away = max(was.nonsingular_minimum, value)
    told = replace(
        told, minimum=value, least=value, nonsingular_minimum=away, singular=_at_singular(case, told.at_mm)
    )
    told = replace(told, chance_above_1=None, chance_met=None, chance_inputs=())  # judged by the first bead
    times = value / was.minimum if was.minimum > 0 else 1.0
    force, moment = (None if v is None else v * times for v in (case.failing_load_N, case.failing_load_Nmm))
    return replace(case, reserve=told, failing_load_N=force, failing_load_Nmm=moment)


def _with_mesh(band: Vector, was: Reserve) -> Vector:
    """A band (low, high) widened by what the mesh leaves open of the reserve that `was` told: the stress is that of
    the same mesh, and lies off by about the same share."""
    if not was.band or not 0 < was.minimum < np.inf or not band:
        return band
    low, high = holding(was.minimum, was.band).low, holding(was.minimum, was.band).high
    return (band[0] * low / was.minimum, band[1] * high / was.minimum)


def _at_singular(case: CaseFindings, at_mm: Vector) -> bool:
    """Whether a place is one at which the first bead's reserve does not converge with the mesh."""
    marked = [(case.reserve.at_mm, case.reserve.singular), *((s.at_mm, s.singular) for s in case.hot_spots)]
    return any(singular and np.allclose(place, at_mm, atol=1e-6) for place, singular in marked)


def _place_outside(field: ReserveField, mesh: TetMesh) -> Vector:
    """The place outside the infill that comes first."""
    inside = np.array([zone == "core" for zone, _ in field.phases])[field.phase]
    node = int(np.where(inside, np.inf, field.counted).argmin())
    return tuple(float(v) + 0.0 for v in mesh.nodes[node])


def infill_cautions(cases: Mapping[str, CaseFindings], patterns: Mapping[str, str]) -> tuple[Caution, ...]:
    """What a reader must know of a case whose infill decides, by the pattern of each body's."""
    out = []
    for name, case in cases.items():
        for body, told in case.infill.items():
            if told.decides != COLLAPSE or told.collapse is None:
                if (case.reserve.zone, case.reserve.body) == ("core", body) and _walls_bend(told, patterns[body]):
                    out.append(_may_bend(name, body, patterns[body]))
                continue
            data = {"case": name, "body": body, "first_bead": told.first_bead, "collapse": told.collapse}
            text = (
                f"Case {name}, body {body}: its infill counts by collapse ({reserve_text(told.collapse)}; first bead "
                f"{reserve_text(told.first_bead)}). That holds for a ductile polymer and a single overload. For "
                "repeated load, for what must stay tight, and in hot spots and pictures the first bead counts."
            )
            out.append(Caution("infill_collapse", text, data))
            if told.collapse_mode == BRITTLE:
                text = (
                    f"Case {name}, body {body}: interlayer tension ends the load of its infill; layers that part are "
                    "brittle, and bear nothing more than at their first failure."
                )
                out.append(Caution("infill_brittle", text, data, decisive=True))
    return tuple(out)


def _walls_bend(told: InfillFindings, pattern: str) -> bool:
    """Whether stress in the layer bends the upright walls of a pattern."""
    in_layer = np.linalg.norm(np.array(told.mean_stress_MPa)[[0, 1, 5]])
    return pattern in BENDING and bool(in_layer > np.linalg.norm(told.mean_stress_MPa) / 2)


def _may_bend(case: str, body: str, pattern: str) -> Caution:
    text = (
        f"Case {case}, body {body}: stress in the layer bends the walls of its {pattern} infill, which means over a "
        f"bead's section do not see: cells of 20 % collapsed at {BENDING[pattern]:g} times their first bead. Ask for "
        'both with [requirements] infill = "collapse".'
    )
    return Caution("infill_bends", text, {"case": case, "body": body, "least_ratio": BENDING[pattern]})


def _cell_rotation(body: PrintedBody) -> Array:
    """Takes a stress (6,) in part axes into the axes of the body's cell."""
    assert body.plan is not None
    return stress_rotation(raster_axes(body.plan, body.plan.infill_angle))


def _first_bead(mesh: TetMesh, material: PrintedMaterial, body: PrintedBody, found: InfillReserve) -> InfillFindings:
    at = int(found.reserve.argmin())
    mean = _cell_rotation(body) @ found.failing[at]
    compressed = bool(mean[:3].sum() < 0)
    return InfillFindings(
        first_bead=float(found.reserve[at]),
        mode=found.modes[found.mode[at]],
        at_mm=tuple(float(v) + 0.0 for v in mesh.nodes[found.nodes[at]]),
        mean_stress_MPa=tuple(float(v) + 0.0 for v in mean),
        compressed=compressed,
        without_interlayer=_without_interlayer(material, found, at) if compressed else None,
        decides=FIRST_BEAD,
    )


def _without_interlayer(material: PrintedMaterial, found: InfillReserve, at: int) -> float | None:
    """The reserve factor of one place by all that is not interlayer tension or shear, None without limit.

    The layers' strengths are taken as a thousand times as large; what then fails first counts.
    """
    least = np.inf
    stay, grow = found.failing[at] - found.reserve[at] * found.growing[at], found.growing[at]
    for phase in material.phases:
        strength = phase.strength
        if isinstance(strength, Strength) and not strength.isotropic:
            assert strength.tension is not None and strength.shear is not None
            strength = Strength(
                strength.tension * np.array([1.0, 1.0, 1000.0]),
                strength.compression,
                strength.shear * np.array([1000.0, 1000.0, 1.0]),
            )
        one = phase_reserve((phase.to_bead @ stay)[None], (phase.to_bead @ grow)[None], strength)
        least = min(least, float(one.reserve[0]))
    return least if np.isfinite(least) else None


def _with_collapse(told: InfillFindings, mesh: TetMesh, body: PrintedBody, found: InfillReserve) -> InfillFindings:
    """The findings with the collapse of the cell at the places that may come first."""
    assert body.plan is not None and body.cell is not None and body.values is not None
    plan, values = body.plan, body.values
    turn = _cell_rotation(body)
    chosen = _spread(found, body.cell.strength_MPa, turn)
    states, grows = found.failing[chosen] @ turn.T, found.growing[chosen] @ turn.T
    recipe = CellRecipe(
        plan.infill_pattern,
        plan.infill_density,
        plan.bead_width,
        plan.bead_height,
        values.E,
        values.nu,
        values.G,
        values.strength,
    )
    made = collapse_under(recipe, states)
    used, wall = first_to_buckle(body.cell.walls, states)
    buckles = 1 / np.maximum(used, 1e-9)
    factor = np.minimum(made.decides, buckles)
    reserve = _of_growing(found.reserve[chosen], factor, states, grows)
    k = int(reserve.argmin())
    mode = body.cell.walls[wall[k]].mode if buckles[k] < made.decides[k] else made.modes[k]
    above = np.minimum(np.minimum(made.above, made.brittle), buckles)
    high = float(_of_growing(found.reserve[chosen], above, states, grows).min())
    value = float(reserve[k])
    return replace(
        told,
        collapse=value,
        collapse_mode=mode,
        collapse_at_mm=tuple(float(v) + 0.0 for v in mesh.nodes[found.nodes[chosen[k]]]),
        collapse_band=(value, max(high, value)),
        ratio=value / told.first_bead if told.first_bead > 0 else None,
        places=len(chosen),
        decides=COLLAPSE,
    )


def _of_growing(first: Array, factor: Array, states: Array, grows: Array) -> Array:
    """The reserve factors (k,) of the growing part where the stress of the first bead's failure, `states` (k, 6), may
    be multiplied by `factor` (k,).
    """
    along = (states * grows).sum(axis=1) / np.maximum((grows**2).sum(axis=1), 1e-300)
    return np.asarray(np.maximum(np.minimum(first * factor, first + (factor - 1) * along), 0.0))


def _spread(found: InfillReserve, strength: Mapping[str, Array], turn: Array) -> Index:
    """The place of the least reserve, and others of a like one whose stress points elsewhere."""
    near = np.flatnonzero(found.reserve <= ALIKE * max(float(found.reserve.min()), 1e-12))
    near = near[np.isfinite(found.failing[near]).all(axis=1)]
    scale = np.concatenate([np.minimum(strength["tension"], strength["compression"]), strength["shear"]])
    way = found.failing[near] @ turn.T / scale
    way /= np.maximum(np.linalg.norm(way, axis=1), 1e-300)[:, None]
    chosen = [int(found.reserve[near].argmin())]
    away = np.linalg.norm(way - way[chosen[0]], axis=1)
    while len(chosen) < min(PLACES, len(near)) and away.max() > 0.1:
        chosen.append(int(away.argmax()))
        away = np.minimum(away, np.linalg.norm(way - way[chosen[-1]], axis=1))
    return np.asarray(near[chosen])
