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


def _table(colours: Array, low: float, high: float) -> Any:
    """A table of colours (n, 3), 0 to 1 each, over the values from `low` to `high`."""
    from vtkmodules.util.numpy_support import numpy_to_vtk
    from vtkmodules.vtkCommonCore import vtkLookupTable

    table = vtkLookupTable()
    bytes_of = np.column_stack([colours * 255, np.full(len(colours), 255)]).round().astype(np.uint8)
    table.SetNumberOfTableValues(len(colours))
    table.SetTable(numpy_to_vtk(bytes_of, deep=True))
    table.SetRange(low, high)
    return table


class Stage:
    """An off-screen window; `show` draws what was put on it since the last `clear`.

    It is made of the rendering library's own parts: pyvista's plotter would load matplotlib's figures and charts with
    it, which takes half a second in each process that draws.
    """

    def __init__(self, *, size: tuple[int, int] = SCENE, finer: float = 1.5) -> None:
        _refuse_cramped()
        import vtkmodules.vtkRenderingOpenGL2  # noqa: F401  # the factory's own classes
        from vtkmodules.vtkRenderingCore import vtkLightKit, vtkRenderer, vtkRenderWindow

        self.size, self.finer = size, finer
        self.wide, self.high = round(size[0] * finer), round(size[1] * finer)
        self.renderer: Any = vtkRenderer()
        self.renderer.SetBackground(1.0, 1.0, 1.0)
        with _without_window_warnings():
            self.window: Any = vtkRenderWindow()
            self.window.SetOffScreenRendering(1)
            self.window.SetMultiSamples(0)
            self.window.SetSize(self.wide, self.high)
            self.window.AddRenderer(self.renderer)
            vtkLightKit().AddLightsToRenderer(self.renderer)
            self.window.Render()

    def clear(self) -> None:
        self.renderer.RemoveAllViewProps()

    def add(
        self,
        data: Any,
        *,
        colour: Colour | None = None,
        width: float = 2.0,
        scalars: str = "",
        colours: Any = None,
        limits: tuple[float, float] = (0.0, 1.0),
        lighting: bool = True,
        ambient: float | None = None,
        diffuse: float | None = None,
    ) -> Any:
        """Put a surface or a set of lines on the stage, in one `colour` or by its point or cell data `scalars`.

        `colours` is a matplotlib map, or colours (n, 3), over the values within `limits`; without it `scalars` are
        colours themselves, three bytes each.
        """
        from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper

        mapper, actor = vtkPolyDataMapper(), vtkActor()
        mapper.SetInputData(data)
        if scalars:
            by_cell = scalars in data.cell_data
            (mapper.SetScalarModeToUseCellFieldData if by_cell else mapper.SetScalarModeToUsePointFieldData)()
            mapper.SelectColorArray(scalars)
            if colours is None:
                mapper.SetColorModeToDirectScalars()
            else:
                rows = colours(np.linspace(0.0, 1.0, 256))[:, :3] if callable(colours) else colours
                mapper.SetLookupTable(_table(np.asarray(rows), *limits))
                mapper.SetColorModeToMapScalars()
                mapper.UseLookupTableScalarRangeOn()
                mapper.InterpolateScalarsBeforeMappingOn()
        else:
            mapper.ScalarVisibilityOff()
        actor.SetMapper(mapper)
        matter = actor.GetProperty()
        matter.SetInterpolationToFlat()
        matter.SetAmbient(ambient if ambient is not None else 0.74 if scalars else 0.42)
        matter.SetDiffuse(diffuse if diffuse is not None else 0.32 if scalars else 0.64)
        matter.SetSpecular(0.0)
        matter.SetLighting(lighting)
        matter.SetLineWidth(width * self.finer)
        if colour is not None:
            matter.SetColor(*colour)
        self.renderer.AddActor(actor)
        return actor

    def add_reserve(self, data: Any, scale: ReserveScale, **more: Any) -> Any:
        """Put a surface with data `utilisation` on the stage, in the bands of the reserve factor."""
        return self.add(data, scalars="utilisation", colours=scale.table(), limits=(0.0, UTILISATION_TOP), **more)

    def show(self, view: View) -> Array:
        """The scene (height, width, 3) as bytes."""
        from PIL import Image
        from vtkmodules.util.numpy_support import vtk_to_numpy
        from vtkmodules.vtkRenderingCore import vtkWindowToImageFilter

        camera = self.renderer.GetActiveCamera()
        camera.SetFocalPoint(*view.focal)
        camera.SetPosition(*(view.focal + view.towards * (50 * view.half + 1e4)))
        camera.SetViewUp(*view.up)
        camera.ParallelProjectionOn()
        camera.SetParallelScale(view.half)
        self.renderer.ResetCameraClippingRange()
        self.window.Render()
        reader = vtkWindowToImageFilter()
        reader.SetInput(self.window)
        reader.SetInputBufferTypeToRGB()
        reader.ReadFrontBufferOff()
        reader.ShouldRerenderOff()
        reader.Update()
        pixels = vtk_to_numpy(reader.GetOutput().GetPointData().GetScalars())
        shot = pixels.reshape(self.high, self.wide, 3)[::-1]
        image = Image.fromarray(np.ascontiguousarray(shot))
        if image.size != self.size:
            image = image.resize(self.size, Image.Resampling.BOX if self.finer == 2 else Image.Resampling.HAMMING)
        return np.asarray(image)

    def close(self) -> None:
        self.renderer.RemoveAllViewProps()
        self.window.RemoveRenderer(self.renderer)
        self.window.Finalize()

    def __enter__(self) -> Stage:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
