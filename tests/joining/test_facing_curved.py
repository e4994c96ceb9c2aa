"""Faces that curve: gaps are those of the surfaces as drawn, whatever the facets of both meshes."""

import numpy as np
import pytest
from helpers_cad import draw
from helpers_fe import HIGH_X, HIGH_Z, LOW_X, LOW_Z, block
from scipy.spatial.transform import Rotation

from fem.evidence.bricks import ABOVE, BELOW, shell
from fem.joining.facing import covered, faces_opposite, rigid_counterpart
from fem.joining.sides import side_of
from fem.joining.true_shapes import true_shape
from fem.part.meshing import mesh_solid
from fem.part.solid import read_solid
from fem.part.tetmesh import joined

FRAME = Rotation.random(rng=5).as_matrix()


def tube(cells, inner, outer, *, straight, shift=(0.0, 0.0), taper=0.0):
    """A quarter of a tube 10 mm long, in a frame of its own; `taper` [mm] is what its radii gain along it."""

    def bend(p):
        angle, radius = np.pi / 2 * p[:, 1], inner + (outer - inner) * p[:, 0] + taper * p[:, 2]
        place = np.column_stack([radius * np.cos(angle) + shift[0], radius * np.sin(angle) + shift[1], 10 * p[:, 2]])
        return place @ FRAME.T

    return block((1, *cells), **{"displacement" if straight else "bend": bend})


def fit(pin_cells, bore_cells, *, pin, bore, straight=False, shift=(0.0, 0.0), taper=0.0):
    """A pin of radius `pin` in a bore of radius `bore`: the mesh, the pin's face, the bore's face."""
    one = tube(pin_cells, pin - 2, pin, straight=straight, shift=shift, taper=taper)
    two = tube(bore_cells, bore, bore + 4, straight=straight, taper=taper)
    mesh = joined([one, two])
    return mesh, np.flatnonzero(mesh.face == HIGH_X), np.flatnonzero(mesh.face == len(one.faces) + LOW_X)


def facet_gaps(found):
    """What the two meshes alone would say: the way from one to the other."""
    return ((found.opposite - found.places) * found.normals).sum(axis=1)


def spheres(ball_cells, socket_cells, *, ball, socket):
    one = shell(ball_cells, 1, inner=ball - 2, outer=ball)
    two = shell(socket_cells, 1, inner=socket, outer=socket + 2)
    mesh = joined([one, two])
    return mesh, np.flatnonzero(mesh.face == ABOVE), np.flatnonzero(mesh.face == len(one.faces) + BELOW)


@pytest.mark.parametrize("straight", [False, True])
@pytest.mark.parametrize("cells", [((5, 3), (4, 7)), ((11, 5), (3, 2))])
def test_a_pin_in_a_bore_has_the_same_gap_all_around(cells, straight):
    mesh, first, second = fit(*cells, pin=4.975, bore=5.0, straight=straight)
    for one, two in [(first, second), (second, first)]:
        found = faces_opposite(mesh, one, two)
        assert np.abs(found.gaps - 0.025).max() < 1e-12
        # Half the area of the bore's end facets may see past the end of the pin, by the gap
        assert covered(mesh, one, found) == pytest.approx(1, abs=0.003)
        away = found.normals @ FRAME
        radial = (found.places @ FRAME) * [1, 1, 0]
        radial /= np.linalg.norm(radial, axis=1)[:, None] * (1 if one is first else -1)
        assert np.abs(away - radial).max() < 1e-12
        # Facets tell another gap: curved ones by a hundredth of it, straight ones by h^2 / (8 R), more than it is
        assert np.abs(facet_gaps(found) - 0.025).max() > (0.04 if straight else 5e-5)


def test_a_clearance_is_added_and_a_fit_drawn_without_has_none():
    mesh, first, second = fit((5, 3), (4, 7), pin=5.0, bore=5.0)
    for clearance in (0.0, 0.15, -0.02):
        assert np.abs(faces_opposite(mesh, first, second, clearance=clearance).gaps - clearance).max() < 1e-12
        assert np.abs(rigid_counterpart(mesh, first, clearance=clearance).gaps - clearance).max() == 0
    # A pin drawn thicker than its bore presses
    assert np.abs(faces_opposite(*fit((5, 3), (4, 7), pin=5.03, bore=5.0)).gaps + 0.03).max() < 1e-12


def test_the_gap_of_an_eccentric_pin():
    """From the pin's surface along its own radius to the circle of the bore: |p + t w| = 5."""
    shift = np.array([0.05, 0.02])
    mesh, first, second = fit((5, 3), (4, 7), pin=4.9, bore=5.0, shift=shift)
    found = faces_opposite(mesh, first, second)
    way = (found.places @ FRAME)[:, :2] - shift
    way /= np.linalg.norm(way, axis=1)[:, None]
    start = shift + 4.9 * way
    along = (start * way).sum(axis=1)
    wanted = -along + np.sqrt(along**2 - (start**2).sum(axis=1) + 25)
    assert np.abs(found.gaps - wanted).max() < 1e-12
    assert np.ptp(wanted) > 0.03


def test_a_pressure_in_a_bore_balances_across_the_gap():
    mesh, first, second = fit((5, 3), (4, 7), pin=4.9, bore=5.0)
    found = faces_opposite(mesh, first, second)
    forces = np.zeros_like(mesh.nodes)
    push = (found.areas * (2 + found.places[:, 0]))[:, None] * found.normals
    np.add.at(forces, found.nodes, found.shares[:, :, None] * push[:, None])
    size = np.abs(forces).sum()
    assert np.abs(forces.sum(axis=0)).max() < 1e-13 * size
    assert np.abs(np.cross(mesh.nodes, forces).sum(axis=0)).max() < 1e-12 * size
    # A force along the axis turns the pair by its size times the gap, as is told
    drag = found.areas[:, None] * (FRAME @ [0, 0, 1])
    forces[:] = 0
    np.add.at(forces, found.nodes, found.shares[:, :, None] * drag[:, None])
    left = np.cross(mesh.nodes, forces).sum(axis=0)
    assert left == pytest.approx(np.cross(found.places - found.opposite, drag).sum(axis=0), rel=1e-9)
    assert np.linalg.norm(left) > 0.05 * found.area


@pytest.mark.parametrize("cells", [(4, 7), (9, 4)])
def test_a_ball_in_its_socket(cells):
    mesh, first, second = spheres(*cells, ball=5.97, socket=6.0)
    for one, two in [(first, second), (second, first)]:
        found = faces_opposite(mesh, one, two)
        assert np.abs(found.gaps - 0.03).max() < 1e-12
        assert np.abs(facet_gaps(found) - 0.03).max() > 5e-3
        outward = found.places / np.linalg.norm(found.places, axis=1)[:, None] * (1 if one is first else -1)
        assert np.abs(found.normals - outward).max() < 1e-12


def test_a_taper_in_its_seat():
    """Cones of one axis whose radii differ by 0.05: the gap is that times the cosine of the half angle."""
    mesh, first, second = fit((5, 3), (4, 7), pin=4.95, bore=5.0, taper=2.0)
    found = faces_opposite(mesh, first, second)
    assert np.abs(found.gaps - 0.05 * 10 / np.hypot(10, 2)).max() < 1e-11


def test_what_is_taken_for_an_exact_surface():
    """A surface that misses a cylinder by a millionth of its radius is a free form; so is a shallow vault."""
    mesh, first, _ = fit((6, 3), (4, 7), pin=5.0, bore=5.0)
    assert true_shape(mesh, first).surface.kind == "cylinder"
    off = mesh.nodes.copy()
    off[np.unique(mesh.triangles[first])] *= 1 + 1e-6 * np.sin(off[np.unique(mesh.triangles[first]), :1] * 3)
    mesh.nodes[:] = off
    assert true_shape(mesh, first) is None
    flat, first, _ = fit((6, 3), (4, 7), pin=5.0, bore=5.0, straight=True)
    assert true_shape(flat, first).surface.kind == "cylinder"


RADII = (1 / 0.6, 4.0)


def saddle(x, y):
    """A free form with radii of curvature `RADII` in the middle, in both senses."""
    return 0.3 * x**2 - y**2 / 8 + 0.05 * x**3 + 0.03 * x * y**2


def saddles(cells, *, straight):
    """Two bodies of 4 by 4 mm that meet in the saddle."""

    def slab(n, low):
        def bend(p):
            x, y = 4 * p[:, 0] - 2, 4 * p[:, 1] - 2
            return np.column_stack([x, y, saddle(x, y) + 2 * (p[:, 2] + low)])

        return block((n, n, 1), **{"displacement" if straight else "bend": bend})

    one, two = slab(cells, -1), slab(int(1.4 * cells) + 1, 0)
    mesh = joined([one, two])
    return mesh, np.flatnonzero(mesh.face == HIGH_Z), np.flatnonzero(mesh.face == len(one.faces) + LOW_Z)


@pytest.mark.parametrize(
    "straight, cells, most",
    [(False, 8, 7e-4), (False, 16, 9e-5), (True, 8, 2e-3), (True, 16, 2e-4)],
    ids=["curved", "curved, half", "straight", "straight, half"],
)
def test_the_false_gaps_of_a_free_form_fall_with_the_third_power_of_the_side(straight, cells, most):
    """Both faces are one surface. With straight sides the outermost triangles know neighbours on one side alone."""
    mesh, first, second = saddles(cells, straight=straight)
    assert set(side_of(mesh, first).shape) == {-1}
    found = faces_opposite(mesh, first, second)
    inner = (np.abs(found.places[:, :2]) < 1.2).all(axis=1)
    assert np.abs(found.gaps[inner]).max() < most
    x, y = found.places[:, :2].T
    up = np.column_stack([-(0.6 * x + 0.15 * x**2 + 0.03 * y**2), y / 4 - 0.06 * x * y, np.ones(len(x))])
    up /= np.linalg.norm(up, axis=1)[:, None]
    turned = np.degrees(np.arccos(np.clip((up * found.normals).sum(axis=1), -1, 1)))
    assert turned[inner].max() < 0.15 * (16 / cells) ** 2
    if straight:
        # A quarter of the facets' at the rim, a twelfth and less inside
        assert np.abs(found.gaps).max() < np.abs(facet_gaps(found)).max() / 3
        assert most < np.abs(facet_gaps(found)[inner]).max() / 8


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    """A plate with a bore of radius 5, a pin of radius 4.975 in it, and a foot of radius 4 on the plate."""
    folder = tmp_path_factory.mktemp("drawn")

    def plate(occ):
        body = occ.addBox(-12, -12, 0, 40, 24, 6)
        occ.cut([(3, body)], [(3, occ.addCylinder(0, 0, -1, 0, 0, 12, 5))])

    def meshed(name, build, size):
        return mesh_solid(read_solid(draw(folder / f"{name}.step", build), name=name), size=size, finest=size / 2)

    return joined(
        [
            meshed("plate", plate, 5),
            meshed("pin", lambda occ: occ.addCylinder(0, 0, -2, 0, 0, 10, 4.975), 3),
            meshed("foot", lambda occ: occ.addCylinder(18, 1, 6, 0, 0, 3, 4), 3),
        ]
    )


def of(mesh, body, kind, height=None):
    here = [
        i
        for i, f in enumerate(mesh.faces)
        if f.body == body and f.kind == kind and (height is None or abs(f.centre[2] - height) < 1e-6)
    ]
    return mesh.triangles_of(tuple(here))


def test_a_drawn_pin_closes_the_round(drawn):
    bore, pin = of(drawn, "plate", "cylinder"), of(drawn, "pin", "cylinder")
    around = faces_opposite(drawn, bore, pin)
    assert np.abs(around.gaps - 0.025).max() < 1e-9
    assert around.area == pytest.approx(2 * np.pi * 5 * 6, rel=1e-4)
    # Where the bore ends on the pin, the rim's chords are seen a little askew
    assert faces_opposite(drawn, pin, bore).area == pytest.approx(2 * np.pi * 4.975 * 6, rel=2e-3)
    assert np.abs(facet_gaps(around) - 0.025).max() > 1e-5


def test_a_round_foot_presses_with_its_whole_area(drawn):
    """Triangles whose sides bend within the plane are cut small: chords of 16 sides would miss 2.5 % of the area."""
    foot, top = of(drawn, "foot", "plane", 6), of(drawn, "plate", "plane", 6)
    for one, two in [(foot, top), (top, foot)]:
        found = faces_opposite(drawn, one, two)
        assert found.area == pytest.approx(16 * np.pi, rel=3e-3)
        assert np.abs(found.gaps).max() < 1e-12
