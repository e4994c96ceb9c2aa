"""Columns of measured numbers: whatever the marks and the order, the same numbers; what is unclear is refused."""

import numpy as np
import pytest

from fem.columns import Column, read_columns
from fem.errors import InputError

WANTED = {"load": Column("force"), "deflection": Column("length")}
SAME = {
    "points and commas": "force [N],deflection [mm]\n0,0\n500.5,1.25\n",
    "decimal commas": "force [N];deflection [mm]\n0;0\n500,5;1,25\n",
    "other order, tabs": "deflection (mm)\tforce (kN)\n0\t0\n1.25\t0.5005\n",
    "units below": "Kraft;Weg\nN;mm\n0;0\n500,5;1,25\n",
    "slashes": "# a tester's own line\nforce / kN; travel / µm\n\n0;0\n0,5005;1250\n",
    "commas that could part thousands": "force [N];deflection [mm]\n0;0\n500,500;1,250\n500,5;1,25\n",
}


def written(tmp_path, text, encoding="utf-8"):
    path = tmp_path / "curve.csv"
    path.write_bytes(text.encode(encoding))
    return path


@pytest.mark.parametrize("name", SAME)
def test_the_same_numbers_however_they_are_written(tmp_path, name):
    found = read_columns(written(tmp_path, SAME[name]), WANTED)
    assert found["load"][-1] == pytest.approx(500.5) and found["deflection"][-1] == pytest.approx(1.25)
    assert np.allclose(found["load"][0], 0)


def test_a_column_is_taken_by_its_name(tmp_path):
    text = "crosshead [mm];force [N];dial gauge [mm]\n0;0;0\n2;100;1\n"
    path = written(tmp_path, text, "cp1252")
    found = read_columns(path, {**WANTED, "deflection": Column("length", "Dial gauge")})
    assert found["deflection"][-1] == 1
    with pytest.raises(InputError, match=r"2 columns have a unit of length.*crosshead \[mm\]"):
        read_columns(path, WANTED)


BAD = {
    "no unit": ("force;deflection [mm]\n0;0\n", "no column has a unit of force: force .no unit."),
    "another unit": ("force [kg];deflection [mm]\n0;0\n", "no column has a unit of force"),
    "words": ("force [N];deflection [mm]\n0;0\nabout 5;1\n", "line 3"),
    "two readings": ("force [N];deflection [mm]\n0;0\n1,500;1\n", "two ways"),
    "a gap": ("force [N];deflection [mm]\n0;0\n5;\n", "column 'deflection' is empty"),
    "decimal commas parted by commas": ("force [N],deflection [mm]\n500,5,1,25\n", "4 cells under 2 heads"),
    "empty": ("\n\n", "holds no table"),
    "binary": ("\0\0\0", "no text file"),
}


@pytest.mark.parametrize("name", BAD)
def test_what_is_unclear_is_refused(tmp_path, name):
    text, told = BAD[name]
    with pytest.raises(InputError, match=told):
        read_columns(written(tmp_path, text), WANTED)


def test_a_missing_file_names_the_nearest(tmp_path):
    written(tmp_path, "x")
    with pytest.raises(InputError, match=r"no such file.*curve\.csv"):
        read_columns(tmp_path / "curv.csv", WANTED)
