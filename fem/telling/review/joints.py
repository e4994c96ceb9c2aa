"""What the joints of a case do: forces, shares of the moment, pictures, and what changes as the load grows."""

from __future__ import annotations

from fem.digits import number, reserve_text
from fem.judging.findings import CaseFindings
from fem.judging.moment_shares import connections_of, moment_shares
from fem.judging.verdict import verdict_of
from fem.telling.blocks import PHOTO_MM, Block, Cell, Figure, Text, table
from fem.telling.reactions import JOINT_HEAD, JOINTS_EXPLAINED, joint_rows
from fem.telling.review.load_path import changes_table, path_figure
from fem.telling.review.material import Material
from fem.telling.words import place, plain_name


def joint_blocks(material: Material, case: str) -> list[Block]:
    """All that is told of a case's joints; nothing where it has none."""
    told = material.findings.cases[case]
    if not told.joints:
        return []
    rows = [[Cell(text) for text in row] for row in joint_rows(told)]
    caption = f"Joints in case {case}. {JOINTS_EXPLAINED}"
    out: list[Block] = [table(JOINT_HEAD, rows, align="lrrrrrrlrrrl", caption=caption, small=True)]
    out += [Text(line) for line in share_lines(told)]
    out += [figure for joint in told.joints if (figure := _picture(material, case, joint))]
    path = path_figure(told, name=case, required=verdict_of(material.findings).required)
    changes = changes_table(told, name=case)
    return [*out, *([changes] if changes else []), *([path] if path else [])]


def fit_blocks(material: Material) -> list[Block]:
    """What the clearances of joints cost: a table of those that were solved."""
    out: list[Block] = []
    fits = material.findings.fits
    for joint in dict.fromkeys(fit.joint for fit in fits):
        own = [fit for fit in fits if fit.joint == joint]
        faces = list(dict.fromkeys(face for fit in own for case in fit.cases.values() for face in case.rotation_deg))
        rows = []
        for fit in own:
            for name, case in fit.cases.items():
                cells = [f"{number(fit.clearance_mm)}{' (as asked)' if fit.asked else ''}", name]
                cells += [number(case.rotation_deg[face]) for face in faces]
                cells += [number(case.maximum_displacement_mm), reserve_text(case.reserve)]
                cells.append("–" if case.bolt_force_N is None else number(case.bolt_force_N / 1000))
                cells += [number(case.pressure_max_MPa), f"{100 * case.touching:.0f} %"]
                rows.append([Cell(text) for text in cells])
        turns = [f"Rotation of {face} [deg]" for face in faces]
        head = (
            "Clearance [mm]", "Case", *turns, "Largest displacement [mm]", "Reserve factor", "Largest bolt pull [kN]",
            "Highest pressure [MPa]", "Touches on",
        )  # fmt: skip
        caption = f"What the fit of joint {joint} costs. Reserve factors are homogenised; nothing else was changed."
        out.append(table(head, rows, align="rl" + "r" * (len(head) - 2), caption=caption))
    return out


def share_lines(case: CaseFindings) -> list[str]:
    """For each two bodies that several connections join, how much of the moment each of these carries."""
    out = []
    for (one, other), each in connections_of(case).items():
        found = moment_shares(each)
        if len(each) < 2 or not found.shares:
            continue
        size = sum(v * v for v in found.moment) ** 0.5 / 1000
        shares = sorted(found.shares.items(), key=lambda share: -share[1])
        told = ", ".join(f"{name} {round(100 * share)} %" for name, share in shares)
        out.append(
            f"Of the moment of {number(size)} N·m that {other} exerts on {one} about {place(found.about)}, the "
            f"connections carry: {told}. A negative share turns the other way."
        )
    return out


def _picture(material: Material, case: str, joint: str) -> Figure | None:
    name = f"joint_{plain_name(joint)}_{plain_name(case)}.png"
    file = material.picture(name)
    if file is None:
        return None
    j = material.findings.cases[case].joints[joint]
    caption = material.captions.get(name) or (
        f"Bearing pressure on joint {joint} in case {case}, on its faces laid flat: highest "
        f"{number(j.pressure_max_MPa)} MPa, widest opening {number(j.gap_max_mm)} mm; it {j.state}."
    )
    return Figure(f"{caption} Hatched: open. Dotted: slips.", caption, PHOTO_MM, file)
