"""The order of a review: each section is a function of the material, and a new one is one more line here."""

from __future__ import annotations

from collections.abc import Callable

from fem.telling.blocks import Section, numbered
from fem.telling.review.bench import bench
from fem.telling.review.closing import assumptions, cautions, inputs, signatures
from fem.telling.review.comparing import comparison
from fem.telling.review.hot_spots import hot_spots
from fem.telling.review.loads import loads
from fem.telling.review.making import making
from fem.telling.review.material import Material
from fem.telling.review.opening import opening
from fem.telling.review.requirements import requirements
from fem.telling.review.stiffness import stiffness
from fem.telling.review.zooms import zooms

SECTIONS: tuple[Callable[[Material], Section | None], ...] = (
    opening,
    requirements,
    loads,
    stiffness,
    bench,
    hot_spots,
    zooms,
    making,
    comparison,
    assumptions,
    cautions,
    signatures,
    inputs,
)
"""A function that has nothing to say returns None."""


def sections_of(material: Material) -> tuple[Section, ...]:
    """All sections that have something to say, their tables and figures numbered."""
    made = (make(material) for make in SECTIONS)
    return numbered([section for section in made if section is not None])
