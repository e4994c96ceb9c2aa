"""What a study may write behind the keys of a load or support, as the plain numbers that it becomes.

Only `study/keys` may load the library that checks a file, and does so late; so each name here has a namesake in
`study/keys/values.py`, the same with its check, and a noun's own annotations, left as text, are its form. The first
text in an annotation describes the key, further ones are examples of it.
"""

from __future__ import annotations

Vector = tuple[float, float, float]
"""Three numbers along the part axes."""
Length = float  # [mm]
Extent = float  # [mm], above zero
Preload = float  # [N], above zero
Pressure = float  # [MPa]
PressureGradient = float  # [MPa/mm], above zero
Mass = float  # [tonne], above zero
TemperatureDifference = float  # [K]
FoundationStiffness = float  # [N/mm^3], not negative
SpringStiffness = float  # [N/mm], above zero
Share = float  # 0 to 1
ShareAboveZero = float
NotNegative = float
Forces = Vector  # [N]
Moments = Vector  # [N mm]
Accelerations = Vector  # [mm/s^2]
Point = Vector  # [mm]
Direction = Vector  # of any length
Name = str
Names = tuple[str, ...]  # at least one
HeldDirections = tuple[str, ...]  # some of "x", "y", "z", or "normal" alone
