"""The coupons of a kit: which solid, how it is printed, what is measured, and which values of a card it gives."""

from __future__ import annotations

from dataclasses import dataclass

from fem.coupons.shapes import SHAPES, Shape


@dataclass(frozen=True)
class Kind:
    """One kind of coupon: `batch` its name in coupons.toml, `solid` its STEP file, `shape` its outline, tested in
    `test` along `direction`; `standing` whether it is drawn upright.

    `print` are its print settings by key, `measure` what to measure, `gives` the values of a card that come of it,
    `speed` of the test, `copies` how many to print; `needed` False for one that only few cards need.
    """

    batch: str
    solid: str
    shape: str
    test: str
    direction: str
    print: dict[str, str]
    measure: str
    gives: str
    speed: str
    copies: int = 5
    standing: bool = False
    needed: bool = True

    @property
    def outline(self) -> Shape:
        """Its shape as drawn."""
        return SHAPES[self.shape]

    @property
    def columns(self) -> tuple[str, ...]:
        """The heads of its table."""
        across = ("sideways [%]",) if self.shape == "1A" and self.direction in ("along", "45") else ()
        path = () if self.test == "notched" else ("path [mm]",)
        return ("coupon", "force [N]", *path, *across)


def _settings(raster: str, **more: str) -> dict[str, str]:
    return {"raster": raster, "walls": "0", "infill": "100 %", **more}


_PULL = "load and extension to failure, width and thickness of the narrow part of each coupon before the test"
_ACROSS = f"{_PULL}; strain across the pull where you can, else leave the column empty"
FLAT = "lying flat, its length along x"
KINDS = (
    Kind(
        *("along", "1A.step", "1A", "tension", "along"),
        _settings("0 degrees in every layer: beads run along the coupon", place=FLAT),
        _ACROSS,
        "E, tension, strain at break along the beads; nu12 with the strain across",
        "1 mm/min",
    ),
    Kind(
        *("across", "1A.step", "1A", "tension", "across"),
        _settings("90 degrees in every layer: beads run across the coupon", place=FLAT),
        _PULL,
        "E, tension, strain at break across the beads",
        "1 mm/min",
    ),
    Kind(
        *("diagonal", "1A.step", "1A", "tension", "45"),
        _settings("+45 and -45 degrees in turn, an even number of layers alike up and down", place=FLAT),
        _ACROSS,
        "G12 and shear 12 (with E along and across where the strain across was not read)",
        "2 mm/min",
    ),
    Kind(
        *("up", "1BA-standing.step", "1BA", "tension", "up"),
        _settings("as in your parts; the pull parts the layers", place="standing on its end, with a brim"),
        _PULL,
        "E, tension, strain at break up the build; shear 13 and 23 are scaled by it",
        "1 mm/min",
        standing=True,
    ),
    Kind(
        *("bent", "strip.step", "strip", "bending", "along"),
        _settings("0 degrees in every layer: beads run along the strip", place=FLAT),
        "load and deflection in the middle of a span of 64 mm; width and thickness of each strip",
        "E along the beads where no coupon is pulled, else a check of it (tension counts first)",
        "2 mm/min",
    ),
    Kind(
        *("pressed", "block.step", "block", "compression", "along"),
        _settings("0 degrees in every layer: beads run along the block's 20 mm", place=FLAT),
        "load and shortening between flat plates past the first peak; both sides of the section",
        "compression along the beads; the other directions are scaled by it",
        "1 mm/min",
    ),
    Kind(
        *("pressed_up", "block-standing.step", "block", "compression", "up"),
        _settings("as in your parts", place="standing, its 20 mm up"),
        "load and shortening between flat plates past the first peak; both sides of the section",
        "compression up the build",
        "1 mm/min",
        standing=True,
    ),
    Kind(
        *("infill", "infill-block.step", "infill-block", "infill", "up"),
        {
            "raster": "as in your parts",
            "walls": "0",
            "infill": "the pattern and density of your parts, no top and bottom layers",
            "place": "flat",
        },
        "load and shortening between flat plates past the first peak, pressed up the build; both sides; the mass",
        "stiffness and first peak of the infill: beside its cell with this card, where pattern is given; no value",
        "2 mm/min",
        copies=3,
    ),
    Kind(
        *("notched_up", "notched-standing.step", "notched", "notched", "up"),
        _settings("as in your parts", place="standing on its end: the slot lies in a layer"),
        "greatest load in three-point bending over 64 mm, slot below; depth (16 mm), thickness, and the notch's "
        "depth after the break: sharpen the slot by a razor blade to about 8 mm first",
        "toughness up the build",
        "1 mm/min",
        standing=True,
        needed=False,
    ),
)
SMALL = ("1BA.step", SHAPES["1BA"])
"""For small beds and weak presses: along, across and diagonal may be printed as this one (shape = "1BA")."""
