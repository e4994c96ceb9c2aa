"""Which section is shown: through the worst place or the middle of the material, never along a face; and of that
section what is there, on a block with a socket that stands turned in space."""

import numpy as np
import pytest
from helpers_cad import draw

from fem.part.meshing import mesh_solid
from fem.part.solid import read_solid
from fem.printing.body import printed_body
from fem.printing.cut import AIR, CORE, OUTSIDE, chosen_plane, cut_body, grazed_area
from fem.printing.plan import PrintPlan, print_axes
from fem.printing.polymer import load_card

X, Y, Z = 40.0, 36.0, 20.0
RADIUS, FLOOR = 9.0, 6.0
TURN = (0.6, 0.9)
"""Turned about x, then about z [rad]."""


def turned(points):
    a, c = TURN
    about_x = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]])
    about_z = np.array([[np.cos(c), -np.sin(c), 0], [np.sin(c), np.cos(c), 0], [0, 0, 1]])
    return np.asarray(points) @ (about_z @ about_x).T


def block_with_a_socket(occ):
    """A block about the origin, a blind hole from its top in the middle of it."""
    occ.cut([(3, occ.addBox(-X / 2, -Y / 2, 0, X, Y, Z))], [(3, occ.addCylinder(0, 0, FLOOR, 0, 0, Z, RADIUS))])
    occ.rotate(occ.getEntities(3), 0, 0, 0, 1, 0, 0, TURN[0])
    occ.rotate(occ.getEntities(3), 0, 0, 0, 0, 0, 1, TURN[1])


@pytest.fixture(scope="module")
def mesh(tmp_path_factory):
    solid = read_solid(draw(tmp_path_factory.mktemp("socket") / "socket.step", block_with_a_socket), name="part")
    return mesh_solid(solid, size=6.0, finest=2.0)


PLAN = PrintPlan(tuple(turned([0, 0, 1.0])), infill_pattern="grid", infill_density=0.3)
MADE = printed_body(PLAN, card=load_card("pa12-cf"), state="dry")
AXES = print_axes(PLAN)


def in_print(own):
    """Places (n, 3) of the block as it was drawn, in print axes."""
    return turned(own) @ AXES.T


def own_of(in_axes):
    """Places (n, 3) in print axes as places of the block as it was drawn."""
    at = np.asarray(in_axes) @ AXES
    back = np.linalg.inv(turned(np.eye(3)).T)
    return at @ back.T


def section_places(cut, mesh):
    """Places (rows, columns, 3) [mm, print axes] of the middles of a section's cells."""
    rows, columns = cut.place.shape
    low = (mesh.nodes @ AXES.T).min(axis=0)
    across = cut.corner[0] + (np.arange(columns) + 0.5) * cut.pixel
    up = cut.corner[1] + (np.arange(rows) + 0.5) * cut.pixel
    a, b = np.meshgrid(across, up)
    level = np.full_like(a, low[2] + cut.height if cut.kind == "layer" else cut.height)
    return np.stack([a, b, level] if cut.kind == "layer" else [a, level, b], axis=-1)


def depth(own):
    """How deep [mm] places (..., 3) of the block lie in its material; below zero outside."""
    x, y, z = np.moveaxis(own, -1, 0)
    box = np.minimum.reduce([X / 2 - abs(x), Y / 2 - abs(y), z, Z - z])
    away = np.hypot(x, y) - RADIUS
    # Outside the hole: beside it, or below its floor
    return np.minimum(box, np.maximum(away, FLOOR - z))


def test_a_section_shows_material_where_there_is_some_and_nothing_in_thin_air(mesh):
    for cut in cut_body(mesh, body="part", made=MADE):
        own = own_of(section_places(cut, mesh))
        deep = depth(own)
        # A cell of a vertical section tells its layer's middle, up to half a layer away
        border = 1.5 * cut.pixel + 0.1
        shown = cut.place != OUTSIDE
        assert (deep > border).any() and (deep < -border).any()
        assert shown[deep > border].all(), "material is missing"
        assert not shown[deep < -border].any(), "something is drawn in thin air"
        # Infill begins behind walls and covers, but for the rim under the floor, where neither reaches
        rim = (abs(np.hypot(own[..., 0], own[..., 1]) - RADIUS) < 1) & (own[..., 2] < FLOOR)
        infill = np.isin(cut.place, (CORE, AIR)) & ~rim
        assert infill.any() and deep[infill].min() > 0.8 * min(PLAN.walls * 0.45, PLAN.covers * 0.2)


def across_socket(cut):
    """How far [mm] from the socket's axis a vertical section passes it."""
    return abs(cut.height - in_print([[0.0, 0.0, FLOOR]])[0, 1])


def test_sections_go_through_the_worst_place(mesh):
    place = turned([[3.0, -2.0, 3.0]])[0]
    layer, vertical = cut_body(mesh, body="part", made=MADE, through=place)
    low = (mesh.nodes @ AXES.T).min(axis=0)
    assert vertical.height == pytest.approx((AXES @ place)[1], abs=1e-9)
    assert low[2] + layer.height == pytest.approx((AXES @ place)[2], abs=0.2 + 1e-9)


def test_a_section_that_would_touch_the_socket_steps_aside(mesh):
    # The worst place lies where the plane across print axis 2 is tangent to the socket
    for side in (1.0, -1.0):
        own = own_of(in_print([[0, 0, 12.0]]) + np.array([0, side * (RADIUS + 0.3), 0]))
        _, vertical = cut_body(mesh, body="part", made=MADE, through=turned(own)[0])
        off = across_socket(vertical)
        assert off < RADIUS - 0.5 or off > RADIUS + 0.5
        assert off > 0.3 * RADIUS, "the nearest that is clear, not just any"


def test_without_a_place_the_section_goes_through_the_middle_of_the_material(mesh):
    _, vertical = cut_body(mesh, body="part", made=MADE)
    assert across_socket(vertical) < 0.15 * Y, "through the socket, not beside it where more of the infill is seen"


def test_what_a_plane_runs_along():
    # A square of 10 x 10 mm at z = 5, another at right angles
    flat = np.array([[[0, 0, 5], [10, 0, 5], [10, 10, 5]], [[0, 0, 5], [10, 10, 5], [0, 10, 5]]], dtype=float)
    wall = flat[:, :, [2, 0, 1]]
    found = grazed_area(np.concatenate([flat, wall]), axis=2, levels=np.array([4.5, 5.5, 6.5]), near=1.0)
    assert found == pytest.approx([100, 100, 0])


def test_the_nearest_plane_that_is_clear_and_shows_enough():
    middle = np.arange(6.0)
    shown = np.array([10, 60, 100, 100, 70, 0])
    clear = np.array([True, True, False, True, True, True])
    assert chosen_plane(middle, shown=shown, clear=clear, wanted=2.2) == 3
    assert chosen_plane(middle, shown=shown, clear=clear, wanted=0.0) == 1, "plane 0 shows too little"
    assert chosen_plane(middle, shown=shown, clear=np.zeros(6, dtype=bool), wanted=2.2) == 2, "none is clear"
