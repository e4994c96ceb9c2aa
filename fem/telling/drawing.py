"""Draws many pictures side by side: each in one of several processes, where cores and memory allow more than one."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

from fem.cores import cores
from fem.judging.findings import Findings
from fem.judging.scene import Scene
from fem.memory import available_memory
from fem.processes import Lost, work_through
from fem.telling.album import Album, Job, Picture, Progress
from fem.telling.stage import Stage
from fem.zooming.nouns import ZoomView

PROCESS_BYTES = 4e8
"""What a process that draws takes beside the fields: libraries, a window and its pictures, measured."""
FIELDS_HELD = 6
"""How many times its fields a process holds while it takes them in and paints surfaces, with room to spare."""
WORTH_A_PROCESS = 9
"""Pictures that pay for the start of a process: libraries, fields and a window's first picture take two to three
seconds of processor time, four to six pictures' worth (measured).
"""


@dataclass
class Studio:
    """What pictures are drawn of, and the window that a process opens for them when it draws its first one."""

    findings: Findings
    scene: Scene
    zooms: tuple[ZoomView, ...]
    folder: Path
    albums: list[Album] = field(default_factory=list)

    @property
    def album(self) -> Album:
        if not self.albums:
            made = Album(self.findings, self.scene, Stage(), self.folder, self.zooms, ThreadPoolExecutor(1))
            self.albums.append(made)
        return self.albums[0]

    def settled(self, picture: Picture) -> Picture:
        """A picture whose file is written, by this process or another."""
        return self.albums[0].settled(picture) if self.albums else picture

    def close(self) -> None:
        while self.albums:
            album = self.albums.pop()
            album.stage.close()
            if album.encoder is not None:
                album.encoder.shutdown()


def draw_all(
    studio: Studio, jobs: Sequence[Job], *, processes: int | None = None, progress: Progress = None
) -> list[Picture]:
    """The pictures in the order of their `jobs`, drawn in so many `processes` (None: as many as pay and fit).

    Errors: what drawing raises; TooLargeError.
    """
    count = processes or sensible_processes(len(jobs), studio.scene)
    done: dict[int, Picture | Lost] = {}
    try:
        for number, picture in work_through(
            jobs, work=_draw_here if count == 1 else _draw, shared=studio, jobs=count
        ):
            done[number] = picture
            if progress:
                progress(f"pictures: {jobs[number].what}", len(done) / len(jobs))
        # A process that was ended, for want of memory say, leaves its picture to this one
        return [
            _draw(studio, jobs[n]) if isinstance(picture := done[n], Lost) else studio.settled(picture)
            for n in range(len(jobs))
        ]
    finally:
        studio.close()


def sensible_processes(pictures: int, scene: Scene) -> int:
    """As many as there are cores and memory for beside this one, each with pictures enough to pay for its start."""
    from multiprocessing import current_process

    if current_process().daemon:  # which may start none
        return 1
    values = scene.mesh.nodes.size + scene.mesh.tets.size + 16 * len(scene.cases) * len(scene.mesh.nodes)
    room = int(0.8 * available_memory() / (PROCESS_BYTES + 8 * FIELDS_HELD * values))
    # One core is left to what is made meanwhile: the part in hand, fields, files of pictures
    return max(1, min(cores() - 1, room, pictures // WORTH_A_PROCESS))


def _draw_here(studio: Studio, job: Job) -> Picture:
    """A picture whose file is still being written while the next one is drawn."""
    return job.draw(studio.album)


def _draw(studio: Studio, job: Job) -> Picture:
    return studio.album.settled(job.draw(studio.album))
