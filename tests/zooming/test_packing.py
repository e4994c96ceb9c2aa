"""Boxes packed on all cores, their product and mean stress, against plain sums."""

from __future__ import annotations

import numpy as np
import pytest

from fem.printing.beads import AIR, CORE, BeadMap, Grid
from fem.zooming.boxes import layer_starts, packed, picked
from fem.zooming.system import BeadSystem
from fem.zooming.tables import bead_tables, four_blocks


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


def a_system(seed: int) -> tuple[BeadSystem, np.ndarray, np.ndarray]:
    """Beads of any way and share with air between, any displacement (n, 3), and each box's corners (v, 8)."""
    rng = np.random.default_rng(seed)
    shape = (3, 4, 5)
    zone = np.where(rng.random(shape) < 0.7, CORE, AIR).astype(np.uint8)
    way, share = rng.integers(0, 72, shape).astype(np.uint8), rng.integers(1, 256, shape).astype(np.uint8)
    grid = Grid(np.zeros(3), np.array([0.2, 0.15, 0.1]), shape[::-1], 1, 0)
    tables = bead_tables((0.2, 0.15, 0.1), E=(6000, 2500, 2000), nu=(0.35, 0.3, 0.4), G=(1200, 1000, 800))
    system = BeadSystem(BeadMap(grid, zone, share, way, np.zeros(shape, np.uint16)), tables)
    corner = system.boxes.first[:, [0, 0, 1, 1, 2, 2, 3, 3]] + np.array([0, 1] * 4)
    return system, rng.normal(size=(system.boxes.nodes, 3)), corner


def test_mean_stress_is_the_tables_row_times_the_corners() -> None:
    system, x, corner = a_system(5)
    plain = np.einsum("vij,vj->vi", system.tables.stress[system.way], x[corner].reshape(-1, 24))
    found = system.mean_stress(x)
    assert np.allclose(found, plain, rtol=1e-12, atol=1e-9)
    assert np.allclose(system.mean_stress(x, boxes=slice(3, 9)), plain[3:9], rtol=1e-12, atol=1e-9)
    assert not np.allclose(system.mean_stress(x[::-1]), plain, rtol=0.1)


def test_the_product_is_the_sum_over_whole_matrices() -> None:
    """Four blocks (6, 6), for what the box's symmetry keeps apart, say what (24, 24) says."""
    system, x, corner = a_system(6)
    scaled = system.tables.matrix[system.way] * (system.boxes.share[:, None, None] / 255)
    forces = np.einsum("vij,vj->vi", scaled, x[corner].reshape(-1, 24)).reshape(-1, 8, 3)
    plain = np.zeros_like(x)
    np.add.at(plain, corner, forces)
    size = np.abs(plain).max()
    assert np.abs(system.product(x) - plain).max() < 1e-13 * size
    turned = system.tables.matrix[(system.way + 1) % 72] * (system.boxes.share[:, None, None] / 255)
    other = np.zeros_like(x)
    np.add.at(other, corner, np.einsum("vij,vj->vi", turned, x[corner].reshape(-1, 24)).reshape(-1, 8, 3))
    assert np.abs(other - plain).max() > 1e-3 * size


def test_boxes_that_are_not_their_own_images_are_refused() -> None:
    matrix = a_system(6)[0].tables.matrix.copy()
    four_blocks(matrix)
    matrix[3, 4, 7] *= 1.01
    with pytest.raises(ValueError, match="upside down"):
        four_blocks(matrix)
