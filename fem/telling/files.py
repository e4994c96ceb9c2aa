"""The fields as a file that any viewer of VTK's XML format can read."""

from __future__ import annotations

import errno
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import numpy as np

from fem.judging.pressed import on_nodes
from fem.judging.scene import Scene

UNLIMITED_AS = 1e6
"""A file of numbers holds no infinity that every reader accepts: unlimited reserves are written as this."""
ORDER = [0, 1, 2, 5, 3, 4]
"""Readers of the format take six components as xx yy zz xy yz xz; the program's own order is xx yy zz yz xz xy."""
COMPONENTS = {"stress": ("xx", "yy", "zz", "xy", "yz", "xz"), "print_stress": ("11", "22", "33", "12", "23", "13")}


def field_names(case: str) -> dict[str, str]:
    """The names in the file of a case's fields; each says its unit or what was done to it.

    Characters that XML does not know, or does not keep in a name, are spelled out (such as \\x1b).
    """
    case = "".join(c if _in_xml(c) else c.encode("unicode_escape").decode("ascii") for c in case)
    return {
        "displacement": f"{case}_displacement_mm",
        "stress": f"{case}_stress_MPa",
        "print_stress": f"{case}_print_stress_MPa",
        "reserve": f"{case}_reserve_at_most_1e6",
        "pressure": f"{case}_bearing_pressure_MPa",
        "opening": f"{case}_opening_of_joints_mm",
    }


def write_fields(scene: Scene, path: Path) -> Path:
    """Write the second-order mesh with displacement, stress, print-axes stress and reserve of each case, and with
    pressure and opening of its joints where it has some.

    Stresses have six named components in the format's own order (ORDER). Cell data `body` is the index into the
    bodies. Written beside and renamed.
    """
    import pyvista

    mesh = scene.mesh
    grid = pyvista.UnstructuredGrid({pyvista.CellType.QUADRATIC_TETRA: mesh.tets}, mesh.nodes)
    grid.cell_data["body"] = mesh.body.astype(np.int32)
    for case, fields in scene.cases.items():
        # The writer puts names into attributes as they are
        names = {kind: escape(name, {'"': "&quot;"}) for kind, name in field_names(case).items()}
        grid.point_data[names["displacement"]] = fields.displacement.astype(np.float32)
        grid.point_data[names["reserve"]] = np.minimum(fields.reserve, UNLIMITED_AS).astype(np.float32)
        for kind, components in COMPONENTS.items():
            values = getattr(fields, kind)[:, ORDER].astype(np.float32)
            grid.point_data[names[kind]] = values
            name_components(grid.GetPointData(), names[kind], components)
        for kind in ("pressure", "opening") if fields.joints else ():
            at_nodes = on_nodes(fields.joints, kind, mesh.triangles, count=len(mesh.nodes))
            grid.point_data[names[kind]] = at_nodes.astype(np.float32)
    return write_grid(grid, path)


def name_components(data: Any, name: str, components: Sequence[str]) -> None:
    """Name the components of an array of a grid's point or cell data."""
    array = data.GetAbstractArray(name)
    for i, component in enumerate(components):
        array.SetComponentName(i, component)


def write_grid(grid: Any, path: Path) -> Path:
    """Write an unstructured grid as VTU beside its place and rename it there. Errors: OSError."""
    from vtkmodules.vtkIOXML import vtkXMLUnstructuredGridWriter

    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(path.name + ".part")
    writer = vtkXMLUnstructuredGridWriter()
    writer.SetInputData(grid)
    writer.SetFileName(str(beside))
    writer.SetDataModeToBinary()
    writer.SetCompressorTypeToZLib()
    if writer.Write() != 1:
        beside.unlink(missing_ok=True)
        raise OSError(errno.EIO, "the fields cannot be written", str(path))
    os.replace(beside, path)
    return path


def _in_xml(c: str) -> bool:
    """Whether XML 1.0 has the character, and an attribute keeps it as it is (W3C, section 2.2 and 3.3.3)."""
    return "\x20" <= c <= "\ud7ff" or "\ue000" <= c <= "\ufffd" or c >= "\U00010000"


def safe_cell(cell: Any) -> Any:
    """A table's cell that no spreadsheet takes for a formula: text that begins like one gets an apostrophe before it,
    by the custom of spreadsheets; numbers stay.
    """
    if not isinstance(cell, str) or not cell.startswith(("=", "+", "-", "@", "\t", "\r")):
        return cell
    try:
        float(cell)
    except ValueError:
        return f"'{cell}"
    return cell


def write_text(text: str, path: Path) -> Path:
    """Write a text file beside its place and rename it there."""
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(path.name + ".part")
    beside.write_text(text, encoding="utf-8")
    os.replace(beside, path)
    return path
