"""A report is one file that needs nothing else, says all, and lets no text of the user act."""

import base64
import getpass
import hashlib
import os
import re
import socket
from collections import Counter
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from linesim.figures.budget import budget
from linesim.figures.safety import MACHINERY
from linesim.figures.verdicts import at_most
from linesim.report.console import typeset
from linesim.report.first_page import limiting
from linesim.report.judged_rows import judged_rows
from linesim.report.page import inline_svg, page_text, refuse_without_extra
from linesim.report.page_parts import Page, Section, Text
from linesim.report.rows import figure_rows, measured_rows
from linesim.report.verdict_words import closest
from linesim.setup.errors import InputError
from linesim.setup.load import changed, known_keys, sample_setup, setup_from
from linesim.studies.scan.page import scan_page, write_scan_report
from linesim.studies.scan.study import Scan, scan

WICKED = "<script>alert('x')</script> & \"quoted\" <img src=https://example.org/x.png>"
STATION: dict[str, Any] = {
    "title": WICKED,
    "target": {"image": "star", "pixel_size": "40 um", "width": "12 mm", "height": "12 mm"},
    "transport": {"speed": "60 m/min"},
    "lens": {"magnification": 0.1, "blur": "2 um", "defocus": "3 mm"},
    "light": {"illuminance": "900 klx", "flicker": 0.1},
    "camera": {"pixels": 160, "pixel_width": "7.5 um", "prnu": 0.01, "dark_current": "9 ke/s"},
    "requirement": {"smallest_defect": "300 um", "snr": 5000},
}
KINDS: dict[str, dict[str, Any]] = {
    "mono": {},
    "dark": {"light.illuminance": "0 lx"},
    "binned": {"acquisition.binning": "2x2", "acquisition.line_rate": "13.3333 kHz"},
    "three-line": {
        "camera.kind": "three-line",
        "camera.line_spacing": "33 um",
        "acquisition.white_balance": "grey-card",
    },
    "prism": {"camera.kind": "prism", "target.image": "flat"},
}
TRIED = tuple(KINDS) if "LINESIM_NIGHTLY" in os.environ else ("mono", "dark")
VOID = {"br", "hr", "img", "input", "link", "meta"}


@dataclass
class Seen(HTMLParser):
    """What is in a page: tags with their attributes, texts of some, and whether all are closed."""

    tags: list[tuple[str, dict[str, str]]] = field(default_factory=list)
    texts: dict[str, list[str]] = field(default_factory=dict)
    open: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Start the parser itself."""
        super().__init__()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a tag."""
        self.tags.append((tag, {name: value or "" for name, value in attrs}))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a tag that closes itself."""
        self.tags.append((tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        """See that the innermost tag is closed."""
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        """Note text under the innermost tag."""
        self.texts.setdefault(self.open[-1] if self.open else "", []).append(data)

    def values(self, name: str) -> list[str]:
        """Give one attribute of all tags that have it."""
        return [attributes[name] for _, attributes in self.tags if name in attributes]


def seen(text: str) -> Seen:
    """Read a page; everything that is opened is closed again."""
    found = Seen()
    found.feed(text)
    found.close()
    assert found.open == []
    return found


@pytest.fixture(scope="module")
def scans() -> dict[str, Scan]:
    """Scan a small piece with each kind of station, once."""
    base = setup_from(STATION)
    return {name: scan(changed(base, KINDS[name])) for name in TRIED}


@pytest.fixture(scope="module")
def texts(scans: dict[str, Scan]) -> dict[str, str]:
    """Lay out the report of each, once."""
    return {name: page_text(scan_page(found)) for name, found in scans.items()}


@pytest.mark.parametrize("kind", TRIED)
def test_nothing_outside_is_asked_for(kind: str, texts: dict[str, str]) -> None:
    """Every source is in the file, every link goes to a place in it, and the style fetches none."""
    found = seen(texts[kind])
    links = [
        link
        for name in ("src", "href", "xlink:href", "srcset", "data")
        for link in found.values(name)
    ]
    assert len(links) > 10
    assert [link for link in links if not link.startswith(("data:", "#"))] == []
    styles = " ".join(found.texts["style"] + found.values("style"))
    assert "@import" not in styles
    assert [url for url in re.findall(r"url\(([^)]*)\)", texts[kind]) if url[0] != "#"] == []


@pytest.mark.parametrize("kind", TRIED)
def test_names_in_a_page_are_its_own(kind: str, texts: dict[str, str]) -> None:
    """No two elements share an id, also across drawings, and each link and label finds its one."""
    found = seen(texts[kind])
    ids = Counter(found.values("id"))
    assert [name for name, count in ids.items() if count > 1] == []
    inner = [link[1:] for link in found.values("href") if link.startswith("#")]
    inner += [link[1:] for link in found.values("xlink:href")] + found.values("for")
    inner += re.findall(r"url\(#([^)]*)\)", texts[kind])
    assert len(inner) > 10
    assert set(inner) <= set(ids)


@pytest.mark.parametrize("kind", TRIED)
def test_every_picture_is_told_in_words(kind: str, texts: dict[str, str]) -> None:
    """Pictures have an alternative text, drawings a label; the rest is hidden from readers."""
    found = seen(texts[kind])
    images = [attributes for tag, attributes in found.tags if tag == "img"]
    assert len(images) >= 2
    assert all(image["alt"] for image in images)
    drawings = [attributes for _, attributes in found.tags if attributes.get("role") == "img"]
    assert len(drawings) == 5  # sensor, target, noise, MTF across and along
    assert all(drawing["aria-label"] for drawing in drawings)


def test_a_wicked_title_is_shown_and_not_obeyed(texts: dict[str, str]) -> None:
    """A title with a script in it stands in the page as text; the page's own script is the one."""
    found = seen(texts["mono"])
    assert found.texts["h1"] == [WICKED]
    assert found.texts["title"] == [WICKED]
    assert [tag for tag, _ in found.tags].count("script") == 1
    assert "example.org" not in " ".join(found.values("src"))


def test_the_page_allows_its_own_script_alone(texts: dict[str, str]) -> None:
    """The content policy names the script by its hash, as CSP level 2 has it, and no address."""
    found = seen(texts["mono"])
    policy = next(a["content"] for _, a in found.tags if "http-equiv" in a)
    (script,) = found.texts["script"]
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    assert f"script-src 'sha256-{digest}'" in policy
    assert policy.startswith("default-src 'none'; img-src data:;")
    assert "http" not in policy


@pytest.mark.parametrize("kind", TRIED)
def test_every_figure_and_verdict_is_in_the_page(
    kind: str, scans: dict[str, Scan], texts: dict[str, str]
) -> None:
    """Each row of the console's tables is there; that these lack no figure is tested elsewhere."""
    found = scans[kind]
    cells = seen(texts[kind]).texts["td"]
    rows = [row.text for group in figure_rows(found.setup, found.budget).values() for row in group]
    rows += [row.text for row in measured_rows(found.measured)]
    rows += [row.text for row in judged_rows(found.setup, found.budget)]
    assert len(rows) > 25
    assert [text for text in rows if typeset(text) not in cells] == []


def test_every_caution_is_in_the_page(scans: dict[str, Scan], texts: dict[str, str]) -> None:
    """Those on the picture and on people alike, and the line about machinery in every page."""
    words = " ".join(seen(texts["mono"]).texts["li"])
    cautions = scans["mono"].budget.cautions
    assert {"bright_light", "heat_on_stop", "flicker_bands", "well_clips"} <= {
        caution.code for caution in cautions
    }
    assert [each.code for each in cautions if typeset(each.text) not in words] == []
    for text in texts.values():
        assert MACHINERY in " ".join(seen(text).texts["li"])


def test_every_key_of_the_setup_is_in_the_page(
    scans: dict[str, Scan], texts: dict[str, str]
) -> None:
    """Each key stands beside its value, and those left at their default are marked."""
    setup = scans["mono"].setup
    keys = [
        key
        for name in known_keys(())
        if name != "title" and name in setup.texts
        for key in known_keys((name,))
        if key in setup.texts[name]
    ]
    heads = seen(texts["mono"]).texts["th"]
    assert len(keys) > 40
    assert [key for key in keys if key not in heads] == []
    assert re.search(r">f_number</th><td>4.0</td><td>default</td>", texts["mono"])
    assert re.search(r">prnu</th><td>0.01</td><td></td>", texts["mono"])


def test_a_missed_requirement_is_said_in_words(texts: dict[str, str]) -> None:
    """No colour is needed to see what is missed."""
    heads = " ".join(seen(texts["mono"]).texts["th"])
    assert "✗ missed" in heads
    assert "✓ met" in heads


def test_the_same_scan_gives_the_same_page(scans: dict[str, Scan], texts: dict[str, str]) -> None:
    """Byte for byte, with another number of workers too."""
    again = scan(scans["dark"].setup, workers=1)
    assert page_text(scan_page(again)) == texts["dark"]


def test_a_page_tells_nothing_of_the_machine(
    tmp_path: Path, scans: dict[str, Scan], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither folder nor host nor user is in it."""
    monkeypatch.chdir(tmp_path)
    (written,) = write_scan_report(scans["dark"], tmp_path / "here")
    assert written == tmp_path / "here" / "report.html"
    text = written.read_text("utf-8")
    plain = re.sub(r"base64,[A-Za-z0-9+/=]*", "", text)
    assert str(tmp_path) not in plain
    assert socket.gethostname() not in plain
    assert f"/{getpass.getuser()}/" not in plain


def test_a_missing_library_is_told_before_any_work(monkeypatch: pytest.MonkeyPatch) -> None:
    """The refusal names what is missing and how to get it."""
    monkeypatch.setattr("linesim.setup.arguments.find_spec", {"matplotlib": 1}.get)
    with pytest.raises(InputError, match=r"needs jinja2, not installed.*linesim\[report\]"):
        refuse_without_extra()


def test_a_page_is_made_of_any_parts() -> None:
    """Whatever the part, its text is escaped."""
    page = Page(
        title="t",
        job="j",
        lead=("<b>",),
        first=(Text(("<s>",)),),
        sections=(Section("<i>", (Text(("<u>",)),)),),
    )
    found = seen(page_text(page))
    assert {"b", "i", "s", "u"} & {tag for tag, _ in found.tags} == set()
    assert found.texts["h2"] == ["<i>"]


@pytest.mark.parametrize(
    ("console", "print"),
    [
        ("75 x 75 um (across x along)", "75 × 75 µm (across x along)"),
        ("76.8 mm x 60 mm, 1024 px x 800 lines", "76.8 mm × 60 mm, 1024 px × 800 lines"),
        ("75 us of 75 us, let us see", "75 µs of 75 µs, let us see"),
        ("object pixel across, um", "object pixel across, µm"),
        ("smallest disc found, um, ends", "smallest disc found, µm, ends"),
    ],
)
def test_units_are_set_as_in_print(console: str, print: str) -> None:  # noqa: A002 -- what it is
    """The console's um, us and x after a number become µm, µs and ×; words stay."""
    assert typeset(console) == print


def test_names_in_a_drawing_get_a_prefix_and_texts_do_not() -> None:
    """What looks like a name in a text of a drawing stays as it is."""
    svg = '<svg><g id="a"/><use href="#a" clip-path="url(#a)"/><text>id="a" #a</text></svg>'
    assert inline_svg(svg, "p-") == (
        '<svg><g id="p-a"/><use href="#p-a" clip-path="url(#p-a)"/><text>id="a" #a</text></svg>'
    )


def first_of(text: str) -> str:
    """Give what stands before the contents: the first page."""
    first, nav, _ = text.partition("<nav")
    assert nav
    return first


@pytest.mark.parametrize("kind", TRIED)
def test_the_first_page_is_the_answer(kind: str, texts: dict[str, str]) -> None:
    """Title, verdict, picture, four figures and what limits stand before all else, in order."""
    text = first_of(texts[kind])
    marks = ("<h1>", 'class="outcome', 'class="divider"', 'class="facts"', "Limiting factor: ")
    places = [text.find(mark) for mark in marks]
    assert -1 not in places
    assert places == sorted(places)
    assert text.count("<dt>") == 4
    assert "The job in words" not in text


@pytest.mark.usefixtures("undrawn")
def test_one_page_has_the_answer_and_what_people_must_mind(scans: dict[str, Scan]) -> None:
    """It is the first page and the cautions about people, and nothing else."""
    page = scan_page(scans["mono"])
    alone = page_text(page, one_page=True)
    assert first_of(page_text(page)).partition("<header")[2].partition("</header>")[0].strip() in (
        alone.replace(
            alone.partition('<div class="cautions">')[2].partition("</div>")[0], ""
        ).replace('<div class="cautions"></div>\n', "")
    )
    assert MACHINERY in alone
    assert "bright_light" in alone
    assert "<nav" not in alone
    assert "<section" not in alone


def test_what_limits_is_the_nearest_of_all(scans: dict[str, Scan]) -> None:
    """Of a station that misses something what is missed by most, else what has least to spare."""
    missed = scans["mono"].budget.verdicts
    assert closest(missed).margin == min(each.margin for each in missed) < 0
    tight = at_most("most_working_distance", 100.0, 99.0)
    assert limiting(sample_setup(), budget(sample_setup()), (tight,)) == (
        "Limiting factor: working distance, 1 % to spare."
    )


def test_the_most_of_the_noise_is_named() -> None:
    """
    On the sample's product of 953.96 e shot noise is 953.96 of 953.96 + 20² + (1/0.1016)²/12.

    The gain is (4095 − 32)/40000 DN/e: 953.96/1362.03 = 70 %; in a tenth of the light 95.4 of
    503.5, so that 20 e of read noise are 400/503.5 = 79 %.
    """
    bright = sample_setup()
    assert "Of the noise on the product 70 % is shot noise" in limiting(bright, budget(bright))
    dim = changed(bright, {"light.illuminance": "4 klx"})
    assert "Of the noise on the product 79 % is read noise" in limiting(dim, budget(dim))
