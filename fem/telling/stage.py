"""One off-screen window in which every picture of a run is rendered, and the views that look at the part."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.errors import TooLargeError
from fem.memory import limit_room
from fem.telling.canvas import SCENE
from fem.telling.colours import TABLE, UTILISATION_TOP, Colour, ReserveScale
from fem.tensors import Array

WINDOW = 1.5e9
"""Bytes of addresses that the window and its libraries take: 1.25e9 as it is opened, some more to draw (measured)."""
CORNER = (0.9, -1.0, 0.75)
"""Direction from the part to the camera where nothing speaks for another one."""


@dataclass(frozen=True)
class View:
    """A parallel view: `focal` (3,) [mm] the point in the middle, `towards` (3,) unit vector to the camera,
    `up` (3,) unit vector that points up in the picture, `half` half the height seen [mm], `size` [px].
    """

    focal: Array
    towards: Array
    up: Array
    half: float
    size: tuple[int, int] = SCENE

    def pixels(self, points: Array) -> Array:
        """Places (n, 2) [px] in the scene, from its upper left corner."""
        right = np.cross(self.up, self.towards)
        offset = np.atleast_2d(points) - self.focal
        scale = self.size[1] / 2 / self.half
        x = self.size[0] / 2 + offset @ right * scale
        y = self.size[1] / 2 - offset @ self.up * scale
        return np.column_stack([x, y])


def look(towards: Any) -> tuple[Array, Array]:
    """Unit vectors to the camera and up, with z upward unless one looks along it."""
    d = np.asarray(towards, dtype=float)
    d = d / np.linalg.norm(d)
    rough = np.array([0.0, 0, 1]) if abs(d[2]) < 0.97 else np.array([0.0, 1, 0])
    up = rough - d * (rough @ d)
    return d, up / np.linalg.norm(up)


def fit(points: Array, *, towards: Any = CORNER, size: tuple[int, int] = SCENE, margin: float = 1.12) -> View:
    """The view along which all `points` (n, 3) [mm] fill the scene."""
    d, up = look(towards)
    right = np.cross(up, d)
    frame = np.stack([right, up, d])
    flat = points @ frame.T
    low, high = flat.min(axis=0), flat.max(axis=0)
    half = max(high[1] - low[1], (high[0] - low[0]) * size[1] / size[0]) / 2 * margin
    return View((low + high) / 2 @ frame, d, up, float(max(half, 1e-9)), size)


def near(place: Array, *, towards: Any, half: float) -> View:
    """The view of `half` height [mm] whose middle is `place`."""
    d, up = look(towards)
    return View(np.asarray(place, dtype=float), d, up, half)


@contextmanager
def _without_window_warnings() -> Iterator[None]:
    """Silence the remark that a machine has no display, which is no matter for an off-screen window."""
    from vtkmodules.vtkCommonCore import vtkLogger  # `import vtk` would load every module of the library

    before = vtkLogger.GetCurrentVerbosityCutoff()
    vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_ERROR)
    try:
        yield
    finally:
        vtkLogger.SetStderrVerbosity(before)


def _refuse_cramped() -> None:
    """Errors: TooLargeError where limits leave less room than the window takes, which would end the whole process."""
    room = min(limit_room(), default=WINDOW)
    if room < WINDOW:
        raise TooLargeError(
            f"to draw pictures takes {WINDOW / 1e9:.1f} GB of addresses; the limits of this process leave "
            f"{room / 1e9:.1f} GB.",
            advice="Raise the limit (ulimit -v).",
        )


def reserve_table(scale: ReserveScale) -> Any:
    """The bands of the reserve factor as a table of colours over 1 / reserve."""
    import pyvista as pv

    table = pv.LookupTable()
    table.scalar_range = (0.0, UTILISATION_TOP)
    table.values = np.column_stack([scale.table() * 255, np.full(TABLE, 255)]).round().astype(np.uint8)
    return table


class Stage:
    """An off-screen window; `show` draws what was put on it since the last `clear`."""

    def __init__(self, *, size: tuple[int, int] = SCENE, finer: float = 1.5) -> None:
        _refuse_cramped()
        import pyvista as pv

        window: Any = pv.Plotter
        self.size = size
        wide, high = round(size[0] * finer), round(size[1] * finer)
        with _without_window_warnings():
            self.plotter: Any = window(
                off_screen=True, notebook=False, window_size=[wide, high], lighting="light kit"
            )
            self.plotter.show(auto_close=False, interactive=False)
        self.plotter.set_background("white")
        self.plotter.render_window.SetMultiSamples(0)
        self.plotter.camera.parallel_projection = True
        self.finer = finer

    def clear(self) -> None:
        self.plotter.clear_actors()

    def add(self, data: Any, *, colour: Colour | None = None, width: float = 2.0, **more: Any) -> Any:
        """Put a surface or a set of lines on the stage."""
        painted = more.get("scalars") is not None
        matter = {"ambient": 0.74 if painted else 0.42, "diffuse": 0.32 if painted else 0.64, "specular": 0.0}
        if colour is not None:
            more["color"] = colour
        return self.plotter.add_mesh(
            data,
            **{
                **matter,
                "line_width": width * self.finer,
                "show_scalar_bar": False,
                "render": False,
                "reset_camera": False,
                **more,
            },
        )

    def add_reserve(self, data: Any, scale: ReserveScale, **more: Any) -> Any:
        """Put a surface with data `utilisation` on the stage, in the bands of the reserve factor."""
        table = reserve_table(scale)
        return self.add(data, scalars="utilisation", cmap=table, clim=[0.0, UTILISATION_TOP], **more)

    def show(self, view: View) -> Array:
        """The scene (height, width, 3) as bytes."""
        from PIL import Image

        camera = self.plotter.camera
        reach = 50 * view.half + 1e4
        camera.focal_point = tuple(view.focal)
        camera.position = tuple(view.focal + view.towards * reach)
        camera.up = tuple(view.up)
        camera.parallel_projection = True
        camera.parallel_scale = view.half
        self.plotter.renderer.ResetCameraClippingRange()
        self.plotter.render_window.Render()
        shot = self.plotter.screenshot(return_img=True)
        image = Image.fromarray(np.asarray(shot)[..., :3])
        if image.size != self.size:
            image = image.resize(self.size, Image.Resampling.BOX if self.finer == 2 else Image.Resampling.HAMMING)
        return np.asarray(image)

    def close(self) -> None:
        self.plotter.close()

    def __enter__(self) -> Stage:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
