"""Boxes packed on all cores, against plain loops; mean stress against plain sums."""

from __future__ import annotations

import numpy as np

from fem.printing.beads import AIR, CORE, BeadMap, Grid
from fem.zooming.boxes import layer_starts, packed, picked
from fem.zooming.system import BeadSystem
from fem.zooming.tables import bead_tables


def test_boxes_are_numbered_as_plain_loops_number_them() -> None:
    rng = np.random.default_rng(2)
    filled = (rng.random((7, 5, 6)) < 0.3).astype(np.uint8) * np.uint8(200)
    filled[3] = 0
    boxes = packed(filled, which=np.zeros((filled > 0).sum(), np.uint8), share=filled[filled > 0])
    touched = np.zeros((8, 6, 7), bool)
    for k, j, i in np.argwhere(filled > 0):
        touched[k : k + 2, j : j + 2, i : i + 2] = True
    number = np.where(touched, np.cumsum(touched).reshape(touched.shape) - 1, -1)
    assert boxes.nodes == touched.sum()
    assert (boxes.number == number).all()
    k, j, i = np.nonzero(filled)
    assert (boxes.first == np.stack([number[k + b, j + a, i] for b in (0, 1) for a in (0, 1)], axis=1)).all()
    assert list(boxes.start) == [0, *np.cumsum((filled > 0).sum(axis=(1, 2)))]


def test_values_are_picked_for_each_box_of_a_layer() -> None:
    rng = np.random.default_rng(4)
    share = (rng.random((3, 4, 5)) < 0.5).astype(np.uint8)
    values = rng.integers(0, 250, share.shape).astype(np.uint8)
    filled = np.repeat(share, 2, axis=0)
    start = layer_starts(filled)
    found = picked(values, filled=filled, start=start, per_layer=2)
    assert (found == np.repeat(values, 2, axis=0)[filled > 0]).all()
    assert not (found == picked(values, filled=share, start=layer_starts(share), per_layer=1).repeat(2)).all()


def test_mean_stress_is_the_tables_row_times_the_corners() -> None:
    rng = np.random.default_rng(5)
    shape = (3, 4, 5)
    zone = np.where(rng.random(shape) < 0.7, CORE, AIR).astype(np.uint8)
    way = rng.integers(0, 72, shape).astype(np.uint8)
    grid = Grid(np.zeros(3), np.array([0.2, 0.2, 0.1]), shape[::-1], 1, 0)
    beads = BeadMap(grid, zone, np.full(shape, 255, np.uint8), way, np.zeros(shape, np.uint16))
    tables = bead_tables((0.2, 0.2, 0.1), E=(6000, 2500, 2000), nu=(0.35, 0.35, 0.4), G=(1200, 1000, 800))
    system = BeadSystem(beads, tables)
    x = rng.normal(size=(system.boxes.nodes, 3))
    corner = system.boxes.first[:, [0, 0, 1, 1, 2, 2, 3, 3]] + np.array([0, 1] * 4)
    plain = np.einsum("vij,vj->vi", tables.stress[system.way], x[corner].reshape(-1, 24))
    found = system.mean_stress(x)
    assert np.allclose(found, plain, rtol=1e-12, atol=1e-9)
    assert np.allclose(system.mean_stress(x, boxes=slice(3, 9)), plain[3:9], rtol=1e-12, atol=1e-9)
    assert not np.allclose(system.mean_stress(x[::-1]), plain, rtol=0.1)
