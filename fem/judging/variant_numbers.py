"""What is compared of one variant."""

from __future__ import annotations

from dataclasses import dataclass, field

from fem.judging.band import Band
from fem.judging.deciding import holding


@dataclass(frozen=True)
class VariantNumbers:
    """One variant: what it changes and what came out.

    `settings` are the changed keys and their values in the study file's own words; `error` is "" for a variant that
    was solved, else the line that says why it was not. `printed` tells whether any body is printed; `time_h` and
    `cost` (in the user's own money) are of its printed bodies together. `deflection_mm` and, by watched face,
    `displacement_mm` and `rotation_deg` are the largest over the cases; `reserve` is the minimum, in `reserve_case`,
    by `mode` in the `zone` at `at_mm`, within `band` (low, high; empty: not known), `reserve_away` the minimum away
    from singular places (`singular`: the minimum is at one), within `band_away`; `decided_by` whether it is
    "homogenised" or the beads' ("zoom", "whole"), `homogenised` what the homogenised answer says (None: `reserve` is
    that), `homogenised_away` and its `homogenised_band` the same away from singular places, `zoomed` at how many
    places the beads were asked (None: at none, since nobody asked). `band_common` tells that `band` is of the one
    mesh that variants share: it counts for requirements, and says nothing of how variants differ. `missed` says which
    requirements are not met or
    not decided, in words with numbers; `shortfall` is the largest share by which one is missed, or may be missed
    within its band (0: none is), `other_shortfall` that among all but the reserve factor and its chance.
    `decisive` is the first sentence of each
    kind of caution that can turn the verdict. `findings_file` is relative to the comparison's folder.
    """

    name: str
    settings: dict[str, str]
    reference: bool = False
    error: str = ""
    printed: bool = True
    mass_g: float | None = None
    time_h: float | None = None
    cost: float | None = None
    deflection_mm: float | None = None
    deflection_case: str = ""
    displacement_mm: dict[str, float] = field(default_factory=dict)
    rotation_deg: dict[str, float] = field(default_factory=dict)
    reserve: float | None = None
    reserve_away: float | None = None
    reserve_case: str = ""
    mode: str = ""
    zone: str = ""
    body: str = ""
    at_mm: tuple[float, ...] = ()
    singular: bool = False
    decided_by: str = "homogenised"
    homogenised: float | None = None
    zoomed: int | None = None
    missed: tuple[str, ...] = ()
    shortfall: float = 0.0
    other_shortfall: float = 0.0
    cautions: tuple[str, ...] = ()
    decisive: dict[str, str] = field(default_factory=dict)
    findings_file: str = ""
    band: tuple[float, ...] = ()
    band_away: tuple[float, ...] = ()
    homogenised_away: float | None = None
    homogenised_band: tuple[float, ...] = ()
    band_common: bool = False

    @property
    def answered(self) -> bool:
        """Whether the variant was computed."""
        return not self.error

    @property
    def homogenised_reserve(self) -> float | None:
        """The minimum reserve factor of the homogenised answer: the one that variants can be compared by."""
        return self.reserve if self.homogenised is None else self.homogenised

    @property
    def advised(self) -> float | None:
        """The reserve factor that advice rests on: away from places that a support, a load's edge or a sharp corner
        makes; the minimum where that is not told apart.
        """
        return self.reserve if self.reserve_away is None else self.reserve_away

    @property
    def advised_band(self) -> Band:
        """How far the advised reserve factor may lie off; from nothing to nothing where it has none."""
        told = self.band_away or (self.band if self._own_band else ())
        return holding(0.0 if self.advised is None else self.advised, told)

    @property
    def homogenised_advised(self) -> float | None:
        """The advised reserve factor of the homogenised answer, which all variants have."""
        if self.homogenised_away is not None:
            return self.homogenised_away
        return self.advised if self.decided_by == "homogenised" else self.homogenised_reserve

    @property
    def homogenised_advised_band(self) -> Band:
        """How far that may lie off."""
        if self.homogenised_advised is None:
            return Band(0.0, 0.0)
        if self.decided_by == "homogenised" and not self.homogenised_band:
            return self.advised_band
        return holding(self.homogenised_advised, self.homogenised_band)

    @property
    def has_band(self) -> bool:
        """Whether it is known how far the advised reserve factor may lie off."""
        return bool(self.band_away or (self.band and self._own_band))

    @property
    def _own_band(self) -> bool:
        """Whether `band` is that of the advised reserve factor, and this variant's alone."""
        return self.advised == self.reserve and not self.band_common

    @property
    def stiffness(self) -> float | None:
        """1 over the maximum deflection [1/mm]: larger is stiffer, under the study's own loads."""
        return 1 / self.deflection_mm if self.deflection_mm else None
