"""A folder from the bench: coupons.toml says what each table holds; what comes out are batches of coupons."""

from __future__ import annotations

import datetime
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from fem.caution import Caution
from fem.coupons.nouns import DIAGONAL, DIRECTIONS, TESTS, Batch, Coupon, CouponTests, Curve, PrintedInfill
from fem.coupons.shapes import SHAPES, Shape
from fem.coupons.table import KINDS, read_table
from fem.errors import Faults, InputError, nearest, shown, toml_trouble
from fem.printing.card.nouns import ROOM_TEMPERATURE
from fem.printing.card.values import check_keys
from fem.printing.infill.patterns import check_density, check_pattern
from fem.units import quantity

FILE = "coupons.toml"
BASE = "pa12-cf"
"""The card that fills in what was not measured, unless another one is named."""
SHARED_KEYS = ("state", "temperature", "speed", "read", "machine_stiffness", "decimal", "columns", "units")
TOP_KEYS = ("date", "from", "batch", *SHARED_KEYS)
BATCH_KEYS = (
    *SHARED_KEYS,
    *("test", "direction", "shape", "file", "files", "width", "thickness", "notch", "mass", "gauge_length", "grips"),
    *("pattern", "density", "bead_width", "bead_height"),
    *("span", "strength_only", "solid", "copies", "print", "measure", "gives"),
)
"""The last five are for whoever prints and tests; the fit does not need them."""
COLUMNS = {"coupon": "coupon", "force": "force", "path": "path", "sideways": "sideways"}
"""What the columns are called unless the file says otherwise."""
READ = ("coupon", "crosshead")
"""Where the path is read: between marks on the coupon, or at the machine."""
WORDS = {"test": TESTS, "direction": (*DIRECTIONS, DIAGONAL), "shape": tuple(SHAPES), "read": READ}


def read_coupons(folder: Path) -> CouponTests:
    """All batches of a folder that have measurements.

    Errors: InputError that tells everything that is wrong with coupons.toml and its tables, a line each.
    """
    tables, faults = _tables(folder / FILE), Faults()
    check_keys(tables, TOP_KEYS, ("batch",), FILE, faults)
    batches, empty = [], []
    own = tables.get("batch", {})
    if not (isinstance(own, dict) and all(isinstance(t, dict) for t in own.values())):
        raise InputError("must hold a table for each batch, [batch.NAME].", where=f"{FILE}: batch")
    shared = {key: tables[key] for key in SHARED_KEYS if key in tables}
    for name, table in own.items():
        before = len(faults.found)
        merged = {**shared, **table, **_merged(shared, table)}
        read = faults.of(_batch, name, merged, folder, _optional(shared, table))
        if read is not None:
            batches.append(read)
        elif len(faults.found) == before:
            empty.append(name)
    faults.refuse(FILE)
    if not batches:
        advice = "Fill in the CSV files: one row a reading, under their heads."
        raise InputError("no table holds measurements yet.", where=str(folder), advice=advice)
    base = _base(tables.get("from", BASE), folder)
    told = f"No measurements yet, and left out: {', '.join(empty)}."
    cautions = (Caution("coupons", told, {"batches": empty}),) if empty else ()
    return CouponTests(tuple(batches), _date(tables.get("date")), base, cautions)


def _tables(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        advice = "`beadwork coupons --out FOLDER` writes one to begin from."
        raise InputError(f"there is no {FILE} in this folder.", where=str(path.parent), advice=advice) from None
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}.", where=str(path)) from None
    except (ValueError, RecursionError) as error:
        raise InputError(f"cannot be read as TOML: {toml_trouble(error)}.", where=FILE) from None


def _merged(shared: Mapping[str, Any], own: Mapping[str, Any]) -> dict[str, Any]:
    """Columns and units of a batch stand over those of the file, one by one."""
    both = [
        key for key in ("columns", "units") if isinstance(shared.get(key), dict) and isinstance(own.get(key), dict)
    ]
    return {key: {**shared[key], **own[key]} for key in both}


def _base(base: Any, folder: Path) -> str:
    """The other card: a name, or a file that lies where coupons.toml says, seen from its own folder."""
    if not (isinstance(base, str) and base.strip()):
        raise InputError("must be a card's name or file.", where=f"{FILE}: from", advice=f'Write from = "{BASE}".')
    is_file = base.endswith(".toml") or "/" in base or "\\" in base
    return str(folder / Path(base).expanduser()) if is_file else base


def _optional(shared: Mapping[str, Any], own: Mapping[str, Any]) -> frozenset[str]:
    """Columns that a batch's tables may lack: strain across unless the batch itself names it, and names of coupons
    where nobody says what their column is called."""
    here, above = (t["columns"] if isinstance(t.get("columns"), dict) else {} for t in (own, shared))
    needed = {role for role in here if role == "sideways"} | {r for r in (*here, *above) if r == "coupon"}
    return frozenset({"coupon", "sideways"} - needed)


def _date(value: Any) -> str:
    """The day of the tests; today where none is given."""
    if value in (None, ""):
        return datetime.date.today().isoformat()
    if isinstance(value, datetime.date):
        return value.isoformat()[:10]
    try:
        return datetime.date.fromisoformat(str(value)).isoformat()
    except ValueError:
        raise InputError(
            f"{shown(value)} is no day.", where=f"{FILE}: date", advice="Write it as 2026-11-20."
        ) from None


def _batch(name: str, table: dict[str, Any], folder: Path, optional: frozenset[str]) -> Batch | None:
    """One batch; None when its tables hold no readings yet."""
    where, faults = f"{FILE}: batch.{name}", Faults()
    check_keys(table, BATCH_KEYS, ("test", "direction", "width", "thickness"), where, faults)
    for key, known in WORDS.items():
        if key in table and table[key] not in known:
            told = InputError(f"{shown(table[key])} is unknown.", where=f"{where}.{key}", advice=_known(known))
            faults.found.append(told)
    if "file" in table and "files" in table:
        faults.found.append(InputError("has both file and files.", where=where, advice="Leave one of them out."))
    if table.get("direction") == DIAGONAL and table.get("test") != "tension":
        refused = f"±45 coupons are pulled: no card has a value for {table.get('test')} at ±45."
        faults.found.append(InputError(refused, where=where, advice='Write test = "tension", or another direction.'))
    if table.get("test") == "notched" and "notch" not in table:
        advice = 'Measure it after the break: notch = ["8.1 mm", ...].'
        faults.found.append(InputError("the notch's depth is missing.", where=where, advice=advice))
    faults.refuse(where)
    only_strength = _flag(table, "strength_only", where)
    length = _length(table, where)
    without_path = only_strength or table["test"] == "notched"
    measured = _measured(table, folder, where, optional=optional, without_path=without_path)
    if measured is None:
        return None
    sizes = {key: _sizes(table, key, len(measured), where) for key in ("width", "thickness", "notch", "mass")}
    at_machine, machine = table.get("read", READ[0]) == "crosshead", None
    if "machine_stiffness" in table:
        machine = _positive(table["machine_stiffness"], "spring stiffness", f"{where}.machine_stiffness")
    coupons = tuple(
        Coupon(title, _curve(columns, kinds, length, w * t, w, where), w, t, notch, mass)
        for (title, columns, kinds), w, t, notch, mass in zip(measured, *sizes.values(), strict=True)
    )
    shape = SHAPES.get(table.get("shape", ""))
    if shape is None and any(c.mass is not None for c in coupons):
        raise InputError("mass needs shape, which tells the volume.", where=where, advice='Write shape = "1BA".')
    return Batch(
        name,
        table["test"],
        table["direction"],
        str(table.get("state", "dry")),
        quantity(table.get("temperature", f"{ROOM_TEMPERATURE:g} degC"), "temperature", where=f"{where}.temperature"),
        length,
        coupons,
        shape,
        machine if at_machine else None,
        at_machine,
        str(table.get("speed", "")),
        only_strength,
        _infill(table, where),
        _assumed(table, at_machine),
    )


def _assumed(table: dict[str, Any], at_machine: bool) -> str:
    """What was taken for granted about the length between grips."""
    if not at_machine or table["test"] != "tension" or "grips" in table or "shape" not in table:
        return ""
    drawn = SHAPES[table["shape"]].apart
    return f"the path was read at the machine and no grips are given: they are taken to stand {drawn:g} mm apart."


def _infill(table: dict[str, Any], where: str) -> PrintedInfill | None:
    """What a block is filled with, where its pattern is given."""
    if "pattern" not in table:
        return None
    if table["test"] != "infill":
        advice = 'Leave pattern out, or write test = "infill".'
        raise InputError("has a pattern and is no block of infill.", where=where, advice=advice)
    missing = [key for key in ("density", "bead_width", "bead_height") if key not in table]
    if missing:
        raise InputError(f"{', '.join(missing)} missing beside pattern.", where=where, advice='Such as "0.45 mm".')
    density = table["density"]
    if isinstance(density, bool) or not isinstance(density, int | float):
        raise InputError(f"{shown(density)} is no share.", where=f"{where}.density", advice="Write density = 0.3.")
    width, height = (_positive(table[key], "length", f"{where}.{key}") for key in ("bead_width", "bead_height"))
    check_pattern(table["pattern"])
    check_density(table["pattern"], float(density), bead_width=width, bead_height=height)
    return PrintedInfill(table["pattern"], float(density), width, height)


def _flag(table: dict[str, Any], key: str, where: str) -> bool:
    value = table.get(key, False)
    if not isinstance(value, bool):
        raise InputError(f"{shown(value)} must be true or false.", where=f"{where}.{key}")
    return value


def _known(words: tuple[str, ...]) -> str:
    return f"Known: {', '.join(words)}."


def _length(table: dict[str, Any], where: str) -> float:
    """The length [mm] that the path belongs to: span, gauge length, or what a coupon between grips amounts to."""
    shape: Shape | None = SHAPES.get(table.get("shape", ""))
    bent = table["test"] in ("bending", "notched")
    crosshead = table.get("read") == "crosshead" and table["test"] == "tension"
    key = "span" if bent else "grips" if crosshead and (shape is not None or "grips" in table) else "gauge_length"
    if key in table:
        length = _positive(table[key], "length", f"{where}.{key}")
    elif shape is not None:
        length = shape.apart if key == "grips" else shape.gauge
    else:
        raise InputError(f"{key} is missing.", where=where, advice=f'Write {key} = "50 mm".')
    return shape.between_grips(length) if key == "grips" and shape is not None else length


def _positive(value: Any, kind: str, where: str) -> float:
    out = quantity(value, kind, where=where)
    if not out > 0:
        raise InputError(f"{shown(value)} must be positive.", where=where)
    return out


def _sizes(table: dict[str, Any], key: str, count: int, where: str) -> list[float | None]:
    """A measure of each coupon: one for all, or one each."""
    if key not in table:
        return [None] * count
    value, kind = table[key], "mass" if key == "mass" else "length"
    each = value if isinstance(value, list) else [value] * count
    if len(each) != count:
        raise InputError(
            f"holds {len(each)} values for {count} coupons.",
            where=f"{where}.{key}",
            advice="Give one for all of them, or one each in the order of the table.",
        )
    return [_positive(v, kind, f"{where}.{key}") for v in each]


Record = tuple[str, dict[str, np.ndarray[Any, Any]], dict[str, str]]


def _measured(
    table: dict[str, Any], folder: Path, where: str, *, optional: frozenset[str], without_path: bool
) -> list[Record] | None:
    """Each coupon's name, columns and the kinds of their units, in the order of the tables."""
    files = table.get("files", [table.get("file", "")])
    if not (isinstance(files, list) and files and all(isinstance(f, str) and f for f in files)):
        raise InputError("names no table.", where=where, advice='Write file = "along.csv", or files = [...].')
    wanted, units, decimal = _columns(table, where, without_path), table.get("units", {}), table.get("decimal")
    if not (isinstance(units, dict) and all(isinstance(unit, str) for unit in units.values())):
        raise InputError("must be a table of units.", where=f"{where}.units", advice='Write force = "kN".')
    if decimal not in (None, ",", "."):
        raise InputError(
            f"{shown(decimal)} is no decimal mark.", where=f"{where}.decimal", advice='Write "," or ".".'
        )
    out: list[Record] = []
    for file in files:
        read = read_table(folder / file, wanted, units=units, optional=optional, decimal=decimal)
        if read is None:
            continue
        names = (
            read.coupons if read.coupons is not None else (Path(file).stem,) * len(next(iter(read.columns.values())))
        )
        if "" in names:
            row = names.index("") + 1
            raise InputError(f"names no coupon in its row of readings {row}.", where=file, advice="Fill the column.")
        for title in dict.fromkeys(names):
            if not title.isprintable() or len(title) > 60:
                raise InputError(f"{shown(title)} is no name for a coupon.", where=file, advice="Such as c1.")
            own = np.array([n == title for n in names])
            out.append((title, {role: v[own] for role, v in read.columns.items()}, read.kinds))
    return out or None


def _columns(table: dict[str, Any], where: str, without_path: bool) -> dict[str, str]:
    """Which column plays which role, by name."""
    own = table.get("columns", {})
    if not (isinstance(own, dict) and all(isinstance(v, str) and v.strip() for v in own.values())):
        raise InputError("must be a table of names.", where=f"{where}.columns", advice='Write force = "Load".')
    for role in own:
        if role not in KINDS:
            raise InputError(
                f"{shown(role)} is unknown.",
                where=f"{where}.columns",
                advice=nearest(role, KINDS) or _known(tuple(KINDS)),
            )
    out = {**COLUMNS, **own}
    for mine, other in (("stress", "force"), ("strain", "path")):
        if mine in own:
            if other in own:
                raise InputError(f"names both {mine} and {other}.", where=f"{where}.columns", advice="Leave one out.")
            out.pop(other)
    if without_path:
        out = {role: name for role, name in out.items() if role not in ("path", "strain", "sideways")}
    if table["test"] != "tension":
        out.pop("sideways", None)
    if table["test"] in ("bending", "notched") and ("stress" in out or "strain" in out):
        raise InputError(
            "must be force and path.", where=f"{where}.columns", advice="Stress and strain serve pulls only."
        )
    return out


def _curve(
    columns: Mapping[str, Any], kinds: Mapping[str, str], length: float, area: float, width: float, where: str
) -> Curve:
    """Stress and strain as force and path; strain across from what the width lost."""
    force = columns["force"] if "force" in columns else columns["stress"] * area
    if "path" in columns:
        path = columns["path"]
    else:
        path = columns["strain"] * length if "strain" in columns else np.arange(len(force), dtype=float)
    sideways = columns.get("sideways")
    if sideways is not None and kinds["sideways"] == "length":
        sideways = sideways / width
    return Curve(force, path, sideways)
