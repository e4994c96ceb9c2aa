"""Print axes follow from the plan, and a plan that cannot be printed is refused."""

import numpy as np
import pytest

from fem.errors import InputError
from fem.printing.plan import PrintPlan, print_axes, raster_axes

ROOT = np.sqrt(0.5)


@pytest.mark.parametrize(
    ("build", "zero", "expected"),
    [
        ((0, 0, 2), None, np.eye(3)),
        ((1, 0, 0), None, [[0, 1, 0], [0, 0, 1], [1, 0, 0]]),
        ((-1, 0, 0), None, [[0, 1, 0], [0, 0, -1], [-1, 0, 0]]),
        ((0, 1, 0), None, [[1, 0, 0], [0, 0, -1], [0, 1, 0]]),
        ((1, 0, 1), None, [[ROOT, 0, -ROOT], [0, 1, 0], [ROOT, 0, ROOT]]),
        ((0, 0, 1), (0, 3, 5), [[0, 1, 0], [-1, 0, 0], [0, 0, 1]]),
    ],
)
def test_print_axes(build, zero, expected):
    axes = print_axes(PrintPlan(build, raster_zero=zero))
    assert np.allclose(axes, expected, atol=1e-15)
    assert np.linalg.det(axes) == pytest.approx(1.0), "right-handed"


def test_raster_turns_counter_clockwise_about_the_build_direction():
    plan = PrintPlan((0, 0, 1))
    assert np.allclose(raster_axes(plan, 30)[0], [np.cos(np.pi / 6), 0.5, 0])
    assert np.allclose(raster_axes(plan, 90), [[0, 1, 0], [-1, 0, 0], [0, 0, 1]])
    upside_down = PrintPlan((0, 0, -1))
    assert np.allclose(raster_axes(upside_down, 90)[0], [0, -1, 0]), "seen from above the layer, so turned over"


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"build_direction": (0, 0, 0)}, "build_direction has zero length"),
        ({"build_direction": (0, 1)}, "three finite numbers"),
        ({"build_direction": (0, float("nan"), 1)}, "three finite numbers"),
        ({"raster_zero": (0, 0, 0)}, "raster_zero has zero length"),
        ({"raster_zero": (0, 0, -4)}, "parallel"),
        ({"raster": ()}, "no angle"),
        ({"raster": (float("inf"),)}, "finite"),
        ({"bead_width": 0.2, "bead_height": 0.3}, "above its width"),
        ({"bead_width": 0.0}, "width"),
        ({"bead_height": -0.1}, "height"),
        ({"walls": -1}, "walls"),
        ({"covers": 1.5}, "covers"),
        ({"infill_pattern": "girod", "infill_density": 0.4}, "gyroid"),
        ({"infill_density": 0.0}, "density"),
        ({"infill_density": 0.4}, "contradicts"),
        # numbers that a file may hold and no printer can do
        ({"build_direction": (0, 0, 1e200)}, "far too long"),
        ({"build_direction": (0, 1e-200, 0)}, "too short"),
        ({"build_direction": (0, 0, 10**5000)}, "three finite numbers"),
        ({"build_direction": ("up", 0, 0)}, "three finite numbers"),
        ({"raster_zero": (1e300, 0, 0)}, "far too long"),
        ({"bead_width": 0.001, "bead_height": 0.001}, "0.001 mm is not plausible"),
        ({"bead_width": 1e20}, "not plausible"),
        ({"bead_height": float("nan")}, "height"),
        ({"walls": 10**5000}, "walls"),
        ({"covers": float("inf")}, "covers"),
        ({"walls": 1001}, "from 0 to 1000"),
        ({"raster": (1e200,)}, "-360 and 360"),
        ({"raster": (10**5000,)}, "-360 and 360"),
        ({"raster": (45.0,) * 1001}, "1001 angles"),
        ({"infill_angle": 1e9}, "infill angle"),
        ({"infill_density": float("nan")}, "density"),
    ],
    ids=range(31),
)
def test_a_plan_that_cannot_be_printed_gets_one_clear_line(wrong, words):
    with pytest.raises(InputError, match=words) as error:
        PrintPlan(**{"build_direction": (0, 0, 1), **wrong})
    assert "\n" not in str(error.value) and len(str(error.value)) < 200
