"""A finished picture, and what all pictures of one run share."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor, Future
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from fem.judging.findings import Findings
from fem.judging.scene import Scene
from fem.judging.verdict import verdict_of
from fem.telling.canvas import Canvas
from fem.telling.colours import ReserveScale, reserve_scale
from fem.telling.embedding import page_bytes
from fem.telling.stage import Stage, View
from fem.telling.surface import Ints, four_triangles, node_normals, outline, polydata
from fem.tensors import Array
from fem.zooming.nouns import ZoomView

Progress = Callable[[str, float], Any] | None
GREY, LINE, GHOST = (0.80, 0.83, 0.86), (0.10, 0.12, 0.14), (0.55, 0.57, 0.60)


@dataclass(frozen=True)
class Picture:
    """A finished picture: its `file` in the folder, words for it, and the numbers it was drawn with.

    `kind` is mesh, zones, loads, deflection, exaggerated, stress, reserve, cut, hot spot, joint, beads or
    bead layer;
    `case` is the load case or ""; `low`, `high` the ends of its bar in `unit`; `factor` by which a deflection is
    exaggerated;
    `labels` every text written on it; `view` the camera; `body` the body whose zones or beads it shows or "";
    `inside` the bytes that a page carries (`embedding.page_bytes`), empty where the file is to be read.
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
    inside: bytes = field(default=b"", repr=False, compare=False)


@dataclass
class Album:
    """What all pictures of one run share; `zooms` are the places solved bead by bead that are drawn. An `encoder`
    makes files of pictures while the next ones are drawn: what compresses lets go of the interpreter.
    """

    findings: Findings
    scene: Scene
    stage: Stage
    folder: Path
    zooms: tuple[ZoomView, ...] = ()
    encoder: Executor | None = None
    pending: dict[str, Future[bytes]] = field(default_factory=dict)

    @property
    def nodes(self) -> Array:
        return self.scene.mesh.nodes

    @cached_property
    def scale(self) -> ReserveScale:
        return reserve_scale(verdict_of(self.findings).required)

    @property
    def asked(self) -> bool:
        """Whether the study asks for a reserve factor."""
        return verdict_of(self.findings).asked

    @cached_property
    def triangles(self) -> Ints:
        """The boundary as flat triangles (4 k, 3)."""
        return four_triangles(self.scene.mesh.triangles)

    @cached_property
    def skin(self) -> Ints:
        """The nodes (s,) of the boundary."""
        return np.unique(self.triangles)

    @cached_property
    def rims(self) -> Ints:
        return outline(self.scene.mesh.triangles, self.scene.mesh.face)

    @cached_property
    def normals(self) -> Array:
        return node_normals(self.scene.mesh)

    def coat(self, points: Array, values: Array | None = None, name: str = "") -> Any:
        """The boundary over `points` with a node value painted on it."""
        surface = polydata(points, self.triangles)
        if values is not None:
            surface.point_data[name] = values[surface.point_data["node"]]
        return surface

    def finish(self, canvas: Canvas, **words: Any) -> Picture:
        """The picture of a canvas that is complete; an `encoder` writes its file until it is `settled`."""
        path = self.folder / words["file"]
        if self.encoder is None:
            return Picture(labels=tuple(canvas.texts), inside=_encoded(canvas, path), **words)
        self.pending[words["file"]] = self.encoder.submit(_encoded, canvas, path)
        return Picture(labels=tuple(canvas.texts), **words)

    def settled(self, picture: Picture) -> Picture:
        """A picture whose file is written. Errors: what writing it raises."""
        encoding = self.pending.pop(picture.file, None)
        return picture if encoding is None else replace(picture, inside=encoding.result())


def _encoded(canvas: Canvas, path: Path) -> bytes:
    canvas.save(path)
    return page_bytes(canvas.page)


@dataclass(frozen=True)
class Job:
    """What draws one picture of an album, with a name for the progress. `draw` is a module's function, or one with
    arguments filled in, so that another process can be asked for it.
    """

    what: str
    draw: Callable[[Album], Picture]
