"""The command `beadwork`: parses and prints, nothing else."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fem.errors import BeadworkError

if TYPE_CHECKING:
    from fem.judging.findings import Findings

CAUTION = (
    "An engineering estimate: test coupons from your own printer; never let one printed part alone stand between a "
    "person and injury; follow local codes and have a qualified engineer sign what can hurt someone."
)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command and return its exit status (0 done, 2 input wrong, 3 requirement missed, 4 no answer)."""
    options = _parser().parse_args(arguments)
    try:
        return int(options.command(options))
    except BeadworkError as error:
        print(f"beadwork: {error}", file=sys.stderr)
        return error.exit_status
    except MemoryError:
        print("beadwork: memory ran out. Ask for a larger mesh size.", file=sys.stderr)
        return 4
    except KeyboardInterrupt:
        print("beadwork: stopped; earlier results are as they were.", file=sys.stderr)
        return 130
    except BrokenPipeError:
        sys.stderr.close()
        return 0
    except OSError as error:
        print(f"beadwork: {error.filename or ''}: {error.strerror or error}.", file=sys.stderr)
        return 2


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="beadwork",
        description="Tells whether a 3D-printed part will hold, how stiff it is, and where it fails first.",
        epilog=CAUTION,
    )
    parser.add_argument("--version", action=_Version, nargs=0, help="print the version and leave")
    sub = parser.add_subparsers(required=True, metavar="COMMAND")

    run = sub.add_parser("run", help="answer a study and write its report")
    run.add_argument("study", help="study file (TOML)")
    run.add_argument("--out", type=Path, help="folder for the results (default: results/<study>)")
    run.add_argument("--strict", action="store_true", help="leave with status 3 when a requirement is not met")
    run.set_defaults(command=_run)

    check = sub.add_parser("check", help="read a study, match its faces, add up its loads, and stop")
    check.add_argument("study", help="study file (TOML)")
    check.set_defaults(command=_check)

    faces = sub.add_parser("faces", help="list the faces of a solid and draw their numbers on it")
    faces.add_argument("solid", help="STEP, IGES, BREP, STL, OBJ, PLY or 3MF file")
    faces.add_argument("--unit", help="length unit, needed where the format has none (mm, cm, m, in, ft, um)")
    faces.add_argument("--any-size", action="store_true", help="accept a part under 1 mm or over 5 m")
    faces.add_argument("--picture", type=Path, help="where the picture goes (default: <solid>_faces.png here)")
    faces.add_argument("--json", action="store_true", help="print JSON for scripts instead of a table")
    faces.set_defaults(command=_faces)

    cards = sub.add_parser("cards", help="list the material cards with their sources")
    cards.add_argument("name", nargs="?", help="show one card only (a name, or a file)")
    cards.set_defaults(command=_cards)
    return parser


class _Version(argparse.Action):
    """Prints the version without importing the program's heavier half."""

    def __call__(self, parser: argparse.ArgumentParser, *_: Any) -> None:
        from importlib.metadata import version

        print(f"beadwork {version('beadwork')}")
        parser.exit(0)


def _console() -> Any:
    from rich.console import Console

    console = Console(highlight=False)
    return console if console.is_terminal else Console(highlight=False, width=140)


def _table(title: str, columns: Sequence[str], rows: Sequence[Sequence[str]]) -> Any:
    from rich import box
    from rich.markup import escape
    from rich.table import Table

    # Units stand in square brackets, which would be read as markup
    table = Table(title=escape(title), title_justify="left", box=box.SIMPLE_HEAD, header_style="bold")
    for name in columns:
        table.add_column(escape(name), overflow="fold")
    for row in rows:
        table.add_row(*map(escape, row))
    return table


@contextmanager
def _progress() -> Iterator[Any]:
    """A bar that names the stage, on a terminal; one line a stage elsewhere."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    console = Console(stderr=True)
    if not console.is_terminal:
        last = [""]

        def plain(stage: str, share: float) -> None:
            head = stage.split(":")[0]
            if stage and head != last[0]:
                print(f"beadwork: {head} ({100 * share:.0f} %)", file=sys.stderr, flush=True)
                last[0] = head

        yield plain
        return
    columns = (TextColumn("{task.description:<28}"), BarColumn(40), TextColumn("{task.percentage:>3.0f} %"))
    with Progress(*columns, TimeElapsedColumn(), console=console, transient=True) as bar:
        task = bar.add_task("start", total=1.0)

        def moving(stage: str, share: float) -> None:
            if stage:
                bar.update(task, description=stage, completed=share)

        yield moving


def _run(options: argparse.Namespace) -> int:
    from fem.study.run import run_study

    with _progress() as progress:
        findings, report = run_study(options.study, out=options.out, progress=progress)
    console = _console()
    _print_findings(console, findings)
    console.print(f"Report: {report}", soft_wrap=True)
    console.print(f"[dim]{CAUTION}[/dim]")
    return 3 if options.strict and not findings.met else 0


def _number(value: float) -> str:
    return "unlimited" if value == float("inf") else f"{value:.4g}"


def _reserve(value: float) -> str:
    """Two decimals, rounded down: a shortfall must not be rounded up to the requirement."""
    import math

    return "unlimited" if value == float("inf") else f"{math.floor(value * 100) / 100:.2f}"


def _place(at: Any) -> str:
    return "(" + ", ".join(f"{round(v, 1) + 0.0:.1f}" for v in at) + ")"


def _print_findings(console: Any, findings: Findings) -> None:
    rows = []
    for name, case in findings.cases.items():
        r = case.reserve
        mark = " *" if r.artefact else ""
        rows.append(
            [
                name,
                f"{case.largest_displacement_mm:.3g}",
                _reserve(r.least) + mark,
                r.mode,
                f"{r.face} {_place(r.at_mm)}",
                f"{max(case.force_error, case.moment_error):.0e}",
            ]
        )
    columns = ["case", "largest deflection [mm]", "least reserve factor", "mode", "near, at [mm]", "balance error"]
    console.print(_table(findings.title, columns, rows))
    if any(c.reserve.artefact for c in findings.cases.values()):
        console.print("* at a place made by a support or a load's edge; it depends on the mesh (see the report).")
    if findings.requirements:
        rows = [
            [
                r.name,
                f"{_number(r.limit)} {r.unit}".strip(),
                f"{_reserve(r.value) if r.name == 'reserve' else _number(r.value)} {r.unit}".strip(),
                "met" if r.met else "NOT MET",
                r.where,
            ]
            for r in findings.requirements
        ]
        console.print(_table("Requirements", ["what", "limit", "value", "", "decided by"], rows))
    flagged = [b for b in findings.bodies.values() if b.estimates]
    for body in flagged:
        console.print(
            f"[bold]Estimates, not measurements,[/bold] in card {body.material} ({body.state}): "
            f"{', '.join(body.estimates)}.",
            soft_wrap=True,
        )


def _check(options: argparse.Namespace) -> int:
    from fem.study.file import read_study
    from fem.study.run import check_study

    with _progress() as progress:
        found = check_study(read_study(options.study), progress=progress)
    console = _console()
    console.print(f"{found.study.title}\n{found.study.question}", soft_wrap=True, markup=False)
    rows = [
        [name, f"{b.material} ({b.state})", f"{b.volume_mm3:,.0f}", f"{b.mass_g:.1f}", f"{found.unknowns[name]:,}"]
        for name, b in found.bodies.items()
    ]
    heads = ["body", "material", "volume [mm³]", "mass [g]", "unknowns to come, about"]
    console.print(_table("Bodies", heads, rows))
    rows = [[n, str(g.count), f"{g.area:,.1f}", _place(g.centre)] for n, g in found.groups.items()]
    console.print(_table("Faces", ["name", "count", "area [mm²]", "centre [mm]"], rows))
    rows = [[n, ", ".join(f"{k} {_fact(v)}" for k, v in facts.items())] for n, facts in found.loads.items()]
    console.print(
        _table("Loads at factor one (moments about the origin of the part axes)", ["load", "numbers"], rows)
    )
    rows = [[n, _place(force), _place(moment)] for n, (force, moment) in found.totals.items()]
    console.print(_table("Cases", ["case", "total force [N]", "total moment [N mm]"], rows))
    for body in found.bodies.values():
        if body.estimates:
            console.print(f"Estimates in card {body.material} ({body.state}): {', '.join(body.estimates)}.")
    console.print("The study can be run.")
    return 0


def _fact(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.4g}"
    if isinstance(value, (list, tuple)):
        return "(" + ", ".join(_fact(v) for v in value) + ")"
    return str(value)


def _faces(options: argparse.Namespace) -> int:
    from fem.part.solid import read_solid, shown_surface

    solid = read_solid(options.solid, name="part", unit=options.unit, any_size=options.any_size)
    picture = options.picture or Path(f"{solid.path.stem}_faces.png")
    if options.json:
        print(json.dumps([_face_facts(f) for f in solid.faces], indent=1))
    else:
        rows = [
            [
                str(f.id),
                f.kind + (" hole" if f.hole else ""),
                f"{f.area:,.1f}",
                _place(f.centre),
                _direction(f),
                "" if f.radius is None else f"{f.radius:.3f}",
            ]
            for f in solid.faces
        ]
        size = " x ".join(f"{v:.2f}" for v in solid.box[1] - solid.box[0])
        heads = ["id", "kind", "area [mm²]", "centre [mm]", "normal or axis", "radius [mm]"]
        title = f"{solid.path.name}: {len(solid.faces)} faces, {size} mm, {solid.volume:,.0f} mm³"
        _console().print(_table(title, heads, rows))
    from fem.telling.face_picture import draw_faces

    points, triangles, face = shown_surface(solid, unit=options.unit)
    draw_faces(points, triangles, face, solid.faces, picture)
    print(f"Picture: {picture}", file=sys.stderr)
    return 0


def _direction(face: Any) -> str:
    vector = face.normal if face.normal is not None else face.axis
    return "" if vector is None else "(" + ", ".join(f"{v + 0.0:.3f}" for v in vector) + ")"


def _face_facts(face: Any) -> dict[str, Any]:
    def plain(v: Any) -> Any:
        return None if v is None else [float(x) for x in v]

    return {
        "id": face.id,
        "kind": face.kind,
        "hole": face.hole,
        "area_mm2": face.area,
        "centre_mm": plain(face.centre),
        "normal": plain(face.normal),
        "axis": plain(face.axis),
        "radius_mm": face.radius,
    }


def _cards(options: argparse.Namespace) -> int:
    from fem.printing.polymer import all_cards, load_card

    console = _console()
    chosen = [load_card(options.name)] if options.name else list(all_cards())
    for card in chosen:
        console.print(f"\n[bold]{card.name}[/bold] ({card.kind}), density {card.density * 1e9:.4g} g/cm³")
        by_factors: dict[Any, list[str]] = {}
        for state in card.states.values():
            console.print(_table(f"{state.name}, 23 °C", ["value", "", "", "source"], _card_rows(state)))
            by_factors.setdefault(state.factors, []).append(state.name)
        for table, names in by_factors.items():
            if table is None:
                console.print(f"{', '.join(names)}: known at 23 °C only\n")
                continue
            rows = [
                [key, *(f"× {x:g}" for x in getattr(table, key)), "estimate" if key in table.estimates else ""]
                for key in ("stiffness", "strength")
            ]
            title = f"{', '.join(names)}: by temperature"
            console.print(_table(title, ["", *(f"{t:g} °C" for t in table.at), ""], rows))
            console.print(f"  {table.source}\n", markup=False)
    return 0


def _card_rows(state: Any) -> list[list[str]]:
    """Value with its unit, numbers, whether it is an estimate, and source, once where it repeats."""
    one = state.yield_stress is not None

    def numbers(values: Any, scale: float = 1) -> str:
        scaled = (v * scale for v in values[: 1 if one else 3])
        return " / ".join(f"{v:.0f}" if v >= 1000 else f"{v:.4g}" for v in scaled)

    pairs = "" if one else " 12 / 13 / 23"
    axes = "" if one else " along / across / up"
    told = {
        "E": (f"E [MPa]{axes}", numbers(state.E)),
        "nu": (f"nu{pairs}", numbers(state.nu)),
        "G": (f"G [MPa]{pairs}", numbers(state.G)),
        "expansion": (f"expansion [1e-6/K]{axes}", numbers(state.expansion or (), 1e6)),
        "scatter": ("scatter of the strengths", f"{100 * (state.scatter or 0):g} %"),
    }
    if one:
        told |= {"yield": ("yield [MPa]", f"{state.yield_stress:.4g}")}
        told |= {"ultimate": ("ultimate [MPa]", f"{state.ultimate:.4g}")}
    else:
        told |= {key: (f"{key} [MPa]{axes}", numbers(getattr(state, key))) for key in ("tension", "compression")}
        told |= {"shear": (f"shear [MPa]{pairs}", numbers(state.shear[::-1]))}
    rows, last = [], ""
    for key, source in state.sources.items():
        name, value = told.get(key, (key, ""))
        rows.append(
            [name, value, "estimate" if key in state.estimates else "", "(same)" if source == last else source]
        )
        last = source
    return rows


if __name__ == "__main__":
    sys.exit(main())
