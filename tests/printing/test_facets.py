"""Curved triangles cut into flat ones: no crack where a curved one meets a flat one, and as near as asked."""

from collections import Counter

import numpy as np
from helpers_fe import block

from fem.printing.facets import flat_triangles


def bulged(p):
    """A block whose far half along x swells into a curve; the near half stays straight."""
    x, y, z = (10 * p).T
    swell = np.where(x > 5, (x - 5) ** 2 * np.sin(np.pi * y / 10) * 0.05, 0.0)
    return np.column_stack([x, y, z + swell * (z / 10)])


def open_sides(flat):
    """Sides of triangles (t, 3, 3) that are not run through as often one way as the other."""
    runs = Counter()
    for triangle in flat:
        for a, b in ((0, 1), (1, 2), (2, 0)):
            one, two = tuple(triangle[a]), tuple(triangle[b])
            runs[(one, two) if one < two else (two, one)] += 1 if one < two else -1
    return sum(abs(n) for n in runs.values())


def test_a_side_is_cut_alike_from_both_its_triangles():
    mesh = block((4, 3, 2), bend=bulged)
    for tolerance in (0.3, 0.02, 1e-3):
        flat = flat_triangles(mesh.nodes, mesh.triangles, tolerance=tolerance)
        along = np.linalg.norm(np.cross(flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]).sum(axis=0))
        assert along < 1e-10
        # Sides of the curved half that all triangles cut alike are found from both sides to the last digit
        curved = flat[(flat[..., 0] > 5 + 1e-9).all(axis=1) & (flat[..., 2] > 10.001).any(axis=1)]
        assert len(curved) and len(flat) >= len(mesh.triangles)
    cracked = flat + np.random.default_rng(1).normal(scale=1e-3, size=flat.shape)
    assert np.linalg.norm(np.cross(cracked[:, 1] - cracked[:, 0], cracked[:, 2] - cracked[:, 0]).sum(axis=0)) > 1e-4


def test_sides_of_a_part_that_is_curved_all_over_match_to_the_last_digit():
    mesh = block((3, 3, 3), bend=lambda p: np.column_stack([*(p + 0.08 * np.sin(3 * p[:, [1, 2, 0]])).T]))
    flat = flat_triangles(mesh.nodes, mesh.triangles, tolerance=1e-9)
    assert len(flat) == 64 * len(mesh.triangles)
    assert open_sides(flat) == 0
    moved = flat.copy()
    moved[7, 1, 2] += 1e-12
    assert open_sides(moved) > 0


def test_flat_triangles_stray_no_farther_than_asked():
    radius = 10.0

    def bent(p):
        angle = 0.5 * np.pi * p[:, 0]
        r = radius - 3 * p[:, 1]
        return np.column_stack([r * np.sin(angle), r * np.cos(angle), 4 * p[:, 2]])

    mesh = block((4, 1, 1), bend=bent)
    outer = mesh.triangles[np.abs(np.hypot(*mesh.nodes[mesh.triangles][..., :2].T).T - radius).max(axis=1) < 1e-9]
    strays = []
    for tolerance in (0.1, 0.005):
        flat = flat_triangles(mesh.nodes, outer, tolerance=tolerance)
        middle = flat.mean(axis=1)
        strays.append(np.abs(np.hypot(middle[:, 0], middle[:, 1]) - radius).max())
        assert strays[-1] < 1.5 * tolerance
    assert strays[1] < strays[0] / 4
