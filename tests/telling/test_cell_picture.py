"""The picture of an infill cell: what is drawn is the cell, and the colours are shares of its strength."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from fem.printing.infill import CellPoint, InfillCell
from fem.telling.canvas import TOP
from fem.telling.cell_picture import LARGE, PERIODS, SMALL, TALL, at_failure, block_of, draw_cell, endless, limits_of

SPACING, BEAD = 3.0, 0.45


def bricks(x, y, z):
    """Hexahedra (n, 8, 3) of a box divided at x, y, z, corners in the order of their bits."""
    out = []
    for i in range(len(x) - 1):
        for j in range(len(y) - 1):
            for k in range(len(z) - 1):
                ends = [(x[i], x[i + 1]), (y[j], y[j + 1]), (z[k], z[k + 1])]
                out.append([[ends[d][(a >> d) & 1] for d in range(3)] for a in range(8)])
    return np.array(out)


def grid_cell():
    """Crossed walls, `BEAD` thick and `SPACING` apart: the crossing, a wall along x, and one along y."""
    thick, free, up = [-BEAD / 2, 0.0, BEAD / 2], np.linspace(BEAD / 2, SPACING - BEAD / 2, 5), [0.0, BEAD]
    hexes = np.concatenate([bricks(thick, thick, up), bricks(free, thick, up), bricks(thick, free, up)])
    return hexes, np.diag([SPACING, SPACING, BEAD])


@pytest.mark.parametrize("displacement", [(0.0, 0.0, 0.0), (0.7, -1.1, 0.2)])
def test_the_block_is_solid_by_the_share_of_the_walls(displacement):
    # 2 s - s^2 of the volume, s = bead / spacing, by whole periods; the block's own share by its own walls
    hexes, lattice = grid_cell()
    surface, edges = block_of(hexes + np.array(displacement), lattice=lattice)
    wide = PERIODS * SPACING
    box = np.array(surface.bounds).reshape(3, 2)
    assert box[:, 1] - box[:, 0] == pytest.approx([wide, wide, TALL * wide], rel=1e-6)

    def walls(offset):
        middles = offset + SPACING * np.arange(-5, 6)
        return sum(max(0.0, min(m + BEAD / 2, wide / 2) - max(m - BEAD / 2, -wide / 2)) for m in middles)

    a, b = walls(displacement[0]), walls(displacement[1])
    wanted = (a * wide + b * wide - a * b) * TALL * wide
    assert surface.triangulate().volume == pytest.approx(wanted, rel=1e-5)
    assert edges.n_cells > 0


def test_every_piece_of_the_surface_knows_its_hexahedron():
    hexes, lattice = grid_cell()
    surface, _ = block_of(hexes, lattice=lattice)
    middle = np.asarray(surface.cell_centers().points)
    home = hexes[surface.cell_data["hex"]]
    low, high = home.min(axis=1), home.max(axis=1)
    # up to whole periods the middle of each piece lies in its hexahedron
    away = middle - (low + high) / 2
    away -= np.round(away @ np.linalg.inv(lattice)) @ lattice
    assert (np.abs(away) <= (high - low) / 2 + 1e-5).all()
    # Negative control: in the neighbour's hexahedron most do not
    other = hexes[(surface.cell_data["hex"] + 5) % len(hexes)]
    away = middle - other.mean(axis=1)
    away -= np.round(away @ np.linalg.inv(lattice)) @ lattice
    assert (np.abs(away) > (np.ptp(other, axis=1)) / 2 + 1e-5).any(axis=1).mean() > 0.5


def test_leaning_periods_fill_the_block_without_gaps():
    # A solid brick repeated by a leaning lattice fills all space
    hexes = bricks([0.0, 1.0], [0.0, 1.0], [0.0, 1.0])
    lattice = np.array([[1.0, 0, 0], [0.5, 1.0, 0], [0.25, 0.5, 1.0]])
    surface, _ = block_of(hexes, lattice=lattice)
    wide = PERIODS * 1.0  # the shorter of the two periods in the layer
    assert surface.triangulate().volume == pytest.approx(wide * wide * TALL * wide, rel=1e-5)
    # Negative control: a brick that is too small for its period leaves gaps
    surface, _ = block_of(0.9 * hexes, lattice=lattice)
    assert surface.triangulate().volume < 0.8 * wide * wide * TALL * wide


def test_each_state_is_raised_until_the_first_bead_fails():
    used = at_failure(np.array([[0.1, 0.05], [0.02, 0.4]] * 3))
    assert used == pytest.approx(np.array([[1.0, 0.5], [0.05, 1.0]] * 3))
    with pytest.raises(ValueError, match="every mean stress"):
        at_failure(np.zeros((6, 4)))


def made_cell(**other):
    """The grid as a cell whose walls along x are used ten times as much as all else under stress along x."""
    hexes, _ = grid_cell()
    along_x = np.ptp(hexes[..., 0], axis=1) > BEAD
    used = np.full((6, len(hexes)), 0.05)
    used[0] = np.where(along_x, 0.10, 0.01)
    strength = {
        "tension": np.array([10.0, 20.0, 20.0]),
        "compression": np.array([12.0, 20.0, 20.0]),
        "shear": np.array([20.0, 20.0, 20.0]),
        "buckling": {},
    }
    values = {
        "pattern": "grid",
        "density": 0.2775,
        "bead_width": BEAD,
        "bead_height": 0.2,
        "size": np.array([SPACING, SPACING, 0.2]),
        "stiffness": np.eye(6),
        "expansion": None,
        "points": (CellPoint("wall at 0 deg", np.zeros(3), np.eye(6), np.zeros(6)),),
        "walls": (),
        "strength_MPa": strength,
        "moves": 0.01,
        "strength_moves": 0.01,
        "points_short": 0.01,
        "corners": hexes.astype(np.float32),
        "used": used.astype(np.float32),
    }
    return InfillCell(**{**values, **other})


def test_a_cell_that_does_not_change_along_the_build_is_drawn_out():
    corners, lattice = endless(made_cell())
    assert np.ptp(corners[..., 2]) == pytest.approx(SPACING, rel=1e-6)
    assert np.diag(lattice) == pytest.approx([SPACING] * 3)
    # Two layers that differ stay as they are
    hexes = np.concatenate([bricks([0, 1], [0, 3], [0, 0.2]), bricks([0, 3], [0, 1], [0.2, 0.4])])
    own = {"corners": hexes, "used": np.ones((6, len(hexes))), "size": np.array([3.0, 3.0, 0.4])}
    corners, lattice = endless(made_cell(pattern="woodpile", **own))
    assert corners == pytest.approx(hexes)
    assert lattice[2, 2] == 0.4
    # The cube stands on its corner: its diagonal is the build direction
    _, lattice = endless(made_cell(pattern="cubic", size=np.array([2.0, 2.0, 2.0])))
    assert lattice.sum(axis=0) == pytest.approx([0, 0, 2 * np.sqrt(3)], abs=1e-12)


def test_picture_shows_the_weakest_state_and_all_limits(tmp_path):
    picture = draw_cell(made_cell(), path=tmp_path / "grid.png")
    assert picture.title == "Infill cell: grid, density 27.8 %"
    note = "Minimum strength in tension 1: the first bead fails at a mean stress of 10.0 MPa"
    assert any(text.startswith(note) for text in picture.labels)
    assert {"tension 1: 10.0 MPa", "compression 1: 12.0 MPa", "shear 23: 20.0 MPa"} <= set(picture.labels)
    assert "period 3.00 x 3.00 x 0.200 mm" in picture.alt
    assert "compression 1: 12.0 MPa" in picture.alt
    assert any(text.endswith("[1]") for text in picture.labels)
    shot = np.asarray(Image.open(tmp_path / "grid.png").convert("RGB")).astype(int)
    assert shot.shape[1] == 1600
    # Walls along x at their limit are dark, those along y at a tenth of it light; half-used ones are neither
    scene = shot[TOP + 60 : TOP + LARGE[1] - 60, : LARGE[0]]
    painted = scene[np.ptp(scene, axis=2) > 25]
    light = painted.max(axis=1)
    assert (light < 110).mean() > 0.1
    assert (light > 170).mean() > 0.1
    # Negative control: evenly used in the other states, and so of one dark colour
    other = shot[TOP + 70 : TOP + SMALL[1] - 20, LARGE[0] + SMALL[0] + 20 : -20]
    painted = other[np.ptp(other, axis=2) > 25]
    assert len(painted) > 2000
    assert (painted.max(axis=1) > 170).mean() < 0.02


def test_buckling_that_comes_first_decides(tmp_path):
    first = {"compression 3": {"MPa": 4.0, "mode": "walls between crossings"}}
    strength = {**made_cell().strength_MPa, "buckling": first}
    picture = draw_cell(made_cell(strength_MPa=strength), path=tmp_path / "thin.png")
    assert (
        "minimum strength in compression 3: the walls buckle (walls between crossings) at a mean stress of 4.00 MPa"
        in (picture.alt)
    )
    assert "walls buckle: 4.00 MPa" in picture.labels
    assert "compression 3: 20.0 MPa, walls buckle at 4.00 MPa" in picture.alt
    least = {limit.name: limit.least for ways in limits_of(made_cell(strength_MPa=strength)) for limit in ways}
    assert least["compression 3"] == 4.0
    assert least["tension 3"] == 20.0
