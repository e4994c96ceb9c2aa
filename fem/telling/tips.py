"""What each number of a page means, in plain words: one table for the pages' tips and for the list at their end."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Any

TIPS = {
    "reserve": (
        "Reserve factor",
        "How many times the variable loads of a case can be applied before the first place fails. Below 1 the part "
        "fails under the case itself; 2 means it bears twice the load.",
    ),
    "band": (
        "Band",
        "The range in which the number lies once the error of the mesh (or of the beads' boxes) is counted. A limit "
        "inside the band is not decided.",
    ),
    "chance": (
        "Chance",
        "In how many of 100 parts printed and loaded alike the reserve factor is reached, with strengths, stiffness "
        "and loads that scatter.",
    ),
    "limit": ("Limit", "What the study asks for: at least this reserve factor or chance, at most this of all else."),
    "calculated": ("Calculated", "What the analysis gives for the requirement, with its band where one is known."),
    "failing_load": (
        "Failure load",
        "The resultant of the variable loads at which the first place fails; permanent loads stay as they are.",
    ),
    "displacement": ("Displacement", "How far a point or the mean of a face moves from where it was unloaded."),
    "rotation": ("Rotation", "By which angle a face turns as a whole; 1 degree is 17 mm on a lever of 1 m."),
    "applied": ("Applied force", "The resultant of all loads of the case that act on the part."),
    "energy": ("Strain energy", "The work stored in the bent part; a stiffer part stores less under equal loads."),
    "criterion": (
        "Failure criterion",
        "The minimum reserve factor if only this way of failing could happen. The smallest one decides.",
    ),
    "at": ("Location", "A place in the part's own axes x, y, z, measured from the origin of its file."),
    "away": ("Distance to the face", "How far the place lies from the nearest point of that face."),
    "stress": (
        "Stress",
        "Force per area at the place, in the part's own axes: three pulls (positive) or pushes, then three shears.",
    ),
    "bead_stress": (
        "Stress in bead axes",
        "The same stress seen from the bead: 1 along it, 2 across it in the layer, 3 up through the layers.",
    ),
    "reaction": ("Reaction", "Force or moment that a support exerts on the part, in part axes."),
    "joint": ("Joint", "Force or moment that one body exerts on another where their faces meet, in part axes."),
    "bearing": ("Bearing pressure", "Force per area with which two faces press on each other."),
    "opening": ("Opening", "How far two faces that could touch are apart; those that touch are not."),
    "slip": ("Slip", "How far faces that touch have slid along each other because friction does not hold them."),
    "zoom": (
        "Bead by bead",
        "From an analysis in which each bead of the place is solved on its own, beside the homogenised one, which "
        "takes beads and gaps as one material.",
    ),
    "share": ("Share", "The part of the whole that belongs to this zone."),
    "volume": ("Volume", "Space inside the outline, gaps of the infill included."),
    "mass": ("Mass", "Weight of the printed material, estimated from the beads; weigh a print to check it."),
    "time": (
        "Printing time",
        "Length of all beads over print speed, without heating, travel and slow corners; time a print to check.",
    ),
    "plan": ("Print plan", "A value of the print plan, as the study gives it, as assumed, or computed from both."),
    "stiffness": (
        "Stiffness",
        "The force or moment (row) that goes with a displacement of 1 mm or a rotation of 1 rad (column), all other "
        "motions of the face held at zero.",
    ),
    "compliance": (
        "Compliance",
        "The displacement or rotation (row) under a force of 1 N or a moment of 1 N·mm (column) alone.",
    ),
    "balance": (
        "Balance",
        "How far reactions and loads are from cancelling, as a share of the loads; far below 0.001 it is rounding.",
    ),
    "trust": ("Accuracy", "A number that tells how far the analysis itself can be relied on."),
    "mesh": (
        "Mesh",
        "The solid is divided into tetrahedra with nodes at corners and edges; each node moves in three directions, "
        "the unknowns. Quality 1 is a regular tetrahedron, 0 a flat one.",
    ),
    "material": (
        "Material card",
        "The stiffness and strength that the body is computed with; values nobody measured count as estimated.",
    ),
    "area": ("Area", "The surface of all faces under this name."),
    "factor": ("Factor", "By how much the case multiplies this load of the study."),
    "load": ("Load", "A load as the study gives it, at unit factor."),
    "support": ("Support", "A support as the study gives it."),
    "input": ("Input", "A value that went into this run."),
    "seconds": ("Time", "How long this step of the run took on the computer."),
    "memory": ("Memory", "The most memory that the run took at any moment."),
}
"""The name of each number and what it means, by a word for the templates."""

BY_WORD = (
    ("joints in case", "joint"), ("highest pressure", "bearing"), ("opened [", "opening"), ("opens at", "opening"),
    ("slipped [", "slip"), ("slips all", "slip"),
    ("criterion on its own", "criterion"), ("share", "share"), ("failure load", "failing_load"),
    ("reserve", "reserve"), ("singularities", "reserve"), ("between", "band"), ("margin", "calculated"),
    ("limit", "limit"), ("requirement", "calculated"), ("energy error", "trust"), ("residual", "balance"),
    ("energy", "energy"), ("displacement", "displacement"), ("deflection", "displacement"),
    ("rotation", "rotation"), ("[deg]", "rotation"), ("volume", "volume"), ("mass", "mass"), ("print plan", "plan"),
    ("print time", "time"), ("time [h]", "time"), ("filament", "plan"), ("cost", "plan"), ("area", "area"),
    ("faces of the solid", "area"), ("bead axes", "bead_stress"), ("beads that fail", "bead_stress"),
    ("stress", "stress"), ("nearest face", "away"), ("location", "at"), ("point", "at"), ("centre", "at"),
    ("box", "at"), ("compliance", "compliance"), ("stiffness", "stiffness"), ("reaction", "reaction"),
    ("loads at unit", "load"), ("load factors", "factor"), ("supports", "support"),
    ("forces and moments", "applied"), ("zones", "share"), ("material", "material"), ("accuracy", "trust"),
    ("equilibrium", "balance"), ("memory", "memory"), ("versions", "input"), ("files", "input"),
    ("time", "seconds"), ("step", "plan"), ("mesh", "mesh"), ("case", "zoom"),
)  # fmt: skip
"""A word that a table's head, a row's name or a caption holds, and whose number it then is; the first one counts."""


def meaning(texts: Sequence[str]) -> Any:
    """The tip for a cell by its column's head, its row's name and the table's caption, in this order; "" for none."""
    found = (key for text in texts for word, key in BY_WORD if word in text.lower())
    key = next(found, "")
    return tip(key) if key else ""


def tip(key: str) -> Any:
    """The attribute that tells what a number means to the pointer: ` title="..."`.

    Errors: KeyError for a number that is not in the table.
    """
    from markupsafe import Markup

    return Markup(f' title="{escape(TIPS[key][1], quote=True)}"')
