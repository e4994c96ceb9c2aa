"""A finished picture, and what all pictures of one run share."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fem.judging.findings import Findings
from fem.judging.scene import Scene
from fem.telling.canvas import Canvas
from fem.telling.colours import ReserveScale
from fem.telling.stage import Stage, View
from fem.telling.surface import Ints, polydata
from fem.tensors import Array

Progress = Callable[[str, float], Any] | None
GREY, LINE, GHOST = (0.80, 0.83, 0.86), (0.10, 0.12, 0.14), (0.55, 0.57, 0.60)


@dataclass(frozen=True)
class Picture:
    """A finished picture: its `file` in the folder, words for it, and the numbers it was drawn with.

    `kind` is mesh, zones, loads, deflection, exaggerated, reserve, cut, hot spot, beads or bead layer; `case` the
    load case or ""; `low`, `high` the ends of its bar in `unit`; `factor` by which the deflection is exaggerated;
    `labels` every text written on it; `view` the camera; `body` the body whose zones or beads it shows or "".
    """

    file: str
    kind: str
    case: str
    title: str
    caption: str
    alt: str
    unit: str = ""
    low: float = 0.0
    high: float = 0.0
    factor: float = 1.0
    labels: tuple[str, ...] = ()
    view: View | None = None
    body: str = ""


@dataclass
class Album:
    """What all pictures of one run share."""

    findings: Findings
    scene: Scene
    stage: Stage
    folder: Path
    scale: ReserveScale
    triangles: Ints
    rims: Ints
    normals: Array

    @property
    def nodes(self) -> Array:
        return self.scene.mesh.nodes

    def coat(self, points: Array, values: Array | None = None, name: str = "") -> Any:
        """The boundary over `points` with a node value painted on it."""
        surface = polydata(points, self.triangles)
        if values is not None:
            surface.point_data[name] = values[surface.point_data["node"]]
        return surface

    def finish(self, canvas: Canvas, **words: Any) -> Picture:
        canvas.save(self.folder / words["file"])
        return Picture(labels=tuple(canvas.texts), **words)
