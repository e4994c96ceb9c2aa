"""Small sound solids in every format that the program reads."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from helpers_cad import draw


def _drilled(occ: Any) -> None:
    occ.cut([(3, occ.addBox(0, 0, 0, 20, 12, 8))], [(3, occ.addCylinder(8, 6, -1, 0, 0, 10, 3))])


def _angle(occ: Any) -> None:
    corners = [(0, 0), (20, 0), (20, 3), (3, 3), (3, 18), (0, 18)]
    points = [occ.addPoint(x, 0, z) for x, z in corners]
    lines = [occ.addLine(a, b) for a, b in zip(points, points[1:] + points[:1], strict=True)]
    occ.extrude([(2, occ.addPlaneSurface([occ.addCurveLoop(lines)]))], 0, 8, 0)


def _two(occ: Any) -> None:
    occ.addBox(0, 0, 0, 10, 10, 5)
    occ.addBox(20, 0, 0, 6, 10, 5)


SOLIDS = {"drilled": _drilled, "angle": _angle, "two": _two}


def drawn_solids(folder: Path) -> list[Path]:
    """Each solid as STEP, BREP, IGES, and as triangles in STL, OBJ, PLY and 3MF."""
    with open(os.devnull, "w") as nowhere:
        kept = os.dup(1)
        os.dup2(nowhere.fileno(), 1)  # the kernel prints what it writes
        try:
            for name, build in SOLIDS.items():
                for suffix in ("step", "brep", "iges"):
                    draw(folder / f"{name}.{suffix}", build)
        finally:
            os.dup2(kept, 1)
            os.close(kept)
    for name in SOLIDS:
        _triangles(folder, name)
    return sorted(folder.iterdir())


def _prism(corners: list[tuple[int, int]]) -> Any:
    """An L drawn in the plane x, z and pulled 8 mm along y."""
    import trimesh

    n = len(corners)
    points = [(x, y, z) for y in (0, 8) for x, z in corners]
    lid = [(0, 1, 2), (0, 2, 3), (0, 3, 4), (0, 4, 5)]
    sides = [t for i in range(n) for j in [(i + 1) % n] for t in ((i, i + n, j), (j, i + n, j + n))]
    return trimesh.Trimesh(points, [*lid, *((c + n, b + n, a + n) for a, b, c in lid), *sides], process=False)


def _box(low: Any, high: Any) -> Any:
    import trimesh

    return trimesh.creation.box(bounds=[low, high])


def _triangles(folder: Path, name: str) -> None:
    import trimesh

    mesh = trimesh.util.concatenate(
        {
            "drilled": lambda: [trimesh.creation.annulus(r_min=3, r_max=8, height=9, sections=12)],
            "angle": lambda: [_prism([(0, 0), (20, 0), (20, 3), (3, 3), (3, 18), (0, 18)])],
            "two": lambda: [_box((0, 0, 0), (10, 10, 5)), _box((20, 0, 0), (26, 10, 5))],
        }[name]()
    )
    mesh.export(str(folder / f"{name}.stl"))
    mesh.export(str(folder / f"{name}.obj"))
    mesh.export(str(folder / f"{name}.ply"), encoding="ascii")
    mesh.export(str(folder / f"{name}_b.ply"))
    mesh.export(str(folder / f"{name}_a.stl"), file_type="stl_ascii")
    mesh.export(str(folder / f"{name}.3mf"))
