"""A flat outline of lines and arcs, drawn up to a solid and written as STEP, in mm."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from fem.errors import SolidError

Point = tuple[float, float]
Edge = tuple[Point, Point | None]
"""Where an edge of the outline ends, and the centre of its arc, None for a straight one."""


def write_extruded(outline: Sequence[Edge], *, height: float, path: Path, standing: bool = False) -> float:
    """Write the solid over `outline` (closed, counter-clockwise, each edge from the last one's end) with that
    `height` along z, and give its volume [mm^3] by the CAD kernel.

    `standing` turns it so that the outline's x points up. An arc spans less than half a circle. Errors: SolidError
    where the file cannot be written, or no solid comes of the outline.
    """
    from math import pi

    from fem.part.cad import gmsh_session, hushed

    with gmsh_session() as gmsh:
        occ = gmsh.model.occ
        points = [occ.addPoint(x, y, 0) for (x, y), _ in outline]
        edges = []
        for k, (_, centre) in enumerate(outline):
            ends = points[k - 1], points[k]
            edges.append(
                occ.addLine(*ends) if centre is None else occ.addCircleArc(ends[0], occ.addPoint(*centre, 0), ends[1])
            )
        surface = occ.addPlaneSurface([occ.addCurveLoop(edges)])
        solids = [tag for dim, tag in occ.extrude([(2, surface)], 0, 0, height) if dim == 3]
        if standing:
            occ.rotate([(3, tag) for tag in solids], 0, 0, 0, 0, 1, 0, -pi / 2)
        occ.synchronize()
        occ.remove(
            [(0, tag) for _, tag in gmsh.model.getEntities(0) if not gmsh.model.getAdjacencies(0, tag)[0].size]
        )
        occ.synchronize()
        if len(solids) != 1:
            raise SolidError("no solid comes of this outline.", where=str(path))
        volume = float(occ.getMass(3, solids[0]))
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            gmsh.option.setString("Geometry.OCCTargetUnit", "MM")
            with hushed():
                gmsh.write(str(path))
        except Exception as error:
            raise SolidError(f"cannot be written: {error}.", where=str(path)) from None
    return volume
