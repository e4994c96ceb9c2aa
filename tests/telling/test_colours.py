"""What a picture shows of a reserve factor: the colour of a painted value, and that no band hides another."""

from __future__ import annotations

import numpy as np
import pytest

from fem.telling.colours import ReserveScale, painted, reserve_scale
from fem.telling.stage import Stage, fit

VALUES = (0.0, 0.05, 0.29, 0.49, 0.51, 0.9, 1.2, 1.9, 2.1, 5.0, 12.0, np.inf)

LIT = 0.07
"""The stage's light makes a colour that faces the eye up to 6 % brighter."""


def shot(value: float, scale: ReserveScale) -> np.ndarray:
    """The colour (3,) of the middle of a square that is painted with one reserve factor, 0 to 1."""
    import pyvista as pv

    square = pv.Plane(i_resolution=1, j_resolution=1)
    square.cell_data["utilisation"] = painted(np.array([value]))
    view = fit(np.asarray(square.points), towards=(0, 0, 1))
    with Stage() as stage:
        stage.add_reserve(square, scale, lighting=False)
        image = stage.show(view)
    return image[image.shape[0] // 2, image.shape[1] // 2] / 255


@pytest.mark.parametrize("required", [1.0, 2.0])
def test_a_painted_value_has_the_colour_of_its_band(required):
    scale = reserve_scale(required)
    for value in VALUES:
        off = np.abs(np.array(scale.colours) - shot(value, scale)).max(axis=1)
        assert off.argmin() == int(scale.band(np.array([value]))[0]), value
        assert off.min() < LIT, value


@pytest.mark.parametrize("required", [1.0, 2.0, 4.0])
def test_on_either_side_of_each_edge_its_own_band_is_painted(required):
    # The table has steps of 0.6 % of the value at an edge of 12, the farthest that is asked of it
    scale = reserve_scale(required)
    for i, edge in enumerate(scale.edges[1:-1], start=1):
        for value, band in ((edge * 0.99, i - 1), (edge * 1.01, i)):
            off = np.abs(np.array(scale.colours) - shot(value, scale)).max(axis=1)
            assert off.argmin() == band and off.min() < LIT, (edge, value)


def test_less_than_half_the_load_looks_like_no_other_value():
    scale = reserve_scale(2.0)
    low, high = shot(0.29, scale), shot(0.9, scale)
    assert np.abs(low - high).max() > 2 * LIT
    assert shot(0.05, scale) == pytest.approx(low, abs=0.01)


def test_a_table_that_ends_at_half_the_load_would_hide_it(monkeypatch):
    """Negative control: the table as it once was gives 0.29 the colour of 0.9."""
    for module in ("colours", "stage"):
        monkeypatch.setattr(f"fem.telling.{module}.UTILISATION_TOP", 2.0)
    scale = reserve_scale(2.0)
    assert shot(0.29, scale) == pytest.approx(shot(0.9, scale), abs=0.01)


@pytest.mark.parametrize("required", [1.0, 1.5, 2.0, 4.0])
def test_every_band_stands_in_the_table_and_differs_in_lightness(required):
    scale = reserve_scale(required)
    table = scale.table()
    for colour in scale.colours:
        assert (np.abs(table - colour).max(axis=1) < 1e-9).sum() >= 5
    light = [lightness(c) for c in scale.colours]
    below = [c for c, edge in zip(light, scale.edges, strict=False) if edge < required]
    assert (np.diff(below) > 9).all(), "up to what is required each band is clearly lighter than the one below"
    assert light[0] > lightness((20 / 255, 24 / 255, 28 / 255)) + 8, "dark lines can be seen on the darkest band"


def lightness(colour) -> float:
    """L* of an sRGB colour; source: IEC 61966-2-1 and CIE 15."""
    c = np.array(colour)
    linear = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    y = float(linear @ [0.2126, 0.7152, 0.0722])
    return 116 * y ** (1 / 3) - 16 if y > 0.008856 else 903.3 * y


@pytest.mark.parametrize("name", ["roma", "lapaz_r", "lajolla_r", "batlowS", "vik"])
def test_a_map_read_on_its_own_is_the_librarys(name):
    from cmcrameri import cm

    from fem.telling.colour_maps import colour_map

    at = np.linspace(0, 1, 101)
    assert np.array(colour_map(name)(at)) == pytest.approx(np.array(getattr(cm, name)(at)), abs=1e-12)
    assert colour_map(name)(7) == pytest.approx(getattr(cm, name)(7))
