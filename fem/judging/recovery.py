"""What taking stress from displacements needs of a mesh and its material alone, made once for all loads."""

from __future__ import annotations

import weakref
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.cores import even_ranges, shared
from fem.judging.averaging import Average, Depth, average_over, slopes_of, surface_depth
from fem.judging.corners import inner_edges
from fem.judging.notches import Notch, notch_of, sharp_nodes
from fem.judging.stress import SLIVER, StressField, UnitStress, ZoneStress, point_volume, relative_error
from fem.part.quadrature import STRESS_POINTS, tet_slopes
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
    `volume` (m, 4) [mm^3] is the zone's, where its stress lies among those of all (`first`), how walls are `turned`
    (m,) [rad]; how stress is carried to its entries (`near` (m, 4), `shift` (m, 4, 4), `entry` (m, 10), `sign`
    (m, 10), -1 where an entry's axes point the other way); the `node` (e,) of each entry, which of the zone's nodes
    that is (`place` (e,)), its `weight` (e,) [mm^3], `way` (e,) and `turn` (e,) [rad], what it has a `share` (e,) of,
    how near the zone comes (`closeness` (e,)); the average over its length, and its sharp inner corners.
    """

    material: PrintedMaterial
    tets: Index
    size: Array
    volume: Array
    first: int
    turned: Array
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

    def mean(self, values: Array) -> Array:
        """The mean (e,) around each entry of what all tetrahedra of the mesh have."""
        return summed(self.entry, values[self.tets] * self.size, len(self.node)) / self.weight

    def averaged(self, plain: Array, moved: Array, corner: Array | None) -> Array:
        """Stress (k, e, 6) over the material's length from that at the entries, `plain` and `moved` under the surface
        (k, e, 6), and the mean around sharp inner `corner`s; all in one set of axes."""
        from fem.judging import recovery_kernels as kernels

        if self.average is None and self.notch is None:
            return moved
        node = plain.copy()
        if self.place[-1] + 1 < len(self.node):
            node = np.empty((len(plain), self.place[-1] + 1, 6))
            shared(kernels.to_places, even_ranges(len(plain)), self.place, self.weight, plain, node)
        if self.notch is not None:
            node[:, self.notch.at] = corner
        over, kept = (node, np.ones(1)) if self.average is None else (self.average(node), self.average.kept)
        found = moved + (over - node)[:, self.place] - (1 - kept[self.place, None]) * (plain - node[:, self.place])
        return found if self.notch is None else self.notch.carried(found, over, self.place)


def summed(entry: Index, values: Array, count: int) -> Array:
    """The sums over the tetrahedra around each of `count` entries (m, 10) of values (m,) or (m, 10)."""
    each = np.broadcast_to(values if values.ndim == 2 else values[:, None], entry.shape)
    return np.asarray(np.bincount(entry.ravel(), weights=each.ravel(), minlength=count))


class Recovery:
    """Takes displacements of one mesh to the stress of its zones."""

    def __init__(self, mesh: TetMesh, printed: PrintedField) -> None:
        self.mesh, self.printed = mesh, printed
        self.volume = point_volume(mesh)
        self.normal = np.ascontiguousarray(printed.normal)
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

    def points(self, displacements: Sequence[Array], warm: Sequence[Array | None]) -> Array:
        """The stress (count, k, 4, 6) [MPa, part axes] of each zone of each tetrahedron at its points, in rows
        `which` (m, 3), under each of k displacements (n, 3) [mm] with its warming (m,) [K]."""
        from fem.judging import recovery_kernels as kernels

        mesh, printed, count = self.mesh, self.printed, len(self.mesh.tets)
        points = np.empty((self.count, len(displacements), 4, 6))
        moved = np.array(displacements, dtype=float)
        warming = np.array([np.zeros(count) if w is None else w for w in warm], dtype=float)
        given = mesh.nodes, mesh.tets, moved, tet_slopes(STRESS_POINTS), printed.quarter, self.normal, self.which
        tables = self.row, self.stiffness, self.free
        shared(kernels.zone_stress, even_ranges(count), *given, *tables, warming, points)
        return points

    def stress(self, displacements: Sequence[Array], warm: Sequence[Array | None]) -> UnitStress:
        """The averaged stress of every zone under each of k displacements (n, 3) [mm] with its warming (m,) [K]."""
        points, k = self.points(displacements, warm), len(displacements)
        zones: list[tuple[ZoneStress, ...]] = []
        node, error, energy = np.zeros((k, len(self.mesh.nodes), 6)), np.zeros((k, k)), np.zeros((k, k))
        for number, zone in enumerate(self.zones):
            own = points[zone.first : zone.first + len(zone.tets)]
            found, wrong, whole = self._smoothed(zone, own)
            error, energy = error + wrong, energy + whole
            mine = self.lies_in[zone.node] == number
            node[:, zone.node[mine]] = found[:, mine]
            told = np.flatnonzero((zone.share >= SLIVER) | mine)
            nodes, turn, way = zone.node[told].astype(np.int32), zone.turn[told], zone.way[told]
            warmed = [np.zeros(len(told)) if w is None else zone.mean(w)[told] for w in warm]
            zones.append(tuple(ZoneStress(nodes, s[told], turn, w, way) for s, w in zip(found, warmed, strict=True)))
        fields = tuple(
            StressField(each, own, relative_error(error[i, i], energy[i, i]))
            for i, (each, own) in enumerate(zip(zip(*zones, strict=True), node, strict=True))
        )
        return UnitStress(fields, error, energy)

    def _smoothed(self, zone: _Zone, own: Array) -> tuple[Array, Array, Array]:
        """A zone's stress (k, e, 6) at its entries in part axes from that at its points (m, k, 4, 6); and the
        products (k, k) of the loads: twice the energy [mJ] by which raw and smoothed stress differ, and twice that of
        all."""
        from fem.judging import recovery_kernels as kernels

        k, material = own.shape[1], zone.material
        loads = even_ranges(k)
        corner = None if zone.notch is None else zone.notch.mean(own)
        if material.follows_outline:
            given, own = own, np.empty_like(own)
            shared(kernels.to_walls, loads, stress_rotation(material.print_axes), zone.turned, given, own)
        plain, moved = np.empty((2, k, len(zone.node), 6))
        weights = zone.entry, zone.sign, zone.size, zone.weight
        shared(kernels.to_entries, loads, own, _CORNERS, zone.near, zone.shift, *weights, plain, moved)
        judged = own, _CORNERS, zone.near, plain, zone.entry, zone.sign, _TO_POINTS
        some = even_ranges(len(zone.tets))
        each = shared(kernels.energies, some, *judged, np.linalg.inv(material.stiffness), zone.volume)
        wrong, whole = np.sum(each, axis=0) if each else np.zeros((2, k, k))
        if material.follows_outline:
            for some_stress in (plain, moved):
                shared(kernels.from_walls, loads, stress_rotation(material.print_axes.T), zone.turn, some_stress)
        return zone.averaged(plain, moved, corner), wrong, whole

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
        from fem.judging import averaging_kernels, recovery_kernels

        mesh, printed, material = self.mesh, self.printed, self.printed.materials[number]
        tets, slot = np.nonzero((printed.zone == number) & (printed.share > 0))
        size = self.volume[tets].sum(axis=1) * printed.share[tets, slot]
        near = np.ascontiguousarray(printed.reach[tets, slot])
        own, corner = mesh.tets[tets].astype(np.int64), mesh.nodes[mesh.tets[tets, :4]]
        start, around = averaging_kernels.grouped(own.ravel(), len(mesh.nodes))
        turned = printed.turn[tets] if material.follows_outline else np.zeros(len(tets))
        ways = np.column_stack([np.cos(2 * turned), np.sin(2 * turned)])
        entry = np.full((len(tets), 10), -1, dtype=np.int64)
        node = recovery_kernels.split_by_way(start, around // 10, own, ways, size, TOGETHER, entry)
        count = len(node)
        weight, turn, sign = summed(entry, size, count), np.zeros(count), np.ones((len(tets), 10))
        if material.follows_outline:
            turn = np.arctan2(*(summed(entry, ways[:, k] * size, count) for k in (1, 0))) / 2
            # A bead has no sense: axes that differ by half a turn are the same, but for the sign of two shears
            sign[np.cos(turned[:, None] - turn[entry]) < 0] = -1.0
        step = depth.missing(material.length)[own[:, :4]] if material.length > 0 else np.zeros((len(own), 4))
        slope = slopes_of(corner)
        shift = np.swapaxes(slope @ np.swapaxes(depth.inward[own[:, :4]] * step[:, :, None], 1, 2), 1, 2)
        reaches = np.concatenate([near, (near[:, _MIDDLES[:, 0]] + near[:, _MIDDLES[:, 1]]) / 2], axis=1)
        closeness = summed(entry, reaches * self.volume[tets].sum(axis=1)[:, None], count)
        way = np.arange(count) - np.searchsorted(node, node)
        place = np.cumsum(way == 0) - 1
        average = average_over(
            slope, place=place[entry], weight=size, edge=mesh.edge_length[tets], length=material.length
        )
        first = int(self.which[tets[0], slot[0]]) if len(tets) else 0
        volume = self.volume[tets] * printed.share[tets, slot][:, None]
        carried = near, np.ascontiguousarray(shift), entry, sign
        notch = notch_of(
            self.exponent[node[way == 0]],
            place=place[entry],
            near=near,
            volume=volume,
            edge=depth.edge[node[way == 0]],
            length=material.length,
        )
        entries = weight, way, turn, weight / whole[node], closeness
        placed = *carried, node, place, *entries
        return _Zone(material, tets, size, volume, first, turned, *placed, average, notch)


_last: list[tuple[weakref.ref[TetMesh], weakref.ref[PrintedField], Recovery]] = []


def recovery_of(mesh: TetMesh, printed: PrintedField) -> Recovery:
    """The recovery for a mesh and its material: the last one again where both are the same."""
    if _last and _last[0][0]() is mesh and _last[0][1]() is printed:
        return _last[0][2]
    made = Recovery(mesh, printed)
    _last[:] = [(weakref.ref(mesh), weakref.ref(printed), made)]
    return made
