"""How far the numbers of a single mesh may lie off, from what that mesh knows of its own error.

Around each hot spot the error of the raw stress is estimated in the energy norm (estimate.py), within one and a half
edges or the length over which the stress there is averaged. The judged stress is a mean over the tetrahedra around a
node, whose errors partly cancel: half of the estimate, and one per cent besides, held the exact stress on smooth
problems and the reserve factor of the finest mesh on the printed parts of studies/, on which both were chosen.

The work that loads do on a displacement is off by the product of two errors in the energy norm: that of the loads'
own answer and that of the answer to a unit load there. Both are taken alike.
Sources: O. C. Zienkiewicz and J. Z. Zhu, IJNME 24 (1987) 337; M. Ainsworth and J. T. Oden, A Posteriori Error
Estimation in Finite Element Analysis (2000), chapter 8 (quantities of interest).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fem.judging.band import ONE_MESH
from fem.judging.deciding import as_homogenised, least_of
from fem.judging.estimate import estimate_error
from fem.judging.findings import CaseFindings, Vector
from fem.judging.growing import LIFTS_OFF
from fem.judging.reserve import judge_reserve
from fem.judging.stress import StressField
from fem.part.tetmesh import Index, TetMesh
from fem.printing.field import PrintedField
from fem.tensors import Array

STRESS_SHARE, STRESS_FLOOR = 0.5, 0.01
"""A judged stress may be off by so much of the estimated error around it, and so much besides."""
MOTION_SHARE = 2.0
"""A displacement may be off by so many times the square of the whole mesh's energy error: once for the estimate, once
for zones that a coarse mesh puts out of place."""
NEAR = 1.5
"""Around a place: within so many edges."""


def with_mesh_bands(
    case: CaseFindings,
    mesh: TetMesh,
    printed: PrintedField,
    displacement: Array,
    *,
    energy_error: float,
    stay: StressField | None = None,
    temperature_change: Array | None = None,
) -> CaseFindings:
    """A case with the bands that its one mesh gives to its reserve factors, displacements and rotations.

    `displacement` (n, 3) [mm] is the whole case's, `energy_error` its share in the energy norm, `stay` the stress of
    its permanent loads.
    """
    spots = [s for s in case.hot_spots if 0 < s.reserve < np.inf]
    if not spots:
        return replace(case, bands=_motions(case, energy_error), bands_from=ONE_MESH)
    nodes = np.array([int(np.linalg.norm(mesh.nodes - s.at_mm, axis=1).argmin()) for s in spots])
    lengths = np.array([_length(printed, spot.zone) for spot in spots])
    errors = stress_errors(mesh, printed, displacement, nodes, lengths=lengths, temperature_change=temperature_change)
    taken = np.zeros(len(spots)) if stay is None else _taken(mesh, printed, stay, nodes)
    bands = [reserve_band(s.reserve, e, t) for s, e, t in zip(spots, errors, taken, strict=True)]
    told = {id(s): band for s, band in zip(spots, bands, strict=True)}
    # The factor at which a part lifts off its foundation knows no error of a stress
    free = [(case.reserve.minimum, ())] if case.reserve.mode == LIFTS_OFF else []
    _, band = least_of([*free, *((s.reserve, told[id(s)]) for s in spots)])
    return replace(
        case,
        reserve=as_homogenised(replace(case.reserve, band=band)),
        hot_spots=tuple(replace(s, band=told[id(s)]) if id(s) in told else s for s in case.hot_spots),
        bands=_motions(case, energy_error),
        bands_from=ONE_MESH,
    )


def stress_errors(
    mesh: TetMesh,
    printed: PrintedField,
    displacement: Array,
    nodes: Index,
    *,
    lengths: Array,
    temperature_change: Array | None = None,
) -> Array:
    """By what share (j,) the judged stress at some `nodes` (j,) may be off, which is averaged over `lengths` (j,)
    [mm]."""
    middle, edge, around = mesh.nodes[mesh.tets[:, :4]].mean(axis=1), mesh.edge_length, []
    for node, length in zip(nodes, lengths, strict=True):
        away = np.linalg.norm(middle - mesh.nodes[node], axis=1)
        around.append(away < max(NEAR * edge[int(away.argmin())], length))
    some = np.any(around, axis=0)
    found = estimate_error(mesh, printed, displacement, temperature_change=temperature_change, some=some)
    error = np.array([found.error[near].sum() for near in around])
    whole = error + [found.energy[near].sum() for near in around]
    return np.asarray(STRESS_FLOOR + STRESS_SHARE * np.sqrt(error / np.maximum(whole, 1e-300)))


def _length(printed: PrintedField, zone: str) -> float:
    """The longest length [mm] over which the stress of a zone is averaged in any body."""
    return max((m.length for m in printed.materials if m.zone == zone), default=0.0)


def _taken(mesh: TetMesh, printed: PrintedField, stay: StressField, nodes: Index) -> Array:
    """What share (j,) of the strength at some nodes permanent loads take, below 1."""
    zones = tuple(zone.at(np.isin(zone.nodes, nodes)) for zone in stay.zones)
    alone = judge_reserve(mesh, printed, permanent=None, growing=replace(stay, zones=zones))
    return np.asarray(np.minimum(1 / alone.reserve[nodes], 0.999))


def reserve_band(reserve: float, error: float, taken: float) -> Vector:
    """The band of a reserve factor where stress is off by the share `error` and permanent loads take the share
    `taken` of the strength: what is left of that for the growing loads shrinks or grows by more than the stress."""
    least, most = 1 / (1 + error), 1 / (1 - min(error, 0.9))
    return tuple(float(max(reserve * (each - taken) / (1 - taken), 0.0)) for each in (least, most))


def _motions(case: CaseFindings, energy_error: float) -> dict[str, Vector]:
    """The bands of a case's displacements and rotations."""
    off = min(MOTION_SHARE * energy_error**2, 1.0)
    return {key: (value * (1 - off), value * (1 + off)) for key, value in case.magnitudes.items()}
