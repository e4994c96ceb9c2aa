"""What is said of a choice: among which variants it is, that no mesh is chosen, and what can turn it."""

from dataclasses import replace

import pytest

from fem.caution import Caution
from fem.judging.choice import VariantNumbers, compare
from fem.judging.choice_file import read_choice, write_choice
from fem.judging.choosing import choose

SIZE, WALLS = "bodies.bar.mesh.size", "bodies.bar.print.walls"
PLA = VariantNumbers("pla", {}, mass_g=20.0, time_h=1.0, reserve=3.0, deflection_mm=1.0)
STEEL = replace(PLA, name="steel", printed=False, time_h=None, mass_g=90.0, reserve=9.0)
MACHINED = replace(STEEL, name="machined", reference=True)


def test_the_choice_says_among_which_it_is():
    _, why = choose([PLA, STEEL, MACHINED], required_reserve=2.0, reserve_asked=False)
    assert why.startswith("Print pla: it is the only printed variant that meets a reserve factor of 2,")
    _, why = choose([PLA, replace(PLA, name="abs", mass_g=30.0), MACHINED], required_reserve=2.0)
    assert "it is the lightest of the 2 printed variants that meet all requirements" in why
    _, why = choose([PLA, replace(PLA, name="mould", reference=True)], required_reserve=2.0)
    assert "the only printed variant besides the reference part that meets" in why


def test_where_none_is_printed_nothing_is_to_print():
    best, why = choose([STEEL, MACHINED], required_reserve=2.0)
    assert best == "steel" and "print" not in why.lower()
    assert why.startswith("Take steel: it is the only variant besides the reference part that meets all requirements")
    weak = replace(STEEL, missed=("mass",), shortfall=0.1)
    assert choose([weak, MACHINED], required_reserve=2.0)[1].startswith(
        "None of the 1 variants besides the reference part"
    )
    assert choose([MACHINED], required_reserve=2.0)[1].startswith("No variant besides the reference part could be")


def sized(size, reserve, **more):
    walls = more.pop("walls", None)
    settings = {SIZE: size} | ({WALLS: walls} if walls else {})
    return replace(PLA, name=f"{size} {walls}", settings=settings, reserve=reserve, **more)


def compared(variants, base=None):
    return compare(variants, title="t", question="q", required_reserve=2.0, base=base)


def test_no_mesh_is_chosen():
    found = compared(
        [
            sized("8 mm", 3.0),
            sized("4 mm", 2.4),
            replace(MACHINED, settings={SIZE: "4 mm", "bodies.bar.metal": "steel"}),
        ]
    )
    assert found.best is None and found.fronts == {"stiffness": (), "reserve": ()}
    assert found.reason == (
        "Variants differ in their mesh: a change of the reserve factor by 25.0 % between them tells how far it "
        "depends on the mesh, not which to make."
    )
    (told,) = found.decisive
    assert (told.kind, told.text) == ("mesh_differs", found.reason)
    assert told.numbers == {"reserve_change": pytest.approx(0.25)}


def test_the_lowest_reserve_of_the_meshes_stands_for_a_design():
    coarse, fine = sized("8 mm", 2.2, walls="2", mass_g=10.0), sized("4 mm", 1.8, walls="2", mass_g=10.0)
    fine = replace(fine, missed=("reserve",), shortfall=0.1)
    thick = sized("8 mm", 4.0, walls="4")
    found = compared([coarse, fine, thick])
    assert found.best == thick.name and "the only printed variant" in found.reason
    assert found.decisive[0].text.startswith(
        "Variants differ in their mesh: a change of the reserve factor by 22.2 %"
    )
    # The study's own mesh, said again, is no other mesh
    same = compared([sized("8 mm", 3.0), PLA], base={SIZE: "8 mm"})
    assert same.decisive == () and same.best is not None


def test_variants_that_differ_in_mesh_and_more_are_told_so():
    found = compared([sized("8 mm", 3.0, walls="2"), sized("4 mm", 3.5, walls="4", mass_g=30.0)])
    assert found.best is not None and "in something else at once" in found.decisive[0].text


def test_a_mesh_named_elsewhere_is_a_setting_like_any_other():
    path = "bodies.mesh.print.walls"
    odd = [replace(PLA, name=n, settings={path: n}, mass_g=m) for n, m in (("2", 1.0), ("4", 2.0))]
    assert compared(odd).best == "2"


def test_each_decisive_kind_is_told_once(tmp_path):
    def carrying(name, **texts):
        return replace(PLA, name=name, decisive=texts)

    found = compared(
        [
            carrying("a"),
            carrying("b", coarse_mesh="The mesh is coarse: 21 %."),
            carrying("c", coarse_mesh="The mesh is coarse: 30 %.", balance="Forces do not balance."),
            replace(PLA, name="d", error="no card"),
        ]
    )
    assert found.decisive == (
        Caution(
            "coarse_mesh",
            "2 of 3 variants: The mesh is coarse: 21 %.",
            {"variants": 2, "of": 3, "first": "b"},
            decisive=True,
        ),
        Caution(
            "balance",
            "1 of 3 variants: Forces do not balance.",
            {"variants": 1, "of": 3, "first": "c"},
            decisive=True,
        ),
    )
    assert read_choice(write_choice(found, tmp_path / "comparison.json")) == found
