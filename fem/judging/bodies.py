"""What each body is and weighs, zone by zone, and what it takes to print it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from fem.caution import Caution
from fem.judging.findings import BodyFindings, PrintFindings
from fem.part.quadrature import tet_volumes
from fem.part.tetmesh import Index, TetMesh
from fem.printing.body import PrintedBody
from fem.printing.estimate import estimate_print
from fem.printing.field import PrintedField
from fem.printing.keys import PrintKeys
from fem.printing.plan import print_axes
from fem.tensors import Array

FULL = 0.01
"""A core of a smaller share of the part's volume than this is called filled by walls and covers."""
MOST_MOVES = 0.02
"""An infill cell whose stiffness moved by more than this when its mesh was last refined is said to be rough."""
MOST_STRENGTH_MOVES = 0.05
"""An infill cell whose strengths are less certain than this is said to be rough."""
FEWEST_CELLS = 4.0
"""A body smaller than so many infill cells across is too small for a homogenised infill (common practice)."""


def describe_bodies(
    mesh: TetMesh, printed: PrintedField, *, made: Mapping[str, PrintedBody], keys: Mapping[str, PrintKeys | None]
) -> dict[str, BodyFindings]:
    """Volume, mass and material of each body, and what its print takes."""
    out = {}
    each = tet_volumes(mesh)
    density = printed.density
    for name in mesh.bodies:
        tets = mesh.tets_of(name)
        body = made[name]
        size = each[tets]
        volume, mass = float(size.sum()), float((size * density[tets]).sum())
        own = mesh.nodes[np.unique(mesh.tets[tets])]
        zones, masses = {}, {}
        for number, material in enumerate(printed.materials):
            held = float((size * printed.holds(number)[tets]).sum())
            if any(material is z for z in body.zones):
                zones[material.zone] = held / volume
                masses[material.zone] = held * material.density * 1e6
        plan = keys[name]
        out[name] = BodyFindings(
            volume_mm3=volume,
            mass_g=mass * 1e6,
            box_mm=(_floats(own.min(axis=0)), _floats(own.max(axis=0))),
            material=body.core.name,
            state=body.core.state,
            zones=zones,
            estimates=body.core.estimates,
            print_axes=None if body.plan is None else tuple(map(_floats, body.core.print_axes)),
            zone_mass_g=masses,
            print=None
            if plan is None
            else _print_findings(body, plan, mass=mass, nodes=own, thin=_thin(printed, tets, size)),
            critical_distance_mm=None if body.values is None else body.values.critical_distance,
        )
    return out


def _thin(printed: PrintedField, tets: Index, size: Array) -> float:
    return float((printed.thin[tets] * size).sum() / size.sum())


def _print_findings(body: PrintedBody, keys: PrintKeys, *, mass: float, nodes: Array, thin: float) -> PrintFindings:
    plan, cell = body.plan, body.cell
    assert plan is not None
    up = nodes @ print_axes(plan)[2]
    took = estimate_print(
        plan,
        mass=mass,
        density=body.solid,
        height=float(np.ptp(up)),
        speed=keys.speed,
        filament_diameter=keys.filament_diameter,
        price_per_kg=keys.price_per_kg,
    )
    assumed = (*keys.assumed, *took.assumed)
    if cell is not None and keys.infill_angle is None:
        assumed = (*assumed, "infill angle")
    return PrintFindings(
        build_direction=_floats(print_axes(plan)[2]),
        bead_width_mm=plan.bead_width,
        bead_height_mm=plan.bead_height,
        walls=plan.walls,
        covers=plan.covers,
        raster_deg=plan.raster,
        pattern=plan.infill_pattern,
        infill_density=plan.infill_density if cell is None else cell.density,
        infill_angle_deg=plan.infill_angle,
        cell_mm=None if cell is None else _floats(cell.size),
        cell_stiffness_mesh_change=None if cell is None else cell.moves,
        cell_strength_mesh_change=None if cell is None else cell.strength_moves,
        cell_peak_underestimate=None if cell is None else cell.points_short,
        thin_share=thin,
        layers=took.layers,
        bead_length_m=took.bead_length / 1000,
        speed_mm_per_s=took.speed,
        time_h=took.time / 3600,
        filament_diameter_mm=took.filament_diameter,
        filament_m=took.filament / 1000,
        price_per_kg=took.price_per_kg,
        cost=took.cost,
        assumed=assumed,
        infill_quality=plan.core_quality,
    )


def print_cautions(bodies: Mapping[str, BodyFindings]) -> tuple[Caution, ...]:
    """What a reader of the numbers should know of how the bodies are printed."""
    return tuple(c for name, body in bodies.items() for c in _of_print(name, body))


def _of_print(name: str, body: BodyFindings) -> Iterator[Caution]:
    plan = body.print
    if plan is None or plan.cell_mm is None:
        return
    if body.zones.get("core", 0.0) < FULL:
        text = f"Body {name}: walls and covers fill the part; the {plan.pattern} infill has no room in it."
        yield Caution("no_core", text, {"body": name})
        return
    narrowest = min(high - low for low, high in zip(*body.box_mm, strict=True))
    if max(plan.cell_mm) * FEWEST_CELLS > narrowest:
        yield Caution(
            "few_cells",
            f"Body {name}: a cell of its {plan.pattern} infill is {max(plan.cell_mm):.3g} mm wide, the part "
            f"{narrowest:.3g} mm across; with so few cells the homogenised stiffness of the infill is rough.",
            {"body": name, "cell_mm": max(plan.cell_mm), "narrowest_mm": narrowest},
        )
    moved = plan.cell_stiffness_mesh_change
    if moved is not None and moved > MOST_MOVES:
        yield Caution(
            "cell_stiffness",
            f"Body {name}: the stiffness of its infill's cell moved by {100 * moved:.1f} % when its mesh was last "
            "refined.",
            {"body": name, "mesh_change": moved},
        )
    changed, short = plan.cell_strength_mesh_change or 0.0, plan.cell_peak_underestimate or 0.0
    if max(changed, short) > MOST_STRENGTH_MOVES:
        yield Caution(
            "cell_strength",
            f"Body {name}: reserve factors inside its {plan.pattern} infill are rough. Its cell's strengths went "
            f"{100 * changed:.0f} % off when its mesh was last refined, and the places judged may understate its "
            f"worst bead by {100 * short:.0f} %.",
            {"body": name, "mesh_change": changed, "peak_underestimate": short},
        )


def _floats(values: Array) -> tuple[float, ...]:
    return tuple(float(v) + 0.0 for v in values)
