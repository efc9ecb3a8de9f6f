"""The station from the side: to scale, by the law of reflection, and labels that can be read."""

from dataclasses import replace
from itertools import combinations, product
from math import atan2, cos, degrees, hypot, radians, sin, tan
from xml.etree.ElementTree import Element, fromstring

import numpy as np
import pytest

from linesim.figures.budget import budget
from linesim.forward.surface import Finish, radiance_factors
from linesim.report.page_parts import Pictures, Text
from linesim.report.page_sections import Case, side_sections
from linesim.report.side_drawing import UNSCALED, frame, side_labels, side_picture
from linesim.report.side_view import EVEN, LampView, SideView, field_words, side_view_of, sketch
from linesim.setup.light.strip import Strip
from linesim.setup.load import changed, sample_setup
from linesim.studies.compare.page import compare_page
from linesim.studies.compare.study import compare
from linesim.studies.scan.page import scan_page
from linesim.studies.scan.study import scan

SVG = "{http://www.w3.org/2000/svg}"
LINE = {"light.arrangement": "line", "light.angle": "40 deg", "light.angular_width": "10 deg"}
KNOWN = SideView(
    camera_deg=20.0,
    working_distance_mm=600.0,
    lamps=(LampView(angle_deg=50.0, angular_width_deg=12.0, distance_mm=150.0),),
)
ANGLES = [(camera, lamp) for camera, lamp in product(range(-60, 61, 30), range(-80, 81, 10))]
PLACES = {
    "direction alone": (None, None, False),
    "near the web": (700.0, 60.0, False),
    "far": (300.0, 400.0, False),
    "behind": (500.0, 120.0, True),
}


def one_lamp(angle_deg: float, width_deg: float = 10.0, *, behind: bool = False) -> SideView:
    """Make a station with a camera at 20 deg and one lamp of known direction."""
    lamp = LampView(angle_deg=angle_deg, angular_width_deg=width_deg, behind=behind)
    return SideView(camera_deg=20.0, working_distance_mm=None, lamps=(lamp,))


def drawn(view: SideView) -> Element:
    """Read a drawing."""
    return fromstring(str(side_picture(view).image))  # noqa: S314 -- our own


def words(view: SideView) -> list[str]:
    """Give all that is written in a drawing."""
    return [text.text or "" for text in drawn(view).iter(f"{SVG}text")]


def bar_px_mm(view: SideView) -> float:
    """Read the scale off the bar and its label."""
    (bar,) = (
        path
        for path in drawn(view).iter(f"{SVG}path")
        if path.get("stroke-width") == "3" and "L" not in path.get("d", "").partition("L")[2]
    )
    start, end = (part.split()[0] for part in bar.get("d", "").removeprefix("M").split("L"))
    (length,) = (each for each in words(view) if each.endswith(" mm") and each[0].isdigit())
    return (float(end) - float(start)) / float(length.removesuffix(" mm"))


def test_distances_and_angles_are_to_scale() -> None:
    """By the scale bar, lens and lamp stand where the numbers say; ends of lines are rounded."""
    place, px_mm = sketch(KNOWN), bar_px_mm(KNOWN)
    assert px_mm == pytest.approx(place.px_per_mm, rel=1e-3)
    assert hypot(*place.lens) / px_mm == pytest.approx(600, rel=1e-3)
    assert degrees(atan2(place.lens[0], -place.lens[1])) == pytest.approx(20)
    one, other = place.lamps[0]
    middle = ((one[0] + other[0]) / 2, (one[1] + other[1]) / 2)
    assert hypot(*middle) / px_mm == pytest.approx(150, rel=1e-3)
    assert degrees(atan2(-middle[0], -middle[1])) == pytest.approx(50)
    # a face turned to the target is 2 d tan(w/2) wide; derived
    width_mm = hypot(one[0] - other[0], one[1] - other[1]) / px_mm
    assert width_mm == pytest.approx(2 * 150 * tan(radians(6)), rel=1e-3)


@pytest.mark.parametrize(("camera_deg", "lean_deg"), [(20.0, 0.0), (-35.0, 4.0), (10.0, -7.0)])
def test_the_dashed_line_obeys_the_law_of_reflection(camera_deg: float, lean_deg: float) -> None:
    """The view mirrored is r = 2 (n·v) n - v about the normal of the face."""
    view = replace(KNOWN, camera_deg=camera_deg, lean_deg=lean_deg)
    place = sketch(view)
    normal = np.array([-sin(radians(lean_deg)), -cos(radians(lean_deg))])
    seen = np.array(place.lens) / hypot(*place.lens)
    wanted = 2 * (normal @ seen) * normal - seen
    assert place.mirrored is not None
    assert np.array(place.mirrored) / hypot(*place.mirrored) == pytest.approx(wanted)


@pytest.mark.parametrize("lean_deg", [0.0, 6.0, -6.0])
def test_a_lamp_said_to_be_mirrored_is_the_bright_one(lean_deg: float) -> None:
    """
    The forward model's gloss is largest at the lamp that the drawing has in the mirror direction.

    A polished face: a lobe of 0.02 rms slope is some 2 deg wide, lamps of 10 deg stand 12 deg
    apart.
    """
    view = replace(one_lamp(0.0), lean_deg=lean_deg)
    lean, finish = tan(radians(lean_deg)), Finish(gloss=0.5, rms_across=0.02, rms_along=0.02)
    toward = np.array([0.0, -sin(radians(20)), cos(radians(20))])
    found = {}
    for middle_deg in (8.0, 20.0, 32.0):
        strip = Strip(low_deg=middle_deg - 5, high_deg=middle_deg + 5)
        _, gloss = radiance_factors(strip, finish, toward, np.array([[0.0, lean]]))
        found[middle_deg] = float(gloss[0])
    brightest = max(found, key=lambda each: found[each])
    assert brightest == 20 + 2 * lean_deg
    for middle_deg in found:
        lamp = LampView(angle_deg=middle_deg, angular_width_deg=10.0)
        assert view.is_bright(lamp) == (middle_deg == brightest)


@pytest.mark.parametrize("name", PLACES)
def test_labels_lie_neither_on_each_other_nor_outside(name: str) -> None:
    """Whatever the angles of camera and lamp, each label has room of its own in the drawing."""
    working_mm, distance_mm, behind = PLACES[name]
    for camera_deg, lamp_deg in ANGLES:
        lamp = LampView(
            angle_deg=lamp_deg, angular_width_deg=10, distance_mm=distance_mm, behind=behind
        )
        view = SideView(camera_deg=camera_deg, working_distance_mm=working_mm, lamps=(lamp,))
        labels, room = side_labels(view), frame(sketch(view))
        assert len(labels) == 5 - behind
        assert all(each.box.within(room) for each in labels)
        assert not any(one.box.meets(other.box) for one, other in combinations(labels, 2))


def test_labels_of_three_lamps_lie_apart() -> None:
    """Bright field, dark field and back light in one drawing."""
    lamps = tuple(
        LampView(angle_deg=angle, angular_width_deg=8, distance_mm=120, behind=behind)
        for angle, behind in ((20, False), (-60, False), (25, False), (20, True))
    )
    labels = side_labels(replace(KNOWN, lamps=lamps))
    assert [each.words for each in labels][2:6] == [
        "lamp 1, 20°", "lamp 2, -60°", "lamp 3, 25°", "lamp 4, 20°",
    ]  # fmt: skip
    assert not any(one.box.meets(other.box) for one, other in combinations(labels, 2))


@pytest.mark.parametrize(
    ("view", "said"),
    [
        (one_lamp(20.0), "The lamp stands in the camera's mirror direction: bright field."),
        (one_lamp(24.0), "The lamp stands in the camera's mirror direction: bright field."),
        (one_lamp(25.0),
         ("The lamp has its edge in the camera's mirror direction: between bright and dark "
          "field, where what leans is brighter or darker.")),
        (one_lamp(15.0, behind=True),
         ("The lamp stands behind the web, its edge in the camera's line of sight: half "
          "bright, where what bends light is brighter or darker.")),
        (one_lamp(40.0),
         "The lamp stands 20 deg away from the camera's mirror direction: dark field."),
        (one_lamp(20.0, behind=True),
         "The lamp stands behind the web, in the camera's line of sight: bright back light."),
        (one_lamp(-10.0, behind=True),
         ("The lamp stands behind the web, 30 deg away from the camera's line of sight: dark "
          "back light, where only what scatters or bends light is bright.")),
        (replace(one_lamp(0.0), lamps=()), EVEN),
    ],
)  # fmt: skip
def test_a_sentence_says_what_field_it_is(view: SideView, said: str) -> None:
    """Bright where the camera sees the lamp, mirrored or through the web; between at its edge."""
    assert field_words(view) == said


def test_what_is_not_to_scale_says_so() -> None:
    """Without a focal length the camera's distance is not known; with one there is a bar."""
    assert UNSCALED in words(one_lamp(20.0))
    assert not any(each.endswith(" mm") for each in words(one_lamp(20.0)))
    assert f"camera {UNSCALED}" in words(replace(KNOWN, working_distance_mm=None))
    assert not any(UNSCALED in each for each in words(KNOWN))


def test_a_setup_gives_its_side_view() -> None:
    """Angles as written; f (1 + 1/m) from lens to web; no lamp where light is even."""
    setup = changed(
        sample_setup(),
        {**LINE, "camera.angle": "15 deg", "lens.focal_length": "60 mm", "lens.magnification": 0.1},
    )
    view = side_view_of(setup)
    assert (view.camera_deg, view.lamps[0].angle_deg) == (15, 40)
    assert view.lamps[0].angular_width_deg == 10
    assert view.working_distance_mm == pytest.approx(60 * 11)
    assert side_view_of(sample_setup()) == SideView(
        camera_deg=0.0, working_distance_mm=None, lamps=()
    )


def test_stations_alike_are_drawn_once() -> None:
    """Two of three differ in speed alone: one drawing for both, a sentence for the even light."""
    setups = {
        "slow": changed(sample_setup(), LINE),
        "fast": changed(sample_setup(), {**LINE, "transport.speed": "90 m/min"}),
        "even": sample_setup(),
    }
    cases = [
        Case(title=title, setup=setup, budget=budget(setup)) for title, setup in setups.items()
    ]
    (section,) = side_sections(*cases)
    drawings, even = section.parts
    assert isinstance(drawings, Pictures)
    assert isinstance(even, Text)
    (picture,) = drawings.pictures
    assert picture.caption.startswith("slow, fast: ")
    assert "eyes" in picture.caption
    assert even.paragraphs == (f"even: {EVEN}",)
    assert side_sections(cases[2]) == ()


@pytest.mark.parametrize("is_line", [True, False])
def test_pages_draw_it_beside_the_cautions(is_line: bool) -> None:  # noqa: FBT001 -- a case
    """Scan and comparison have the section where a lamp is placed, cautions next; else neither."""
    small = {"target.width": "2 mm", "target.height": "2 mm", "acquisition.lines": 8}
    setup = changed(sample_setup(), {**small, **(LINE if is_line else {})})
    for page in (scan_page(scan(setup)), compare_page(compare(setup, ("1x1", "2x2")))):
        titles = [section.title for section in page.sections]
        before = titles[titles.index("What to mind") - 1]
        assert (before == "Where the lamp stands") == is_line
        assert titles.count("Where the lamp stands") == is_line


def test_angles_are_told_to_four_digits() -> None:
    """A lamp known by its size has an angle that nobody set: 2 arctan(40/400) is 11.4212 deg."""
    size = {
        "light.angular_width": None,
        "light.lamp_width": "40 mm",
        "light.lamp_distance": "200 mm",
    }
    view = side_view_of(changed(sample_setup(), {**LINE, **size}))
    assert "lamp 40°, 11.42° wide, 200 mm away" in words(view)
