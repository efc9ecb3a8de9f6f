"""Curves are read as written, and a file that could be misread is refused in one sentence."""

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from linesim.setup.errors import InputError
from linesim.setup.light.curve_files import read_curve

KEY = "camera.quantum_efficiency"


def curve_file(folder: Path, text: str | bytes) -> Path:
    """Write a file, text as UTF-8."""
    path = folder / "curve.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return path


@pytest.mark.parametrize(
    "text",
    [
        "400,0.3\n500,.5\n700,1e-1\n",
        "wavelength,QE\n400,0.3\n500,0.5\n700,0.1",
        "400;0.3\n500;0.5\n700;0.1\n",
        "nm\tQE\n400\t0.3\n500\t0.5\n700\t0.1\n",
        "\ufeff400,0.3\r\n500,0.5\r\n700,0.1\r\n",
        "# measured; see note, page 2\n\n400, 0.3 # first\n 500 ,0.5\n700.0,+0.1\n",
        '"wavelength","value"\n"400","0.3"\n"500","0.5"\n"700","0.1"\n',
        "700,0.1\n500,0.5\n400,0.3\n",
    ],
)
def test_every_way_to_write_a_curve(tmp_path: Path, text: str) -> None:
    """Separators, headers, comments, quotes, a byte order mark and falling order are all one."""
    path = curve_file(tmp_path, text)
    wavelength_nm, value = read_curve(path, key=KEY, value_name="quantum efficiency")
    assert_array_equal(wavelength_nm, [400.0, 500.0, 700.0])
    assert_array_equal(value, [0.3, 0.5, 0.1])
    assert wavelength_nm.dtype == value.dtype == np.float64
    assert wavelength_nm.flags.c_contiguous


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("400;0,3\n500;0,5\n", 'has a decimal comma in line 1 ("0,3"), where a point is due'),
        ("nm\tQE\n400\t0,3\n500\t0,5\n", 'has a decimal comma in line 2 ("0,3")'),
        ("400,0,3\n500,0,5\n", "has 3 columns in line 1 (write decimals with a point"),
        ("400,0.3,0.4\n500,0.5,0.6\n", "has 3 columns in line 1"),
        ("400,0.3\n500\n", "has 1 column in line 2"),
        ("400 0.3\n500 0.5\n", "has 1 column in line 1"),
        ("400,0.3\n# note\n500,O.5\n", 'has "O.5" in line 3, which is not a number'),
        ("4OO,0.3\n500,0.5\n", 'has "4OO" in line 1, which is not a number'),
        ("400,0.3\n500,\n", 'has "" in line 2, which is not a number'),
        ("400,0.3\n500,nan\n", 'has "nan" in line 2'),
        ("400,0.3\n500,inf\n", 'has "inf" in line 2'),
        ("400,0.3\n500,1e999\n", 'has "1e999" in line 2'),
        ("400,0.3\n500,1_0\n", 'has "1_0" in line 2'),
        ("400,0.3\n500,50 %\n", 'has "50 %" in line 2'),
        ("nm,QE\n400,0.3\n", "holds 1 row of numbers, fewer than 2"),
        ("nm,QE\n", "holds 0 rows of numbers, fewer than 2"),
        ("# only this\n\n", "holds no row of numbers"),
        ("400,0.3\n400,0.5\n", "has 400 nm in line 2, which repeats an earlier line"),
        ("400,0.3\n500,0.5\n500,0.6\n", "has 500 nm in line 3, which repeats"),
        ("400,0.3\n600,0.5\n500,0.6\n", "has 500 nm in line 3, which is out of order"),
        ("600,0.3\n500,0.5\n550,0.6\n", "has 550 nm in line 3, which is out of order"),
        ("400,0.3\n500,-0.01\n", "has a negative value, -0.01, in line 2"),
        ("0.4,0.3\n0.5,0.5\n", "(are these µm? multiply them by 1000)"),
        ("99,0.3\n500,0.5\n", "has a wavelength of 99 in line 1, outside 100 to 3000 nm;"),
        ("500,0.5\n4000,0.1\n", "has a wavelength of 4000 in line 2, outside 100 to 3000 nm;"),
        (b"400,0.3\n500,0.5 \xb5\n", "is not UTF-8 text (byte 17 does not fit)"),
        ("400,0.3\n500,0.5\n".encode("utf-16-le"), "is not a text file (it holds zero bytes)"),
        (b"", "is empty (0 bytes)"),
    ],
)
def test_refusals(tmp_path: Path, text: str | bytes, fault: str) -> None:
    """One sentence: key, file as written, what was read with its line, what is expected."""
    path = curve_file(tmp_path, text)
    with pytest.raises(InputError) as caught:
        read_curve(path, key=KEY, value_name="quantum efficiency", written="../curve.csv")
    sentence = str(caught.value)
    assert sentence.startswith(f'{KEY} "../curve.csv" {fault}') or "µm?" in fault
    assert fault in sentence
    assert sentence.endswith(
        "; expected two columns, wavelength in nm and quantum efficiency, parted by a comma, "
        "semicolon or tab"
    )
    assert "\n" not in sentence


@pytest.mark.parametrize("edge_nm", [100, 3000])
def test_the_range_is_inclusive(tmp_path: Path, edge_nm: int) -> None:
    """100 nm and 3000 nm themselves are read."""
    path = curve_file(tmp_path, f"{edge_nm},1\n1000,2\n")
    wavelength_nm, _ = read_curve(path, key=KEY, value_name="power")
    assert edge_nm in wavelength_nm


def test_missing_file(tmp_path: Path) -> None:
    """The nearest name is offered, as for images."""
    curve_file(tmp_path, "400,1\n500,2\n")
    with pytest.raises(InputError, match=r'the nearest name in that folder is "curve\.csv"'):
        read_curve(tmp_path / "curv.csv", key=KEY, value_name="power")


def test_no_directory_is_a_curve(tmp_path: Path) -> None:
    """A folder is refused as a folder."""
    with pytest.raises(InputError, match="is a folder; expected two columns"):
        read_curve(tmp_path, key=KEY, value_name="power")
