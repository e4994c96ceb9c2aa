"""Pictures and file of the beads of a zoom: what they show and hold are the beads' own numbers."""

from __future__ import annotations

import dataclasses

import bead_cube
import meshio
import numpy as np
import pytest

from fem.printing.beads import COVER, WALL
from fem.telling.bead_file import NAMES, write_beads
from fem.telling.bead_files import bead_files
from fem.telling.bead_mesh import Window, bead_surface, is_filled
from fem.telling.bead_picture import draw_zooms, drawn_window, opened, strokes, worst_box
from fem.telling.colours import reserve_scale
from fem.zooming.nouns import ZoomView

COARSE, FINE = (0.15, 0.15, 0.2), (0.1125, 0.1125, 0.1)
TURNED = np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [1.0, 0.0, 0.0]])
"""Print axes as rows in part axes: the part is built along its x."""


def view(step=COARSE, *, case="landing", **other) -> ZoomView:
    judged = bead_cube.judged_cube(step, **other)
    return ZoomView(case, bead_cube.zoom_of(judged), judged)


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    folder = tmp_path_factory.mktemp("beads")
    zooms = [view(), view(FINE, axes=TURNED), view(least=1.2, case="cruise")]
    return zooms, draw_zooms(zooms, required=2.0, asked=True, folder=folder), folder


def test_two_pictures_a_zoom_counted_by_case(drawn):
    _, pictures, folder = drawn
    names = [
        name for case, rank in (("landing", 1), ("landing", 2), ("cruise", 1)) for name in bead_files(case, rank)
    ]
    assert [p.file for p in pictures] == names
    assert all((folder / name).read_bytes()[:4] == b"\x89PNG" for name in names)


def test_the_pictures_say_both_numbers_where_and_on_which_scale(drawn):
    _, (beads, layer, *_), _ = drawn
    line = "Bead by bead 0.62 (0.58 to 0.65), in the wall; homogenised 0.19, in the core"
    assert line in beads.labels and line in beads.caption
    assert "0.62  interlayer shear" in beads.labels
    assert beads.case == "landing" and "(36.1, -2.3, 14.3) mm" in beads.title
    assert (beads.unit, beads.low, beads.high) == ("1", 0.0, 10.0)
    assert "0.15 x 0.15 x 0.2 mm" in beads.caption
    assert "required 2" in beads.labels and "failure 1" in beads.labels
    assert "not judged: near the cut faces" in beads.labels
    # layer 47 + 24 of 0.2 mm: its middle lies 14.3 mm above the build plate
    assert "Layer at 14.3 mm above the build plate, in bracket" in layer.labels
    assert {"wall", "cover", "core", "0.62", "1.66", "1.61"} <= set(layer.labels)


def test_beads_beyond_their_strength_are_outlined_where_there_are_any(drawn):
    _, (_, low, _, _, _, high), _ = drawn
    assert "beyond strength" in low.labels and "Outlined" in low.caption
    assert "beyond strength" not in high.labels and " 0 % of the judged beads" in high.alt


@pytest.mark.parametrize("axes", [None, TURNED])
@pytest.mark.parametrize("step", [COARSE, FINE])
def test_the_cut_goes_through_the_worst_bead_and_leaves_it_bare(step, axes):
    zoom = view(step, axes=axes)
    judged, worst = zoom.judged, worst_box(zoom)
    assert judged.reserve[worst.layer, worst.row, worst.column] == np.float32(bead_cube.LEAST)
    window, towards = opened(judged, worst)
    assert window.layers.stop == worst.layer + 1, "nothing lies on it"
    # the wall runs along axis 1, so the cut is across that axis, at the worst box, and the eye sees it
    ends = (window.columns.start, window.columns.stop - 1)
    assert worst.column in ends
    assert (towards[0] > 0) == (worst.column == ends[1])
    assert towards[1] < 0, "the part lies above its outline: the eye stands below, outside of it"


def test_only_judged_beads_and_a_margin_are_drawn():
    judged = view().judged
    window = drawn_window(judged, worst_box(view()))
    assert window == Window(slice(10, 50), slice(13, 67), slice(13, 67))  # 3 mm to 9 mm, and 1 mm around
    everything = dataclasses.replace(judged, inner=np.ones_like(judged.inner))
    assert drawn_window(everything, worst_box(view())).columns == slice(0, 80)


def test_the_surface_bears_the_numbers_of_its_own_boxes():
    judged = view().judged
    window = Window(slice(0, 25), slice(10, 60), slice(20, 70))
    surface = bead_surface(judged.beads, window)
    filled = is_filled(judged.beads.share[window.cut])
    assert filled.ravel()[surface.box].all()
    middle = surface.points[surface.quads].mean(axis=1)
    grid = judged.beads.grid
    low = grid.origin + np.array([20 * grid.step[0], 10 * grid.step[1], 0.0])
    layer, row, column = np.unravel_index(surface.box, filled.shape)
    own = low + (np.column_stack([column, row, layer]) + 0.5) * [*grid.step[:2], bead_cube.HEIGHT]
    # smoothed by less than half a box, rounded by less than half of one
    assert np.abs(middle - own)[:, :2].max() < 1.01 * grid.step[0]
    assert np.abs(middle - own)[:, 2].max() <= 0.51 * bead_cube.HEIGHT
    # its border is cut straight
    flat = surface.points[:, 0]
    assert np.isclose(flat, low[0]).sum() > 50 and flat.min() == pytest.approx(low[0], abs=1e-9)


def test_tops_cover_what_lies_bare_and_nothing_is_seen_through():
    judged = view().judged
    window = Window(slice(0, 25), slice(10, 60), slice(20, 70))
    surface = bead_surface(judged.beads, window)
    p = surface.points[surface.quads]
    normal = np.cross(p[:, 2] - p[:, 0], p[:, 3] - p[:, 1]) / 2
    columns = is_filled(judged.beads.share[window.cut]).any(axis=0)
    seen = normal[normal[:, 2] > 0.5 * np.linalg.norm(normal, axis=1), 2].sum()
    step = judged.beads.grid.step
    assert seen > 0.97 * columns.sum() * step[0] * step[1]
    assert (normal[:, 2] > -1e-3).sum() > 0.7 * len(normal)


def test_lines_part_beads_that_touch():
    judged = view().judged
    cover = Window(slice(4, 5), slice(40, 60), slice(20, 60))
    inside = bead_surface(judged.beads, cover).lines
    one = dataclasses.replace(judged.beads, bead=np.zeros_like(judged.beads.bead))
    assert (judged.beads.zone[cover.cut] == COVER).all()
    assert len(inside) > len(bead_surface(one, cover).lines) + 100


def test_strokes_run_along_the_beads_and_stay_apart():
    judged = view().judged
    window = Window(slice(4, 5), slice(30, 70), slice(10, 70))
    ends = strokes(judged, window)
    along = ends[:, 1] - ends[:, 0]
    middle = ends.mean(axis=1)[:, :2]
    grid = judged.beads.grid
    column, row = (np.floor((middle - grid.origin[:2]) / grid.step[:2]).astype(int)).T
    zone = judged.beads.zone[4, row, column]
    assert (zone == WALL).sum() > 3 and (zone == COVER).sum() > 10
    cover = along[zone == COVER]
    # layer 4 is one whose raster rises at 45 degrees
    assert np.allclose(np.degrees(np.arctan2(cover[:, 1], cover[:, 0])), 45)
    assert np.abs(np.degrees(np.arctan2(along[:, 1], along[:, 0]))[zone == WALL]).max() < 25
    apart = np.linalg.norm(middle[:, None] - middle[None], axis=-1) + 9 * np.eye(len(middle))
    assert apart.min() >= 0.9 - 1e-6


@pytest.mark.parametrize("step", [COARSE, FINE])
def test_the_file_holds_the_boxes_in_part_axes(tmp_path, step):
    judged = bead_cube.judged_cube(step, axes=TURNED)
    grid = judged.beads.grid
    nx, ny, nz = grid.count
    place = np.stack(np.meshgrid(range(nz + 1), range(ny + 1), range(nx + 1), indexing="ij"), axis=-1)[..., ::-1]
    moved = (place * grid.step * [1e-3, 2e-3, 3e-3]).astype(np.float32)
    judged = dataclasses.replace(judged, displacement=moved)
    read = meshio.read(write_beads(judged, tmp_path / "beads.vtu"))
    (cells,) = read.cells
    filled = is_filled(judged.beads.share)
    assert cells.type == "hexahedron" and len(cells.data) == filled.sum() * grid.per_layer
    p = read.points[cells.data]
    edges = np.stack([p[:, 1] - p[:, 0], p[:, 3] - p[:, 0], p[:, 4] - p[:, 0]], axis=1)
    assert np.linalg.det(edges) == pytest.approx(np.prod(step), rel=1e-4)
    data = {key: read.cell_data[name][0] for key, name in NAMES.items() if key != "displacement"}
    # the worst box: in its place, with its number
    worst = int(np.where(data["judged"] == 1, data["reserve"], np.inf).argmin())
    assert data["reserve"][worst] == np.float32(bead_cube.LEAST)
    told = bead_cube.zoom_of(judged)
    assert p[worst].mean(axis=0) == pytest.approx(told.worst_at_mm, abs=step[2])
    assert data["zone"][worst] == WALL and data["bead"][worst] == 1
    # print axis 1 is the part's y: wall beads of the middle run along it
    assert np.abs(data["direction"][worst]) == pytest.approx([0, 1, 0], abs=0.05)
    assert data["stress"][worst, [0, 4]] == pytest.approx([12 / bead_cube.LEAST, 0.0], rel=1e-5)
    assert data["stress"][worst, 5] == pytest.approx(5 / bead_cube.LEAST, rel=1e-5), "13 is the last of the format"
    text = (tmp_path / "beads.vtu").read_bytes()
    for i, name in enumerate(("11", "22", "33", "12", "23", "13")):
        assert f'ComponentName{i}="{name}"'.encode() in text
    # displacement of a corner: along print axes as made, in part axes in the file
    shift = read.point_data[NAMES["displacement"]]
    own = (read.points @ TURNED.T - grid.origin) * [1e-3, 2e-3, 3e-3]
    assert shift == pytest.approx(own @ TURNED, abs=1e-5)


def test_unlimited_and_unknown_reserves_are_numbers_in_the_file(tmp_path):
    judged = bead_cube.judged_cube()
    reserve = judged.reserve.copy()
    filled = np.argwhere(is_filled(judged.beads.share))
    reserve[tuple(filled[0])], reserve[tuple(filled[1])] = np.inf, np.nan
    read = meshio.read(write_beads(dataclasses.replace(judged, reserve=reserve), tmp_path / "beads.vtu"))
    values = read.cell_data[NAMES["reserve"]][0]
    assert values[0] == 1e6 and values[1] == -1.0 and np.isfinite(values).all()


def test_the_scale_is_that_of_the_other_pictures(drawn):
    _, (beads, *_), _ = drawn
    assert set(reserve_scale(2.0).labels()) <= set(beads.labels)


def test_a_place_without_judged_beads_is_drawn_grey(tmp_path):
    zoom = view()
    none = dataclasses.replace(zoom.judged, inner=np.zeros_like(zoom.judged.inner))
    beads, layer = draw_zooms([dataclasses.replace(zoom, judged=none)], required=2.0, asked=False, folder=tmp_path)
    assert "not judged: near the cut faces" in beads.labels and "target 2" in beads.labels
    assert " 0 % of the judged beads" in layer.alt
