"""What taking stress from displacements needs of a mesh and its material alone, made once for all loads."""

from __future__ import annotations

import weakref
from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.cores import even_ranges, shared
from fem.judging.averaging import Average, Depth, average_over, slopes_of, surface_depth
from fem.judging.corners import inner_edges
from fem.judging.notches import Notch, notch_of, sharp_nodes
from fem.judging.stress import SLIVER, StressField, ZoneStress, point_strain, point_volume
from fem.part.quadrature import STRESS_POINTS
from fem.part.tetmesh import TET_EDGES, Index, TetMesh
from fem.printing.field import PrintedField, PrintedMaterial, free_expansion, wall_axes
from fem.tensors import Array, rotate_stiffness, strain_rotation, stress_rotation

_TO_POINTS = np.column_stack([1 - STRESS_POINTS.sum(axis=1), STRESS_POINTS])
_CORNERS = np.linalg.inv(_TO_POINTS)
TOGETHER = np.cos(np.pi / 4)
"""Walls whose beads run within 22.5 degrees of each other are averaged together: the cosine of twice that."""
_MIDDLES = np.array(TET_EDGES)


@dataclass(frozen=True)
class _Zone:
    """One material's part of a mesh: its `tets` (m,) and their `size` (m,) [mm^3], what of each integration point's
    `volume` (m, 4) [mm^3] is the zone's, where its stress lies among those of all (`first`), how it is carried to its
    entries (`near` (m, 4), `shift` (m, 4, 4), `entry` (m, 10), `sign` (m, 10), -1 where an entry's axes point the
    other way), the `node` (e,) of each entry, which of the zone's nodes that is (`place` (e,)), its `weight` (e,)
    [mm^3], `way` (e,) and `turn` (e,) [rad], which entries are judged (e,), the average over its length, its sharp
    inner corners, and for walls the axes of each tetrahedron's beads (m, 6, 6).
    """

    material: PrintedMaterial
    tets: Index
    size: Array
    volume: Array
    first: int
    near: Array
    shift: Array
    entry: Index
    sign: Array
    node: Index
    place: Index
    weight: Array
    way: Index
    turn: Array
    share: Array
    closeness: Array
    average: Average | None
    notch: Notch | None
    axes: Array | None

    def at_nodes(self, values: Array) -> Array:
        """The mean (n, k) at each of the zone's nodes of what its entries (e, k) have."""
        share = self.weight[:, None]
        out = np.zeros((int(self.place.max()) + 1, values.shape[1]))
        np.add.at(out, self.place, share * values)
        return out / np.bincount(self.place, weights=self.weight)[:, None]

    def averaged(self, plain: Array, moved: Array, corner: Array | None) -> Array:
        """Stress (e, 6) over the material's length from that at the entries, `plain` and `moved` under the surface
        (e, 6), and the mean around sharp inner `corner`s."""
        if self.average is None and self.notch is None:
            return moved
        node = self.at_nodes(plain)
        if self.notch is not None:
            node[self.notch.at] = corner
        if self.average is None:
            change, kept = np.zeros_like(node), np.ones(len(node))
        else:
            change, kept = self.average.change(node), self.average.kept
        found = moved + change[self.place] - (1 - kept)[self.place, None] * (plain - node[self.place])
        if self.notch is not None:
            node[self.notch.at] = self.notch.factor[:, None] * (node + change)[self.notch.at]
            middle, one, two = self.notch.middles.T
            node[middle] = (node[one] + node[two]) / 2
            sharp = np.isin(self.place, np.concatenate([self.notch.at, middle]))
            found[sharp] = node[self.place[sharp]]
        return found


class Recovery:
    """Takes displacements of one mesh to the stress of its zones."""

    def __init__(self, mesh: TetMesh, printed: PrintedField) -> None:
        self.mesh, self.printed = mesh, printed
        self.volume = point_volume(mesh)
        self.which = np.full((len(mesh.tets), 3), -1, dtype=np.int64)
        self._tables()
        depth, node = surface_depth(mesh), len(mesh.nodes)
        self.exponent = sharp_nodes(inner_edges(mesh), node)
        whole = np.bincount(mesh.tets.ravel(), weights=np.repeat(self.volume.sum(axis=1), 10), minlength=node)
        self.zones = [self._zone(number, depth, whole) for number in range(len(printed.materials))]
        self.lies_in, nearest = np.full(node, -1), np.zeros(node)
        for number, zone in enumerate(self.zones):
            mine = zone.closeness > nearest[zone.node]
            self.lies_in[zone.node[mine]], nearest[zone.node[mine]] = number, zone.closeness[mine]

    def points(self, displacement: Array, temperature_change: Array | None) -> tuple[Array, Array]:
        """The stress (k, 4, 6) [MPa, part axes] of each zone of each tetrahedron at its points: rows `which` (m, 3);
        and how much each tetrahedron (m,) has warmed [K]."""
        from fem.judging import recovery_kernels as kernels

        mesh, printed = self.mesh, self.printed
        warm = np.zeros(len(mesh.tets)) if temperature_change is None else np.asarray(temperature_change, dtype=float)
        points = np.empty((self.count, 4, 6))
        given = point_strain(mesh, displacement), printed.quarter, np.ascontiguousarray(printed.normal), self.which
        shared(
            kernels.zone_stress,
            even_ranges(len(mesh.tets)),
            *given, self.row, self.stiffness, self.free, warm, points,
        )  # fmt: skip
        return points, warm

    def stress(self, displacement: Array, temperature_change: Array | None) -> StressField:
        """The averaged stress of every zone."""
        mesh = self.mesh
        points, warm = self.points(displacement, temperature_change)
        zones, node = [], np.zeros((len(mesh.nodes), 6))
        error = energy = 0.0
        for number, zone in enumerate(self.zones):
            own = points[zone.first : zone.first + len(zone.tets)]
            found, wrong, whole = self._smoothed(zone, own)
            error, energy = error + wrong, energy + whole
            mine = self.lies_in[zone.node] == number
            node[zone.node[mine]] = found[mine]
            change = np.bincount(
                zone.entry.ravel(), weights=np.repeat(warm[zone.tets] * zone.size, 10), minlength=len(zone.node)
            )
            told = ZoneStress(zone.node.astype(np.int32), found, zone.turn, change / zone.weight, zone.way)
            zones.append(told.at((zone.share >= SLIVER) | mine))
        relative = float(np.sqrt(error / (energy + error))) if energy > 0 else 0.0
        return StressField(tuple(zones), node, relative)

    def _smoothed(self, zone: _Zone, own: Array) -> tuple[Array, float, float]:
        """A zone's stress (e, 6) at its entries in part axes, twice the energy [mJ] by which raw and smoothed stress
        differ, and twice that of all."""
        from fem.judging import recovery_kernels as kernels

        notch = None if zone.notch is None else zone.notch.mean(own)
        if zone.axes is not None:
            turned = np.empty_like(own)
            kernels.turned_stress(zone.axes, own, turned)
            own = turned
        plain, moved = np.zeros((len(zone.node), 6)), np.zeros((len(zone.node), 6))
        there = np.empty((len(own), 4, 6))
        kernels.to_entries(
            own, _CORNERS, zone.near, zone.shift, zone.entry, zone.sign, zone.size, plain, moved, there
        )
        plain, moved = plain / zone.weight[:, None], moved / zone.weight[:, None]
        soft = np.linalg.inv(zone.material.stiffness)
        wrong, whole = kernels.energies(own, there, plain, zone.entry, zone.sign, _TO_POINTS, soft, zone.volume)
        if zone.axes is not None:
            back = stress_rotation(np.swapaxes(wall_axes(zone.material, zone.turn), 1, 2))
            plain, moved = np.einsum("eab,eb->ea", back, plain), np.einsum("eab,eb->ea", back, moved)
        return zone.averaged(plain, moved, notch), wrong, whole

    def _tables(self) -> None:
        """Stiffness and expansion of each zone of each tetrahedron in part axes, a wall's by its own turn."""
        printed = self.printed
        stiffness, free = [m.stiffness for m in printed.materials], [free_expansion(m) for m in printed.materials]
        table, expansion = [np.array(stiffness)], [np.array(free)]
        self.row = np.where(printed.share > 0, printed.zone, -1).astype(np.int64)
        count, rows = 0, len(stiffness)
        for number, material in enumerate(printed.materials):
            tets, slot = np.nonzero(self.row == number)
            self.which[tets, slot] = count + np.arange(len(tets))
            count += len(tets)
            if material.follows_outline:
                axes = wall_axes(material, printed.turn[tets])
                table.append(rotate_stiffness(material.stiffness, axes))
                expansion.append(strain_rotation(np.swapaxes(axes, 1, 2)) @ free_expansion(material))
                self.row[tets, slot] = -2 - rows - np.arange(len(tets))
                rows += len(tets)
        walls = self.row < -1
        self.row[walls] = -2 - self.row[walls]
        self.stiffness, self.free, self.count = np.concatenate(table), np.concatenate(expansion), count

    def _zone(self, number: int, depth: Depth, whole: Any) -> _Zone:
        from fem.judging import recovery_kernels as kernels

        mesh, printed, material = self.mesh, self.printed, self.printed.materials[number]
        tets, slot = np.nonzero((printed.zone == number) & (printed.share > 0))
        size = self.volume[tets].sum(axis=1) * printed.share[tets, slot]
        near = np.ascontiguousarray(printed.reach[tets, slot])
        own, corner = mesh.tets[tets].astype(np.int64), mesh.nodes[mesh.tets[tets, :4]]
        order = np.argsort(own.ravel(), kind="stable")
        start = np.concatenate([[0], np.cumsum(np.bincount(own.ravel(), minlength=len(mesh.nodes)))])
        turn = printed.turn[tets] if material.follows_outline else np.zeros(len(tets))
        ways = np.column_stack([np.cos(2 * turn), np.sin(2 * turn)])
        entry = np.full((len(tets), 10), -1, dtype=np.int64)
        node = kernels.split_by_way(start, order // 10, own, ways, size, TOGETHER, entry)

        def summed(values: Array) -> Array:
            """The sums (e,) over the tetrahedra around each entry."""
            each = np.broadcast_to(values, (len(tets), 10)).ravel()
            return np.asarray(np.bincount(entry.ravel(), weights=each, minlength=len(node)))

        weight = summed(size[:, None])
        mean = np.arctan2(summed((ways[:, 1] * size)[:, None]), summed((ways[:, 0] * size)[:, None])) / 2
        # A bead has no sense: axes that differ by half a turn are the same, but for the sign of two shears
        sign = np.where(np.cos(turn[:, None] - mean[entry]) < 0, -1.0, 1.0)
        step = depth.missing(material.length)[own[:, :4]] if material.length > 0 else np.zeros((len(own), 4))
        slope = slopes_of(corner)
        shift = np.einsum("mbi,mai,ma->mab", slope, depth.inward[own[:, :4]], step, optimize=True)
        reaches = np.concatenate([near, (near[:, _MIDDLES[:, 0]] + near[:, _MIDDLES[:, 1]]) / 2], axis=1)
        closeness = summed(reaches * self.volume[tets].sum(axis=1)[:, None])
        place = np.unique(node, return_inverse=True)[1].reshape(-1)
        average = average_over(
            corner, place=place[entry], weight=size, edge=mesh.edge_length[tets], length=material.length
        )
        notch = notch_of(
            self.exponent,
            place=place[entry],
            near=near,
            node=np.unique(node),
            volume=self.volume[tets],
            edge=depth.edge,
            length=material.length,
        )
        way = np.arange(len(node)) - np.searchsorted(node, node)
        axes = stress_rotation(wall_axes(material, turn)) if material.follows_outline else None
        count = int(self.which[tets[0], slot[0]]) if len(tets) else 0
        share = weight / whole[node]
        placed = near, np.ascontiguousarray(shift), entry, sign, node, place, weight, way, mean, share, closeness
        volume = self.volume[tets] * printed.share[tets, slot][:, None]
        return _Zone(material, tets, size, volume, count, *placed, average, notch, axes)


_last: list[tuple[weakref.ref[TetMesh], weakref.ref[PrintedField], Recovery]] = []


def recovery_of(mesh: TetMesh, printed: PrintedField) -> Recovery:
    """The recovery for a mesh and its material: the last one again where both are the same."""
    if _last and _last[0][0]() is mesh and _last[0][1]() is printed:
        return _last[0][2]
    made = Recovery(mesh, printed)
    _last[:] = [(weakref.ref(mesh), weakref.ref(printed), made)]
    return made
