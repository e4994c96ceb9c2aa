"""Numbers of the review that `fem.telling.words` has no words for."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from fem.digits import number, reserve_text
from fem.judging.findings import Matrix
from fem.telling.blocks import Cell
from fem.telling.zoom_words import band_text
from fem.tensors import Array

DIGITS = 4
"""Digits of a stiffness, counted on the natural size of its entry."""
FORCES = ("Fx [N]", "Fy [N]", "Fz [N]", "Mx [N·mm]", "My [N·mm]", "Mz [N·mm]")
SHORT = ("Fx", "Fy", "Fz", "Mx", "My", "Mz")
MOTIONS = ("x [mm]", "y [mm]", "z [mm]", "about x [rad]", "about y [rad]", "about z [rad]")


def stiffness_texts(matrix: Matrix) -> list[list[str]]:
    """The entries per mm and per radian, each rounded to DIGITS digits of sqrt(K_ii K_jj), its natural size.

    A coupling that is small beside the stiffnesses that it couples reads 0; a direction in which the face cannot
    move reads "fixed".
    """
    raw = np.array(matrix, dtype=float)
    direct = np.abs(np.diag(raw))
    out = []
    for i in range(6):
        row = []
        for j in range(6):
            value = float(raw[i, j])
            size = math.sqrt(direct[i] * direct[j])
            if not math.isfinite(value):
                row.append("fixed" if i == j else "–")
            elif not math.isfinite(size) or size == 0:
                row.append(number(value, digits=DIGITS) if size == 0 else "0")
            else:
                row.append(_rounded(value, size))
        out.append(row)
    return out


def _rounded(value: float, size: float) -> str:
    """`value` to the last place that `size` has with DIGITS digits."""
    step = 10.0 ** (math.floor(math.log10(size)) - DIGITS + 1)
    whole = round(value / step)
    if whole == 0:
        return "0"
    digits = len(str(abs(whole)))
    return number(whole * step, digits=digits)


def reserve_cell(value: float | None, *, required: float, band: Sequence[float] = ()) -> Cell:
    """A reserve factor and its band, marked where it is below 1 or below what is required."""
    if value is None:
        return Cell("none")
    tone = "bad" if value < 1 else "warn" if value < required else ""
    return Cell(reserve_text(value) + (f" ({band_text(band)})" if len(band) else ""), tone)


def ratio(own: float | None, base: float | None) -> str:
    """own / base, or a dash where one of them is not a finite number."""
    if own is None or base is None or base == 0 or not (math.isfinite(own) and math.isfinite(base)):
        return "–"
    return number(own / base)


def components(values: Sequence[float] | Array, *, scale: float, digits: int = 3) -> list[str]:
    """Each component as text; those that are rounding beside `scale` read 0."""
    return [number(0.0 if abs(float(v)) <= 1e-6 * scale else float(v), digits=digits) for v in values]


def seconds_text(seconds: float) -> str:
    """A time of computing."""
    return f"{number(seconds)} s"


def spaced(digest: str) -> str:
    """A digest in groups of eight, so that it can be read aloud and broken over lines."""
    return " ".join(digest[i : i + 8] for i in range(0, len(digest), 8))
