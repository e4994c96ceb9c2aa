"""Stiffness: deflections, rotations, and the 6 x 6 at each watched face, beside the reference part's."""

from __future__ import annotations

import math

from fem.digits import number
from fem.judging.findings import FaceStiffness
from fem.telling.blocks import PHOTO_MM, Beside, Block, Figure, Heading, Section, Table, Text, table
from fem.telling.review.material import Material, Reference
from fem.telling.review.numbers import FORCES, MOTIONS, SHORT, components, ratio, stiffness_texts
from fem.telling.review.plots import BLUE, INK, drawing, svg_of
from fem.telling.words import place

STRESSES = ("xx, 11", "yy, 22", "zz, 33", "yz, 23", "xz, 13", "xy, 12")
DIRECT = ("x", "y", "z", "about x", "about y", "about z")


def stiffness(material: Material) -> Section:
    """Deflections by case, motions of watched faces and points, the 6 x 6, all beside the reference part's."""
    f = material.findings
    blocks: list[Block] = [_deflections(material)]
    if f.cases:
        worst = max(f.cases, key=lambda name: f.cases[name].maximum_displacement_mm)
        file, large = material.deflection_picture(worst)
        if file:
            c = f.cases[worst]
            told = f"{number(c.maximum_displacement_mm)} mm at {place(c.maximum_displacement_at_mm)}"
            how = "deformation scale as in its heading" if large else "deformation scale 1"
            caption = f"Deflection in case {worst}, {how}: maximum {told}."
            blocks.append(
                Figure(f"{caption} The colours are the displacement from 0 to that.", caption, PHOTO_MM, file)
            )
    blocks += _motions(material)
    if f.stiffness:
        blocks.append(Heading("Stiffness of watched faces"))
        blocks.append(
            Text(
                "Force and moment at the face's centre for a unit mean displacement (1 mm) or rotation (1 rad) of "
                "the face, the other five fixed. Rows are forces [N] and moments [N·mm], columns displacements [mm] "
                "and rotations [rad]: the entries are in N/mm, N/rad, N·mm/mm and N·mm/rad. Each entry is rounded to "
                "four digits of its natural size √(Kᵢᵢ Kⱼⱼ), so that a negligible coupling reads 0."
            )
        )
        for face, own in f.stiffness.items():
            blocks += _face(face, own, material.reference)
    if material.reference is None:
        blocks.append(Text(no_reference(material)))
    return Section("stiffness", "Stiffness", tuple(blocks))


def no_reference(material: Material) -> str:
    """Why there is nothing to compare with."""
    return material.remark or (
        "There is no reference part to compare with: no finished comparison of this study is at hand. Mark a "
        "variant with reference = true and run beadwork compare."
    )


def _deflections(material: Material) -> Table:
    ref = material.reference
    rows = []
    for name, c in material.findings.cases.items():
        row = [
            name,
            number(c.maximum_displacement_mm),
            place(c.maximum_displacement_at_mm),
            number(c.strain_energy_mJ),
        ]
        if ref:
            other = ref.findings.cases.get(name)
            bend = other.maximum_displacement_mm if other else None
            row += [number(bend), ratio(c.maximum_displacement_mm, bend)]
        rows.append(row)
    head = ["Case", "Maximum deflection [mm]", "Location", "Strain energy [mJ]"]
    if ref:
        head += [f"Deflection of {ref.name} [mm]", "this / reference"]
    return table(head, rows, align="lrlr" + ("rr" if ref else ""), caption="Deflection by case.")


def _motions(material: Material) -> list[Block]:
    f, ref = material.findings, material.reference
    rows, points, stresses = [], [], []
    for case, c in f.cases.items():
        for face, w in c.faces.items():
            displacement, rotation = math.hypot(*w.displacement_mm), math.hypot(*w.rotation_deg)
            row = [
                face,
                case,
                *components(w.displacement_mm, scale=1e3 * displacement),
                *components(w.rotation_deg, scale=1e3 * rotation),
            ]
            row += [number(displacement), number(rotation)]
            if ref:
                other = ref.findings.cases[case].faces.get(face) if case in ref.findings.cases else None
                row += [
                    number(math.hypot(*other.displacement_mm) if other else None),
                    number(math.hypot(*other.rotation_deg) if other else None),
                ]
            rows.append(row)
        for point, p in c.points.items():
            size = math.hypot(*p.displacement_mm)
            points.append(
                [point, case, place(p.at_mm), *components(p.displacement_mm, scale=1e3 * size), number(size)]
            )
            for axes, own in (("part", p.stress_MPa), ("bead", p.print_stress_MPa)):
                most = max(map(abs, own), default=0.0)
                stresses.append([point, case, axes, *components(own, scale=1e3 * most)])
    out: list[Block] = []
    if rows:
        head = ["Face", "Case", "x [mm]", "y [mm]", "z [mm]", "about x [deg]", "about y [deg]", "about z [deg]"]
        head += ["displacement [mm]", "rotation [deg]"]
        if ref:
            head += ["ref. displacement [mm]", "ref. rotation [deg]"]
        caption = "Mean displacement and rotation of watched faces" + (f"; ref. is {ref.name}." if ref else ".")
        out.append(table(head, rows, align="ll" + "r" * (len(head) - 2), caption=caption, small=True))
    if points:
        head = ["Point", "Case", "Location", "x [mm]", "y [mm]", "z [mm]", "magnitude [mm]"]
        out.append(table(head, points, align="lllrrrr", caption="Displacement of named points.", small=True))
        head = ["Point", "Case", "Axes", *STRESSES]
        caption = (
            "Stress at named points [MPa]: in part axes xx, yy, zz, yz, xz, xy; in bead axes 11, 22, 33, 23, 13, 12."
        )
        out.append(table(head, stresses, align="lllrrrrrr", caption=caption, small=True))
    return out


def _face(face: str, own: FaceStiffness, ref: Reference | None) -> list[Block]:
    other = ref.findings.stiffness.get(face) if ref else None
    caption = f"Stiffness of face {face}, this part [N, N·mm per mm, rad]."
    if ref is None or other is None:
        bends = [[name, *row] for name, row in zip(MOTIONS, stiffness_texts(own.compliance), strict=True)]
        told = f"Compliance of face {face} [mm, rad per N, N·mm]."
        return [_six(own, FORCES, caption), table(("", *FORCES), bends, caption=told, small=True)]
    mine = _six(own, SHORT, caption)
    beside = _six(other, SHORT, f"Stiffness of face {face}, reference part {ref.name} [N, N·mm per mm, rad].")
    ratios = [_quotient(own.matrix[i][i], other.matrix[i][i]) for i in range(6)]
    rows = []
    for i, name in enumerate(DIRECT):
        unit = "N/mm" if i < 3 else "N·mm/rad"
        values = (stiffness_texts(m.matrix)[i][i] for m in (own, other))
        rows.append([f"{name} [{unit}]", *values, number(ratios[i])])
    numbers = table(
        ("Direct stiffness", "this part", "reference", "ratio"),
        rows,
        caption=f"Face {face}: direct stiffnesses and their ratio, this part / {ref.name}.",
    )
    told = ", ".join(f"{n} {number(r)}" for n, r in zip(DIRECT, ratios, strict=True))
    caption = f"Face {face}: stiffness of this part over that of {ref.name}."
    plot = Figure(f"{caption} {told}.", caption, 80, svg=_ratio_plot(ratios))
    return [Beside((mine, beside), (0.5, 0.5)), Beside((plot, numbers), (0.48, 0.52))]


def _six(found: FaceStiffness, names: tuple[str, ...], caption: str) -> Table:
    rows = [[name, *row] for name, row in zip(names, stiffness_texts(found.matrix), strict=True)]
    return table(("", *MOTIONS), rows, caption=caption, small=True)


def _quotient(own: float, base: float) -> float | None:
    return own / base if math.isfinite(own) and math.isfinite(base) and base else None


def _ratio_plot(ratios: list[float | None]) -> str:
    """A dot for each of the six ratios on a line through 1."""
    known = [(i, r) for i, r in enumerate(ratios) if r is not None and r > 0]
    with drawing(width=80, height=52) as figure:
        axes = figure.add_subplot()
        axes.set_xscale("log")
        axes.axvline(1, color=INK, lw=1)
        for i, r in known:
            axes.plot([1, r], [i, i], color=BLUE, lw=1.5)
            axes.plot(r, i, "o", color=BLUE, ms=6)
            axes.annotate(number(r), (r, i), xytext=(0, 5), textcoords="offset points", ha="center", fontsize=7)
        low, high = min([1.0, *(r for _, r in known)]), max([1.0, *(r for _, r in known)])
        axes.set_xlim(low / 1.6, high * 1.6)
        axes.set_ylim(5.6, -0.8)
        axes.set_yticks(range(6), DIRECT)
        axes.set_xlabel("stiffness, this part / reference [1]")
        axes.xaxis.set_major_formatter("{x:g}")
        axes.xaxis.set_minor_formatter("")
        return svg_of(figure)
