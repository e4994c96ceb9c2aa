"""Where the beads of each infill pattern lie: periods, densities that can be made, and what is solid.

Cell axes are print axes at infill angle 0: 1 along the bead or wall at 0 degrees, 2 across it in the layer, 3 up the
build. Every wall is one bead wide, measured in the layer. With w the bead's width and L the period:

lines      beads L apart, along 1 in one layer and along 2 in the next; each layer holds w / L
grid       walls along 1 and along 2; s = w / L, density 2 s - s^2
triangle   walls at 0, 60 and 120 degrees through common joints, side L; density 1 - (1 - sqrt(3) w / L)^2
honeycomb  regular hexagons of side L; density 1 - (1 - w / (sqrt(3) L))^2
cubic      three families of mutually perpendicular planes, the cube L standing on its corner. The planes lean by the
angle
           whose cosine is 1/sqrt(3) from lying flat, so a bead w wide makes a wall t = w sqrt(2/3) thick across its
           plane; density 1 - (1 - t / L)^3
gyroid     the sheet |sin x cos y + sin y cos z + sin z cos x| < t with period L. A layer holds as much bead as its
contour
           is long, so L = 3.0915 <|n_h|> w / density, n_h the horizontal part of the sheet's normal

Densities are exact, joints counted once. Source of the gyroid's surface: A. H. Schoen, NASA TN D-5541 (1970).
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fem.errors import InputError, nearest
from fem.printing.plan import check_bead
from fem.tensors import Array

PATTERNS: tuple[str, ...] = ("woodpile", "grid", "triangle", "honeycomb", "cubic", "gyroid")
"""The infill patterns whose cells can be computed."""

WIDEST_GAP = 40.0
"""Widest clear gap between walls, in bead widths: over wider ones the next cover has nothing to rest on."""
NARROWEST_GAP = 0.5
"""Narrowest clear gap between walls, in bead widths: narrower ones are closed by the melt."""
THICKEST_GYROID = 1.25
"""Largest level of the gyroid's sheet; at sqrt(2) its two channels are pinched off."""
LEAN = math.sqrt(2 / 3)
"""Thickness of a cubic pattern's wall across its plane, in bead widths."""


def check_pattern(pattern: str) -> None:
    """Errors: InputError with the known patterns when `pattern` is none of them."""
    if pattern not in PATTERNS:
        close = nearest(pattern, PATTERNS, count=1) if isinstance(pattern, str) else ""
        known = f"Known: {', '.join(PATTERNS)}."
        raise InputError(
            f'infill pattern "{pattern}" does not exist.',
            advice=known if close.startswith("Known") else f"{close} {known}",
        )


def makeable_density(pattern: str, *, bead_width: float, bead_height: float) -> tuple[float, float]:
    """Least and largest density that beads of this width can make in the pattern.

    The clear gap lies between half a bead width and 40 of them; lines may touch, and the gyroid's two channels must
    stay open. Errors: InputError for an unknown pattern or an impossible bead.
    """
    check_pattern(pattern)
    check_bead(bead_width, bead_height)
    wide, narrow = WIDEST_GAP, NARROWEST_GAP
    if pattern == "woodpile":
        return 1 / (1 + wide), 1.0
    if pattern == "gyroid":
        # the gap's width is about half the period less the sheet
        return gyroid_length() / (2 * (wide + 1)), float(np.mean(np.abs(_gyroid_samples()) < THICKEST_GYROID))
    # s = wall / (wall + gap) across the walls, gap in bead widths or, leaning, in wall thicknesses
    low, high = (1 / (1 + gap) for gap in (wide, narrow))
    if pattern == "cubic":
        return 1 - (1 - low) ** 3, 1 - (1 - high) ** 3
    if pattern == "triangle":
        # the gap is the diameter of the circle inside the triangle: sqrt(3) w / L = w / (w + gap)
        return 1 - (1 - low) ** 2, 1 - (1 - high) ** 2
    return 1 - (1 - low) ** 2, 1 - (1 - high) ** 2


def check_density(pattern: str, density: float, *, bead_width: float, bead_height: float) -> None:
    """Errors: InputError when the density lies outside 0..1, or beads of this width cannot make it."""
    low, high = makeable_density(pattern, bead_width=bead_width, bead_height=bead_height)
    if not (math.isfinite(density) and 0 < density <= 1):
        raise InputError(f"infill density {density:g} must lie above 0 and at most at 1.")
    if not low <= density <= high:
        fit = math.ceil(low * 1e4) / 1e4 if density < low else math.floor(high * 1e4) / 1e4
        raise InputError(
            f'infill density {density:g} cannot be made in the pattern "{pattern}" by beads {bead_width:g} mm wide.',
            advice=f"The nearest that can is {fit:g}" + ("." if density < low else '; or print it "solid".'),
        )


def period_length(pattern: str, *, density: float, bead_width: float) -> float:
    """The length L [mm] of the pattern, as the module's head defines it."""
    if pattern == "woodpile":
        return bead_width / density
    if pattern == "grid":
        return bead_width / (1 - math.sqrt(1 - density))
    if pattern == "triangle":
        return math.sqrt(3) * bead_width / (1 - math.sqrt(1 - density))
    if pattern == "honeycomb":
        return bead_width / math.sqrt(3) / (1 - math.sqrt(1 - density))
    if pattern == "cubic":
        return LEAN * bead_width / (1 - (1 - density) ** (1 / 3))
    return gyroid_length() * bead_width / density


def period_box(pattern: str, *, density: float, bead_width: float, bead_height: float) -> Array:
    """Edges (3,) [mm] of the least upright box that repeats; of the cube itself, along its own edges, for cubic."""
    a = period_length(pattern, density=density, bead_width=bead_width)
    root = math.sqrt(3)
    return np.array(
        {
            "woodpile": (a, a, 2 * bead_height),
            "grid": (a, a, bead_height),
            "triangle": (a, root * a, bead_height),
            "honeycomb": (3 * a, root * a, bead_height),
        }.get(pattern, (a, a, a))
    )


def cube_axes() -> Array:
    """Edges (3, 3) of the cubic pattern's cube as rows in print axes: each makes the same angle with the build
    direction.

    The horizontal lines of the three walls run at 0, 60 and 120 degrees.
    """
    turn = np.radians([90.0, 210.0, 330.0])
    return np.column_stack([LEAN * np.cos(turn), LEAN * np.sin(turn), np.full(3, 1 / math.sqrt(3))])


def gyroid(x: Array) -> Array:
    """The gyroid's function (n,) at `x` (n, 3), one period being 2 pi."""
    s, c = np.sin(x), np.cos(x)
    return s[..., 0] * c[..., 1] + s[..., 1] * c[..., 2] + s[..., 2] * c[..., 0]


def gyroid_slope(x: Array) -> Array:
    """Gradient (n, 3) of the gyroid's function."""
    s, c = np.sin(x), np.cos(x)
    return np.stack(
        [
            c[..., 0] * c[..., 1] - s[..., 2] * s[..., 0],
            c[..., 1] * c[..., 2] - s[..., 0] * s[..., 1],
            c[..., 2] * c[..., 0] - s[..., 1] * s[..., 2],
        ],
        axis=-1,
    )


def gyroid_level(density: float) -> float:
    """The level t whose sheet |phi| < t fills `density` of the period."""
    return float(np.quantile(np.abs(_gyroid_samples()), density))


@lru_cache(maxsize=1)
def gyroid_length() -> float:
    """Horizontal contour of the surface phi = 0 over one period, as length times period over area: 3.0915 <|n_h|>.

    By the coarea formula, the mean of |grad_h phi| over a thin sheet divided by the sheet's levels.
    """
    x = _gyroid_points()
    thin = 0.02
    near = np.abs(_gyroid_samples()) < thin
    flat = np.hypot(*gyroid_slope(x[near])[:, :2].T)
    return float(2 * math.pi * flat.sum() / len(x) / (2 * thin))


@lru_cache(maxsize=1)
def _gyroid_points() -> Array:
    """Points (n, 3) spread evenly over one period without sharing its symmetry (a Kronecker sequence)."""
    # the real root of g^4 = g + 1 spreads points best in three dimensions
    root = 1.2207440846057596
    return 2 * np.pi * (np.outer(np.arange(1, 300_001), root ** -np.arange(1.0, 4.0)) % 1.0)


@lru_cache(maxsize=1)
def _gyroid_samples() -> Array:
    return gyroid(_gyroid_points())


def solid_at(
    pattern: str, points: Any, *, density: float, bead_width: float, bead_height: float
) -> NDArray[np.bool_]:
    """Whether each of `points` (n, 3) [mm, cell axes] lies in a bead of the printed lattice; shape (n,).

    A joint of the lattice lies at the origin. Errors: InputError as for the cell itself.
    """
    check_pattern(pattern)
    check_density(pattern, density, bead_width=bead_width, bead_height=bead_height)
    p = np.asarray(points, dtype=float).reshape(-1, 3)
    length = period_length(pattern, density=density, bead_width=bead_width)
    half = bead_width / 2
    if pattern == "woodpile":
        along = np.floor(p[:, 2] / bead_height).astype(np.int64) % 2 == 0
        return np.where(along, _off(p[:, 1], length), _off(p[:, 0], length)) <= half
    if pattern == "grid":
        return np.asarray((_off(p[:, 0], length) <= half) | (_off(p[:, 1], length) <= half))
    if pattern == "triangle":
        turn = np.radians([0.0, 60.0, 120.0])
        across = -p[:, :1] * np.sin(turn) + p[:, 1:2] * np.cos(turn)
        return np.asarray((_off(across, length * math.sqrt(3) / 2) <= half).any(axis=1))
    if pattern == "honeycomb":
        return _from_hexagon(p, length) >= math.sqrt(3) / 2 * length - half
    if pattern == "cubic":
        return np.asarray((_off(p @ cube_axes().T, length) <= LEAN * half).any(axis=1))
    return np.abs(gyroid(p * (2 * np.pi / length))) < gyroid_level(density)


def _off(x: Array, period: float) -> Array:
    """Distance to the nearest multiple of the period."""
    return np.abs(x - np.round(x / period) * period)


def _from_hexagon(p: Array, side: float) -> Array:
    """How far (n,) points lie from the centre of their hexagon, measured across its nearest wall.

    Centres lie at (side, sqrt(3) side) / 2 up to whole periods, walls at 0, 60 and 120 degrees.
    """
    turn = np.radians([90.0, 30.0, 150.0])
    across = np.stack([np.cos(turn), np.sin(turn)])
    period = np.array([3 * side, math.sqrt(3) * side])
    first = p[:, :2] - np.array([side / 2, math.sqrt(3) * side / 2])
    out = []
    for shift in (np.zeros(2), period / 2):
        q = first - shift
        q = q - np.round(q / period) * period
        out.append(np.abs(q @ across).max(axis=1))
    return np.minimum(*out)
