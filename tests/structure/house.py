"""The house rules as plain functions: each takes the sources (or tables) to judge and returns the breaches found.

A source is named as it is imported ("fem.part.solid"); a breach is one line that says which rule, where.
"""

from __future__ import annotations

import ast
import fnmatch
import json
import re
import subprocess
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOMS = (
    "errors",
    "caution",
    "compiled",
    "memory",
    "fault",
    "numerals",
    "units",
    "digits",
    "tensors",
    "columns",
    "cores",
    "processes",
    "criteria",
    "cards",
    "part",
    "printing",
    "coupons",
    "loading",
    "joining",
    "solving",
    "judging",
    "zooming",
    "telling",
    "study",
    "evidence",
    "cli",
)
"""From top to bottom: a room imports from itself and from rooms above it."""

DOORS = {
    "gmsh": ("fem.part",),
    "trimesh": ("fem.part",),
    "skfem": ("fem.solving",),
    "petsc4py": ("fem.solving",),
    "mpi4py": ("fem.solving",),
    "pypardiso": ("fem.solving",),
    "pyvista": ("fem.telling",),
    "vtk": ("fem.telling",),
    "vtkmodules": ("fem.telling",),
    "jinja2": ("fem.telling",),
    "typst": ("fem.telling",),
    "numba_cuda": ("fem.zooming",),
    "meshio": ("fem.part", "fem.telling"),
    "pint": ("fem.units",),
    "pydantic": ("fem.study",),
    "pydantic_core": ("fem.study",),
}
"""Which rooms may import which library."""

HEAVY = frozenset(
    {*DOORS, "scipy", "numba", "llvmlite", "pyamg", "matplotlib", "cmcrameri", "PIL", "networkx", "lxml"}
)
"""Libraries that take noticeable time to load: imported inside functions."""

LOADED_LATE = frozenset(
    {
        "fem.study.keys",
        "fem.criteria.kernels",
        "fem.criteria.zone_kernels",
        "fem.printing.kernels",
        "fem.printing.section_kernels",
        "fem.printing.bead_kernels",
        "fem.printing.crumb_kernels",
        "fem.printing.infill.in_layer",
        "fem.judging.averaging_kernels",
        "fem.judging.chance_kernels",
        "fem.judging.patch_kernels",
        "fem.judging.recovery_kernels",
        "fem.joining.law_kernels",
        "fem.joining.opposite_kernels",
        "fem.solving.kernels",
        "fem.solving.products",
        "fem.solving.lanes",
        "fem.zooming.coarse_kernels",
        "fem.zooming.device_coarse_kernels",
        "fem.zooming.device_kernels",
        "fem.zooming.hang_kernels",
        "fem.zooming.kernels",
        "fem.zooming.packing_kernels",
        "fem.zooming.where_kernels",
    }
)
"""Modules that need a heavy library to be defined at all: they are themselves imported inside functions only."""

LONGEST = 400


@dataclass(frozen=True)
class Import:
    """One import: the module it names, the line, and whether it runs when its own module is loaded."""

    target: str
    line: int
    at_top: bool


def sources_of(folder: Path) -> dict[str, str]:
    """The source of every module under the package `folder`, by import name."""
    out = {}
    for path in sorted(folder.rglob("*.py")):
        parts = path.relative_to(folder.parent).with_suffix("").parts
        out[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path.read_text(encoding="utf-8")
    return out


def imports_of(module: str, source: str, *, is_package: bool = False) -> list[Import]:
    """All imports of a module, also those inside functions; those for type checking alone count as not at top.

    `from a import b` names `a.b`, since b may be a module; relative names are made whole; the literal argument of
    `import_module` and `__import__` counts too.
    """
    return list(_walk(ast.parse(source), module if is_package else module.rpartition(".")[0], at_top=True))


def _walk(node: ast.AST, package: str, *, at_top: bool) -> Iterator[Import]:
    for child in ast.iter_child_nodes(node):
        runs = at_top and not isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda)
        if isinstance(child, ast.Import):
            yield from (Import(alias.name, child.lineno, runs) for alias in child.names)
        elif isinstance(child, ast.ImportFrom):
            base = child.module or ""
            if child.level:
                above = package.split(".")[: len(package.split(".")) - child.level + 1]
                base = ".".join([*above, *([base] if base else [])])
            yield from (Import(f"{base}.{alias.name}", child.lineno, runs) for alias in child.names)
        elif isinstance(child, ast.If) and "TYPE_CHECKING" in ast.unparse(child.test):
            for part in child.body:
                yield from _walk(ast.Module([part], []), package, at_top=False)
            for part in child.orelse:
                yield from _walk(ast.Module([part], []), package, at_top=at_top)
        else:
            if isinstance(child, ast.Call) and ast.unparse(child.func).split(".")[-1] in (
                "import_module",
                "__import__",
            ):
                named = [a.value for a in child.args[:1] if isinstance(a, ast.Constant)]
                yield from (Import(str(name), child.lineno, runs) for name in named)
            yield from _walk(child, package, at_top=runs)


def _all_imports(sources: Mapping[str, str]) -> Iterator[tuple[str, Import]]:
    packages = {name.rpartition(".")[0] for name in sources}
    for module, source in sources.items():
        yield from ((module, found) for found in imports_of(module, source, is_package=module in packages))


def _room(module: str) -> str:
    return module.split(".")[1] if module.count(".") else ""


def unknown_rooms(sources: Mapping[str, str]) -> list[str]:
    """Modules that stand in no room of the list."""
    return [f"{m}: stands in no known room" for m in sources if _room(m) not in (*ROOMS, "")]


def upward_imports(sources: Mapping[str, str]) -> list[str]:
    """Imports from a room below one's own, or of the package's front page, which leads to any room."""
    out = []
    for module, found in _all_imports(sources):
        if found.target.split(".")[0] != "fem" or _room(module) not in ROOMS:
            continue
        room = _room(found.target)
        if room not in ROOMS:
            out.append(f"{module}:{found.line}: imports {found.target} instead of the room where it lives")
        elif ROOMS.index(room) > ROOMS.index(_room(module)):
            out.append(f"{module}:{found.line}: {_room(module)} imports from {room}, which is below it")
    return out


def wrong_doors(sources: Mapping[str, str]) -> list[str]:
    """Libraries imported by a room that is not their door."""
    out = []
    for module, found in _all_imports(sources):
        doors = DOORS.get(found.target.split(".")[0])
        if doors and not any(module == door or module.startswith(door + ".") for door in doors):
            out.append(f"{module}:{found.line}: {found.target} may be imported only in {', '.join(doors)}")
    return out


def early_imports(sources: Mapping[str, str]) -> list[str]:
    """Heavy libraries, and the modules that hold them, imported when a module is loaded."""
    out = []
    for module, found in _all_imports(sources):
        heavy = found.target.split(".")[0] in HEAVY
        late = _loaded_late(found.target)
        if found.at_top and (heavy or late) and not _loaded_late(module):
            out.append(f"{module}:{found.line}: {found.target} is loaded with the module; import it where it is used")
    return out


def _loaded_late(module: str) -> bool:
    return any(module == name or module.startswith(name + ".") for name in LOADED_LATE)


def long_modules(sources: Mapping[str, str]) -> list[str]:
    """Modules with more than 400 lines."""
    counts = {module: len(source.splitlines()) for module, source in sources.items()}
    return [f"{m}: {n} lines, more than {LONGEST}" for m, n in counts.items() if n > LONGEST]


def missing_names(package: Any) -> list[str]:
    """Names of a package's `__all__` that it does not give when asked for, or that `dir` does not show."""
    out = [f"{name}: is not there" for name in package.__all__ if not _has(package, name)]
    return out + [f"{name}: is not shown by dir()" for name in package.__all__ if name not in dir(package)]


def _has(package: Any, name: str) -> bool:
    try:
        return getattr(package, name) is not None
    except (AttributeError, ImportError):
        return False


def loaded_by(code: str) -> set[str]:
    """The top-level modules that a fresh Python holds after it ran `code` (an exit with status 0 is no failure)."""
    script = (
        "import sys, contextlib, io, json\n"
        "with contextlib.redirect_stdout(io.StringIO()):\n"
        "    try:\n"
        f"        exec({code!r}, {{'__name__': 'asked'}})\n"
        "    except SystemExit as end:\n"
        "        assert not end.code, end.code\n"
        "print(json.dumps(sorted({name.split('.')[0] for name in sys.modules})))\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr
    return set(json.loads(done.stdout))


def values_without_source(card: Mapping[str, Any]) -> list[str]:
    """The values of a card's tables that no source speaks for: a table's source is one text, or a text by value."""
    out = []
    states = {name: table for name, table in card.items() if isinstance(table, Mapping) and name != "source"}
    above = {k: v for k, v in card.items() if k not in states}
    for where, table in {"top": above, **states}.items():
        source = table.get("source", "")
        for key in table:
            if key in ("name", "about", "source", "estimates", "note", "notes"):
                continue
            text = source.get(key, "") if isinstance(source, Mapping) else source
            if not str(text).strip():
                out.append(f"{card.get('name', '?')}.{where}.{key}: has no source")
    return out


def unpacked_files(folder: Path, globs: list[str]) -> list[str]:
    """Files of the package `folder` that an installed copy would lack.

    Python files need an `__init__.py` in every folder above; all others must match one of `globs`.
    """
    out = []
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        name = path.relative_to(folder).as_posix()
        if "__pycache__" in name or path.name.startswith("."):
            continue
        if path.suffix == ".py":
            above = [p for p in path.parents if p == folder or folder in p.parents]
            out += [
                f"{name}: its folder {p.name} has no __init__.py" for p in above if not (p / "__init__.py").is_file()
            ]
        elif not any(fnmatch.fnmatch(name, g) and name.count("/") == g.count("/") for g in globs):
            out.append(f"{name}: no entry of package-data names it")
    return out


def nouns_astray(page: str, folder: Path) -> list[str]:
    """Rows of a page's glossary whose name is not defined in the module that they tell, under `folder`."""
    out = []
    rows = re.findall(r"^\| ([A-Z][a-z ]+) \| .* \| `(\w+)` in `([\w/]+\.py)` \|$", page, re.MULTILINE)
    for noun, name, place in rows:
        path = folder / place
        tree = ast.parse(path.read_text(encoding="utf-8")) if path.is_file() else ast.Module([], [])
        made = {n.name for n in tree.body if isinstance(n, ast.ClassDef)}
        made |= {t.id for n in tree.body if isinstance(n, ast.Assign) for t in n.targets if isinstance(t, ast.Name)}
        out += [] if name in made else [f"{noun}: {name} is not in {place}"]
    return out if rows else ["the page has no glossary"]
