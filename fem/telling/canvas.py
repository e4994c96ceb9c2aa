"""The flat side of a picture: title, text, colour bars, legends and labels that never cover each other."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fem.errors import printable
from fem.telling.colours import Colour, ReserveScale
from fem.tensors import Array

if TYPE_CHECKING:
    from fem.telling.stage import View

WIDTH, HEIGHT = 1600, 1200
TOP, BOTTOM = 120, 170
SCENE = (WIDTH, HEIGHT - TOP - BOTTOM)
"""Size [px] of the drawn scene between the title above and the bar below."""
TRIPOD = 96
"""Place [px] of the axes' origin from the left and the lower edge of the scene."""
MARK = "Solid"
"""Under this word a PNG keeps what it shows."""
INK, SOFT, WHITE = (20, 24, 28), (95, 102, 110), (255, 255, 255)


@dataclass(frozen=True)
class Label:
    """Text that belongs to a point of the scene, at `x`, `y` [px] of the scene; `beside` keeps it off a small thing
    that it would hide; `short` stands for the text where this finds no room.
    """

    text: str
    x: float
    y: float
    colour: Colour | None = None
    dot: bool = True
    beside: bool = False
    short: str = ""


@cache
def font(size: int, *, bold: bool = False) -> Any:
    """The sans-serif face that comes with matplotlib, so that pictures look the same on every machine."""
    import matplotlib
    from PIL import ImageFont

    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return ImageFont.truetype(str(Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name), size)


def rgb(colour: Colour) -> tuple[int, int, int]:
    r, g, b = (round(255 * c) for c in colour)
    return (r, g, b)


class Canvas:
    """A white page of 1600 x 1200 with a rendered scene in the middle."""

    def __init__(self, scene: Array, *, title: str, note: str = "", view: View | None = None) -> None:
        from PIL import Image, ImageDraw

        height, width = scene.shape[:2]
        self.page = Image.new("RGB", (width, height + TOP + BOTTOM), WHITE)
        self.page.paste(Image.fromarray(np.ascontiguousarray(scene)), (0, TOP))
        self.pen = ImageDraw.Draw(self.page)
        self.width, self.height = self.page.size
        self.taken: list[tuple[float, float, float, float]] = []
        self.texts: list[str] = []
        self.write((40, 18), title, size=40, bold=True)
        if note:
            self.write((40, 72), note, size=28, colour=SOFT)
        if view is not None:
            self.tripod(view)

    def write(
        self,
        at: tuple[float, float],
        text: str,
        *,
        size: int = 28,
        bold: bool = False,
        colour: tuple[int, int, int] = INK,
        anchor: str = "la",
    ) -> None:
        """Text, made smaller where it would leave the page; a line break in a name is written out."""
        text = printable(text)
        room = self.width - 40 - at[0] if anchor[0] == "l" else self.width - 80
        while size > 18 and self.pen.textlength(text, font=font(size, bold=bold)) > room:
            size -= 2
        self.texts.append(text)
        self.pen.text(at, text, font=font(size, bold=bold), fill=colour, anchor=anchor)

    def tripod(self, view: View, *, left: int = 0, top: int = 0, names: str = "xyz") -> None:
        """The part's axes at the lower left of the scene, or of a view that begins at `left`, `top` [px]."""
        x, y = left + TRIPOD, TOP + top + view.size[1] - TRIPOD
        right = np.cross(view.up, view.towards)
        # The axis that points away from the eye comes first, one along the line of sight last: none hides another
        order = sorted(range(3), key=lambda i: (abs(view.towards[i]) > 0.98, view.towards[i]))
        for axis in order:
            step = 62 * np.array([right[axis], -view.up[axis]])
            tip, end = np.array([x, y]) + step, step / max(float(np.linalg.norm(step)), 1e-9)
            if np.linalg.norm(step) > 12:
                side = np.array([-end[1], end[0]])
                head = [tuple(tip + 4 * end), *(tuple(tip - 16 * end + s * 8 * side) for s in (1, -1))]
                for colour, wide in ((WHITE, 11), (INK, 4)):
                    self.pen.line([(x, y), tuple(tip - 8 * end)], fill=colour, width=wide)
                self.pen.polygon(head, fill=INK)
            else:
                self._end_on((x, y), towards_eye=view.towards[axis] > 0)
                tip, end = np.array([x, y]), np.array([-0.8, 0.6])
            self.pen.text(
                tuple(tip + 22 * end), names[axis], font=font(28, bold=True), fill=INK, anchor="mm",
                stroke_width=3, stroke_fill=WHITE,
            )  # fmt: skip
        self.taken.append((left, y - TRIPOD, x + TRIPOD, y + TRIPOD))

    def _end_on(self, at: tuple[float, float], *, towards_eye: bool) -> None:
        """The sign of an arrow along the line of sight: its point (a dot) or its tail (a cross) in a ring."""
        x, y = at
        self.pen.ellipse([x - 11, y - 11, x + 11, y + 11], fill=WHITE, outline=INK, width=4)
        if towards_eye:
            self.pen.ellipse([x - 4, y - 4, x + 4, y + 4], fill=INK)
        else:
            for s in (1, -1):
                self.pen.line([(x - 7, y - 7 * s), (x + 7, y + 7 * s)], fill=INK, width=3)

    def bar(self, colour_map: Any, *, low: float, high: float, title: str) -> None:
        """An even colour bar with numbers below and its title, which carries the unit, above."""
        left, right, y = 120, self.width - 120, self.height - 100
        self.write((self.width / 2, y - 14), title, size=30, bold=True, anchor="ms")
        colours = np.asarray(colour_map(np.linspace(0.0, 1.0, right - left)))[:, :3]
        self.page.paste(_picture(np.tile((255 * colours).round().astype(np.uint8), (36, 1, 1))), (left, y))
        self.pen.rectangle([left, y, right, y + 36], outline=INK, width=2)
        for value, text in ticks(low, high):
            at = left + (right - left) * (value - low) / (high - low)
            self.pen.line([(at, y + 36), (at, y + 46)], fill=INK, width=2)
            self.write((at, y + 52), text, size=28, anchor="ma")

    def reserve_bar(self, scale: ReserveScale, *, asked: bool = True) -> None:
        """The bands of the reserve factor, equally wide, failure and the required factor named at their marks."""
        left, right, y = 120, self.width - 120, self.height - 100
        step = (right - left) / len(scale.colours)
        self.write((right, y - 18), "reserve factor [1]", size=30, bold=True, anchor="rs")
        goal = f"{'required' if asked else 'target'} {scale.required:g}"
        marks = {1.0: "failure 1", scale.required: goal if scale.required != 1 else f"failure, {goal}"}
        for i, colour in enumerate(scale.colours):
            self.pen.rectangle([left + i * step, y, left + (i + 1) * step, y + 36], fill=rgb(colour))
        self.pen.rectangle([left, y, right, y + 36], outline=INK, width=2)
        for i, (edge, text) in enumerate(zip(scale.edges[1:-1], scale.labels(), strict=True), start=1):
            hard = edge in marks
            x = left + i * step
            self.pen.line([(x, y - (12 if hard else 0)), (x, y + 46)], fill=INK, width=6 if hard else 2)
            self.write((x, y + 52), text, size=28, bold=hard, anchor="ma")
            if hard:
                self.write((x, y - 18), marks[edge], size=28, bold=True, anchor="ms")

    def legend(self, entries: list[tuple[str, Colour]], *, hatched: tuple[str, ...] = ()) -> None:
        """Coloured squares with names, in rows at the foot of the page; `hatched` ones bear ground lines."""
        x, y, size = 40.0, self.height - BOTTOM + 16, 28
        rows = 4
        for text, colour in entries:
            wide = 44 + self.pen.textlength(printable(text), font=font(size)) + 40
            if x > 40 and x + wide > self.width - 20:
                x, y, rows = 40.0, y + 40, rows - 1
            if rows == 0:
                self.write((x, y - 6), "and others, see the report", size=22, colour=SOFT)
                return
            if text in hatched:
                tile = np.full((30, 30, 3), rgb(colour), dtype=np.uint8)
                tile[ground_lines((30, 30))] = INK
                self.page.paste(_picture(tile), (round(x), round(y)))
            self.pen.rectangle(
                [x, y, x + 30, y + 30], fill=None if text in hatched else rgb(colour), outline=INK, width=2
            )
            self.write((x + 42, y - 1), text, size=size)
            x += wide

    def labels(self, labels: list[Label], *, size: int = 28, inside: bool = False) -> None:
        """Boxed labels, each as near to its point as it can be without covering another one.

        With `inside` a label sits on its point where there is room, as the number of a face does.
        """
        for label in labels:
            self.taken.append((label.x - 5, label.y + TOP - 5, label.x + 5, label.y + TOP + 5))
        for label in labels:
            self._label(replace(label, text=printable(label.text)), size, inside)

    def keep_clear(self, points: Array) -> None:
        """Keep labels off these places (n, 2) [px] of the scene."""
        self.taken += [(x - 12, y + TOP - 12, x + 12, y + TOP + 12) for x, y in points.tolist()]

    def _label(self, label: Label, size: int, inside: bool) -> None:
        x, y = label.x, label.y + TOP
        face = font(size, bold=True)
        half_w, half_h = self.pen.textlength(label.text, font=face) / 2 + 10, size / 2 + 8
        own = (x - 5, y - 5, x + 5, y + 5)
        best, found = (x, y), False
        radii = [0.0] if inside and not label.beside else []
        for radius in radii + [half_h + 34 + 26 * k for k in range(26)]:
            turns = np.linspace(0, 2 * np.pi, 1 if radius == 0 else 24, endpoint=False) - np.pi / 4
            spots = [(x + (radius + half_w * abs(np.cos(t))) * np.cos(t), y + radius * np.sin(t)) for t in turns]
            free = [p for p in ([(x, y)] if radius == 0 else spots) if self._free(p, half_w, half_h, own)]
            if free:
                best, found = min(free, key=lambda p: (p[0] - x) ** 2 + (p[1] - y) ** 2), True
                break
        if label.short and not found:
            self._label(replace(label, text=printable(label.short), short=""), size, inside)
            return
        box = (best[0] - half_w, best[1] - half_h, best[0] + half_w, best[1] + half_h)
        colour = rgb(label.colour) if label.colour else INK
        if best != (x, y):
            self.pen.line([(x, y), best], fill=WHITE, width=7)
            self.pen.line([(x, y), best], fill=INK, width=3)
            if label.dot:
                self.pen.ellipse([x - 7, y - 7, x + 7, y + 7], fill=colour, outline=WHITE, width=2)
        self.pen.rounded_rectangle(box, radius=8, fill=WHITE, outline=colour, width=3)
        self.pen.text(best, label.text, font=face, fill=INK, anchor="mm")
        self.texts.append(label.text)
        self.taken.append(box)

    def _free(self, at: tuple[float, float], half_w: float, half_h: float, own: tuple[float, ...]) -> bool:
        box = (at[0] - half_w - 4, at[1] - half_h - 4, at[0] + half_w + 4, at[1] + half_h + 4)
        if box[0] < 6 or box[1] < TOP - 4 or box[2] > self.width - 6 or box[3] > self.height - BOTTOM + 4:
            return False
        others = (t for t in self.taken if t != own)
        return not any(box[0] < t[2] and t[0] < box[2] and box[1] < t[3] and t[1] < box[3] for t in others)

    def marker(self, x: float, y: float) -> None:
        """A ring around a point of the scene, seen on light and dark ground alike."""
        y += TOP
        for grow, colour, wide in ((0, WHITE, 10), (-2, INK, 5)):
            self.pen.ellipse([x - 26 - grow, y - 26 - grow, x + 26 + grow, y + 26 + grow], outline=colour, width=wide)

    def ruler(self, view: View, *, left: int | None = None) -> None:
        """A line of a round length at the foot of the scene, so that a close-up has a size; it begins at `left` [px],
        or ends at the right edge.
        """
        from fem.telling.words import round_factor

        length = round_factor(view.half * 0.5)
        long = length * view.size[1] / 2 / view.half
        wide = max(long, 110)
        x, y = self.width - 60 - wide if left is None else left, self.height - BOTTOM - 30
        self.pen.rectangle([x - 16, y - 52, x + wide + 16, y + 16], fill=WHITE)
        self.pen.line([(x, y), (x + long, y)], fill=INK, width=6)
        self.write((x, y - 12), f"{length:g} mm", size=28, anchor="ls")

    def save(self, path: Path, *, mark: str = "") -> None:
        """Write the page as PNG; a `mark` says within the file what it shows."""
        write_png(self.page, path, mark=mark)


def write_png(image: Any, path: Path, *, mark: str = "") -> None:
    """Write a pillow image as PNG beside its place and rename it there; `mark` as for `Canvas.save`."""
    from PIL.PngImagePlugin import PngInfo

    beside = path.with_name(path.name + ".part")
    facts = PngInfo()
    if mark:
        facts.add_text(MARK, mark)
    image.save(beside, format="PNG", compress_level=3, pnginfo=facts)
    os.replace(beside, path)


def ground_lines(shape: tuple[int, int]) -> NDArray[np.bool_]:
    """Where (rows, columns) the slanted lines run that mark the ground in drawings of supports."""
    rows, columns = np.indices(shape)
    return (rows + columns) % 16 < 4


def _picture(pixels: NDArray[np.uint8]) -> Any:
    from PIL import Image

    return Image.fromarray(np.ascontiguousarray(pixels))


def ticks(low: float, high: float) -> list[tuple[float, str]]:
    """Round values on a bar with their text, and the value at its end (at both, if it begins below zero) with three
    digits.
    """
    from fem.telling.words import number, round_factor

    step, room = round_factor((high - low) / 4), 0.09 * (high - low)
    first, last = int(np.ceil(low / step - 1e-9)), int(np.floor(high / step + 1e-9))
    inner = [
        i * step for i in range(first, last + 1) if i * step < high - room and (low >= 0 or i * step > low + room)
    ]
    ends = [(high, number(high))] if low >= 0 else [(low, number(low)), (high, number(high))]
    return sorted([(v, f"{v:g}" if 1e-4 <= step < 1e5 or v == 0 else f"{v:.2g}") for v in inner] + ends)
