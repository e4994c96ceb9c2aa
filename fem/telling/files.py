"""The fields as a file that any viewer of VTK's XML format can read."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import numpy as np

from fem.judging.scene import Scene
from fem.tensors import Array

UNLIMITED_AS = 1e6
"""A file of numbers holds no infinity that every reader accepts: unlimited reserves are written as this."""
COMPONENTS = "xx_yy_zz_yz_xz_xy"


def field_names(case: str) -> dict[str, str]:
    """The names in the file of a case's fields; each says its unit, its order or what was done to it."""
    return {
        "displacement": f"{case}_displacement_mm",
        "stress": f"{case}_stress_MPa_{COMPONENTS}",
        "print_stress": f"{case}_print_stress_MPa_11_22_33_23_13_12",
        "reserve": f"{case}_reserve_at_most_1e6",
    }


def write_fields(scene: Scene, path: Path) -> Path:
    """Write the second-order mesh with displacement, stress, print-axes stress and reserve of each case.

    Cell data `body` is the index into the bodies; Written beside and renamed.
    """
    import meshio

    mesh = scene.mesh
    points: dict[str, Array] = {}
    for case, fields in scene.cases.items():
        names = field_names(case)
        points[names["displacement"]] = fields.displacement
        points[names["stress"]] = fields.stress
        points[names["print_stress"]] = fields.print_stress
        points[names["reserve"]] = np.minimum(fields.reserve, UNLIMITED_AS)
    out = meshio.Mesh(
        mesh.nodes,
        [("tetra10", mesh.tets)],
        point_data={in_attribute(name): np.asarray(values, dtype=np.float32) for name, values in points.items()},
        cell_data={"body": [mesh.body.astype(np.int32)]},
    )
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(path.name + ".part")
    out.write(beside, file_format="vtu", binary=True, compression="zlib")
    os.replace(beside, path)
    return path


def in_attribute(name: str) -> str:
    """A name as it may stand in an attribute of an XML file, which the writer does not see to: characters that XML
    holds to be its own are escaped, those that it does not know at all are spelled out (such as \\x1b).
    """
    known = "".join(c if _in_xml(c) else c.encode("unicode_escape").decode("ascii") for c in name)
    return escape(known, {'"': "&quot;"})


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
