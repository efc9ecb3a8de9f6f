"""Faults with relief under the lamp of a station: masks and light against formulas of our own."""

from math import cos, pi, radians, sin
from pathlib import Path
from typing import Any

import imageio.v3 as iio
import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.dataset.item import Instance, item
from linesim.dataset.labels.masks import HeldFault
from linesim.dataset.piece.lit import Pieces, under_lamp
from linesim.dataset.piece.patched import Patched
from linesim.dataset.plan.plan import Plan
from linesim.dataset.plan.plan_file import plan_from
from linesim.defects.defective import grid_under
from linesim.defects.kinds import Placed
from linesim.defects.pose import Pose
from linesim.forward.reference import ArrayReference
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError
from linesim.setup.setup import Setup
from linesim.targets.faces.face import face_of, factors
from tests.stations import plain_toml

STATION = plain_toml(
    "Metal",
    target={
        "pixel_size": "10 um",
        "white_reflectance": 1.0,
        "gloss": 0.6,
        "rms_slope_across": 0.08,
        "rms_slope_along": 0.05,
    },
    lens={"magnification": 0.15},
    light={
        "illuminance": "60 klx",
        "arrangement": "line",
        "angle": "0 deg",
        "angular_width": "20 deg",
    },
    camera={"pixels": 128},
    acquisition={"exposure": "0.5 us", "lines": 128},
)
SIDE_UM = 50.0
"""Of a sample, across; matched, so along too. The exposure smears it by 0.5 um, 1 %."""
FINE = 12
KINDS: dict[str, Any] = {
    "dent": {"width": "400 um:1500 um", "depth": "10 um:30 um"},
    "bump": {"width": "400 um:1500 um", "depth": "10 um:30 um"},
    "groove": {"length": "2 mm:4 mm", "width": "150 um:400 um", "depth": "3 um:8 um"},
}


def plan_of(folder: Path, **parts: object) -> Plan:
    """Plan images of a glossy sheet with dents, bumps and grooves."""
    (folder / "station.toml").write_text(STATION, "utf-8")
    faults = {"like": "metal", "kinds": list(KINDS), "count": "1:2", **KINDS}
    return plan_from(
        {
            "setup": "station.toml",
            "seed": 3,
            "images": {"good_share": 0.0},
            "scenes": {"kind": "flat"},
            "faults": faults,
            **parts,
        },
        folder,
    )


def inside(placed: Placed, x_um: FloatArray, y_um: FloatArray) -> "np.ndarray":
    """Tell where more than 5 % of the depth of a cos² hill is left, from the formula alone."""
    turn, width_um = radians(placed.pose.turn_deg), float(placed.values["width_um"])  # type: ignore[arg-type]
    length_um = float(placed.values.get("length_um", width_um))  # type: ignore[arg-type]
    x_um, y_um = x_um - 1000 * placed.pose.x_mm, y_um - 1000 * placed.pose.y_mm
    across, along = x_um * cos(turn) + y_um * sin(turn), y_um * cos(turn) - x_um * sin(turn)
    past = np.maximum(np.abs(along) - (length_um - width_um) / 2, 0)
    away = np.hypot(across, past) / width_um
    return np.asarray((away < 0.5) & (np.cos(pi * away) ** 2 > 0.05))


def overlap(found: Instance, shape: tuple[int, int]) -> float:
    """Hold a label against samples cut into 12 x 12 points: shared samples over all."""
    assert found.outline is not None
    left, top, wide, high = found.outline.box
    # two samples more on each side, as far as the image goes
    lines = slice(max(top - 2, 0), min(top + high + 2, shape[0]))
    columns = slice(max(left - 2, 0), min(left + wide + 2, shape[1]))
    x_um, y_um = (
        (np.arange(part.start * FINE, part.stop * FINE) + 0.5) * SIDE_UM / FINE
        for part in (columns, lines)
    )
    points = inside(found.placed, x_um[None, :] - shape[1] * SIDE_UM / 2, y_um[:, None])
    count = lines.stop - lines.start, columns.stop - columns.start
    cover = points.reshape(count[0], FINE, count[1], FINE).mean(axis=(1, 3))
    wanted = cover >= 0.5 * cover.max()
    own = np.zeros(shape, dtype=bool)
    own[found.outline.place] = found.outline.mask
    own = own[lines, columns]
    return float((own & wanted).sum() / (own | wanted).sum())


def test_masks_of_relief_are_those_of_points_counted(tmp_path: Path) -> None:
    """
    Dents, bumps, grooves in any direction, cut by the image's edge or not.

    Only samples on the rim whose cover is within a twelfth of the threshold can differ, a sixth of
    the rim at most: of a mask n samples wide 4/n of all are rim, so 1 - 4/(6 n), 0.91 at n = 7.
    """
    plan = plan_of(tmp_path)
    made = [item(plan, index) for index in range(3)]
    shares = [overlap(each, m.mask.shape) for m in made for each in m.labelled]
    assert len(shares) > 10
    assert np.median(shares) > 0.99
    assert min(shares) > 0.91
    assert {each.placed.kind for m in made for each in m.labelled} == set(KINDS)
    assert all(each.strength and each.strength.dprime > 0 for m in made for each in m.labelled)


def formula(setup: Setup, turn: float) -> FloatArray:
    """Give what a groove 6 um deep and 300 um wide changes in 40 x 50 pixels of a grey of 0.3."""
    face = face_of(setup)
    assert face is not None
    x_um = (np.arange(110, 160) + 0.5 - 130) * 10.0 - 50.0
    y_um = ((np.arange(130, 170) + 0.5) * 10.0 - 1500.0)[:, None]
    across = x_um * cos(turn) + y_um * sin(turn)
    rise = np.where(np.abs(across) < 150.0, 6.0 * pi / 300.0 * np.sin(2 * pi * across / 300.0), 0)
    # a face that rises turns its normal back
    slopes = np.stack([-rise * cos(turn), -rise * sin(turn)], axis=-1).reshape(-1, 2)
    (matt, gloss), (matt_0, gloss_0) = factors(face, slopes), face.level
    return np.asarray((0.3 * (matt - matt_0) + gloss - gloss_0).reshape(rise.shape))


@pytest.mark.parametrize("turn_deg", [90.0, 35.0])
def test_a_groove_sends_what_its_slopes_send(tmp_path: Path, turn_deg: float) -> None:
    """
    Light of each pixel by the slopes of -d cos²(πr/w), put into the face's own formula.

    Heights two pixels apart make slopes sin(2πa/w)/(2πa/w) as steep, 0.993 here, so a change that
    grows with their square is 0.014 short. The table takes the nearest of steps of 1/20 of the rms
    slope, 1/40 off at most, on a lobe that loses up to 1.2 of the largest change over one: 0.03.
    """
    setup = plan_of(tmp_path).base
    good = ArrayReference(data=np.full((300, 260), 0.3, dtype=np.float32), pixel_size_um=10.0)
    values = {"length_um": 2000.0, "width_um": 300.0, "depth_um": 6.0}
    pose = Pose(x_mm=0.05, y_mm=1.5, turn_deg=turn_deg)
    placed = Placed(kind="groove", pose=pose, values=values)
    held = [HeldFault(fault=placed.fault(), grid=grid_under(good))]
    found = under_lamp(setup, Pieces(base=Patched(base=good), painted=Patched(base=good)), held)
    change = found.painted.rows(0, 300) - found.base.rows(0, 300)

    wanted = formula(setup, radians(turn_deg))
    largest = float(np.abs(wanted).max())
    assert largest > 0.05
    assert_allclose(change[130:170, 110:160], wanted, rtol=0, atol=0.045 * largest)
    far = np.hypot(np.arange(260) - 135.0, (np.arange(300) - 150.0)[:, None]) > 105
    assert not change[far].any()


def test_a_face_that_varies_by_an_image_is_refused(tmp_path: Path) -> None:
    """Scenes are pieces, an image of the face is not: a sentence says so."""
    (tmp_path / "foil.png").write_bytes(Path("sample_targets/foil.png").read_bytes())
    text = STATION.replace('image = "flat"', 'image = "foil.png"')
    text = text.replace("gloss = 0.6", 'gloss = "foil.png"')
    (tmp_path / "own.toml").write_text(text, "utf-8")
    with pytest.raises(InputError, match=r"target.gloss is an image"):
        plan_from({"setup": "own.toml"}, tmp_path)


def test_relief_on_real_scans_is_refused(tmp_path: Path) -> None:
    """A scan keeps its numbers, and says nothing of how its face leans."""
    scan = np.full((128, 128), 900, dtype=np.uint16)
    iio.imwrite(tmp_path / "good.png", scan)
    with pytest.raises(InputError, match="stay as they are"):
        plan_of(tmp_path, scenes={}, background={"images": "good.png"})


def test_slopes_too_steep_for_the_face_are_refused_at_once(tmp_path: Path) -> None:
    """A depth over the width is no slope of a smooth face: the plan is refused, not image 7."""
    steep = {**KINDS, "dent": {"width": "50 um", "depth": "900 um"}}
    with pytest.raises(InputError, match=r"faults\.dent: read a depth of 900 um"):
        plan_of(tmp_path, faults={"like": "metal", "kinds": list(steep), **steep})
