"""Pictures made small, and as addresses that carry them inside a page."""

from __future__ import annotations

import base64
import io
from collections.abc import Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from fem.cores import workers
from fem.errors import BeadworkError
from fem.telling.blocks import Figure

QUALITY = 84
PAGE_WIDTH = 1200
"""Width [px] of a picture inside a page, where there is room for it."""


def smaller(file: Path, *, width: int, quality: int, kind: str) -> bytes:
    """A picture no wider than `width` [px] as JPEG or WEBP.

    Errors: BeadworkError when the picture cannot be read.
    """
    from PIL import Image

    try:
        image = Image.open(file).convert("RGB")
    except OSError:
        advice = "Run beadwork run again."
        raise BeadworkError("this picture cannot be read.", where=str(file), advice=advice) from None
    return encoded(image, width=width, quality=quality, kind=kind)


def encoded(image: Any, *, width: int, quality: int, kind: str) -> bytes:
    """A pillow image no wider than `width` [px] as JPEG or WEBP."""
    from PIL import Image

    if image.width > width:
        image = image.resize((width, round(image.height * width / image.width)), Image.Resampling.HAMMING)
    out = io.BytesIO()
    if kind == "WEBP":
        image.save(out, format=kind, quality=quality, method=2)  # the usual one: twice as long, 6 % fewer bytes
    else:
        # Full colour resolution: thin coloured letters and lines stay crisp
        image.save(out, format=kind, quality=quality, subsampling=0, optimize=True)
    return out.getvalue()


def page_bytes(image: Any) -> bytes:
    """A picture that was just drawn as a page carries it, so that its file need not be read and encoded again."""
    return encoded(image, width=PAGE_WIDTH, quality=QUALITY, kind=_kind())


def page_address(data: bytes) -> str:
    """The address of `page_bytes`."""
    return data_address(f"image/{_kind().lower()}", data)


def _kind() -> str:
    """WebP, which keeps letters crisp in little room, where Pillow can write it."""
    from PIL import features

    return "WEBP" if features.check("webp") else "JPEG"


def picture_address(file: Path, *, width: int, quality: int = QUALITY) -> str:
    """A picture as a data address. Errors: BeadworkError when the picture cannot be read."""
    kind = _kind()
    return data_address(f"image/{kind.lower()}", smaller(file, width=width, quality=quality, kind=kind))


def data_address(kind: str, data: bytes) -> str:
    """Data of a media type as an address."""
    return f"data:{kind};base64,{base64.b64encode(data).decode()}"


def picture_addresses(files: Sequence[Path], *, width: int, quality: int = 84) -> dict[str, str]:
    """Pictures by their file names as data addresses; Pillow lets go of the interpreter, so threads share them."""
    from concurrent.futures import ThreadPoolExecutor

    with ThreadPoolExecutor(workers()) as pool:
        told = pool.map(partial(picture_address, width=width, quality=quality), files)
        return {file.name: data for file, data in zip(files, told, strict=True)}


def address_of(figure: Figure, *, embedded: Mapping[str, str]) -> str:
    """What shows a figure inside a page: its drawing, or its picture among those that are `embedded` by file name."""
    if figure.svg:
        return data_address("image/svg+xml", figure.svg.encode())
    assert figure.file
    return embedded[figure.file.name]
