"""Images made together on a device: what is prepared, painted and judged is what numpy makes."""

from dataclasses import dataclass, field
from pathlib import Path
from queue import SimpleQueue
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from linesim.dataset.draw import drawn
from linesim.dataset.item import item
from linesim.dataset.labels.masks import HeldFault
from linesim.dataset.piece.patched import Patched
from linesim.dataset.plan.plan import Plan
from linesim.dataset.plan.plan_file import load_plan, plan_from
from linesim.dataset.torch_sets import ScanStream, sample_of
from linesim.defects.edges import covered
from linesim.defects.fault import FINE, Fault
from linesim.defects.kinds import Recipe
from linesim.defects.line_faults import Crease, Scratch, Streak
from linesim.defects.patch_faults import MissingPrint, Stain, TextureFault
from linesim.defects.pose import Pose
from linesim.defects.round_faults import Agglomerate, Hole, Pinhole
from linesim.forward.reference import ArrayReference
from linesim.setup.errors import InputError
from linesim.targets.painted import Grid

torch = pytest.importorskip("torch", reason="the extra torch is not installed")
from linesim.dataset.feed.coats import Drawing  # noqa: E402 -- only where it is installed
from linesim.dataset.feed.covers import covers_on  # noqa: E402 -- the same
from linesim.dataset.feed.helper import Helper, Whole  # noqa: E402 -- the same
from linesim.dataset.feed.outlines import together  # noqa: E402 -- the same
from linesim.dataset.feed.painting import painted  # noqa: E402 -- the same
from linesim.dataset.feed.processes import Answer, done  # noqa: E402 -- the same
from linesim.dataset.feed.stream import Feed  # noqa: E402 -- the same

CPU = torch.device("cpu")
GRID = Grid(pixel_size_um=20.0, rows=150, columns=160)
RECIPES: tuple[Recipe, ...] = (
    Pinhole(diameter_um=90.0, change=1.5),
    Agglomerate(size_um=400.0, change=-0.7, halo_change=-0.3, form=3),
    Scratch(length_um=900.0, width_um=30.0, change=4.0, bend=0.2),
    Streak(length_um=1500.0, width_um=120.0, change=0.3),
    Stain(width_um=500.0, height_um=300.0, change=(-0.4, -0.3, -0.1)),
    Crease(length_um=700.0, width_um=60.0, change=0.5),
    Hole(width_um=300.0, height_um=200.0, rim_um=60.0, change=-0.8, rim_change=1.0),
    MissingPrint(width_um=600.0, height_um=500.0, reflectance=(0.05,), form=2),
    TextureFault(width_um=700.0, height_um=600.0, ratio=2.5, over_um=150.0),
)
# in the middle, over each other, and over all four borders of a product of 3.2 mm by 3 mm
PLACES = ((0.1, 1.5), (0.3, 1.7), (-1.6, 0.4), (1.55, 2.0), (0.2, 0.02), (-0.4, 2.98))


def faults() -> list[Fault]:
    """Put every kind somewhere, each turned another way."""
    return [
        recipe.at(Pose(x_mm=x_mm, y_mm=y_mm, turn_deg=17.0 * k))
        for k, recipe in enumerate(RECIPES)
        for x_mm, y_mm in (PLACES[k % len(PLACES)], PLACES[(k + 1) % len(PLACES)])
    ]


def test_covers_of_a_device_are_those_of_the_processor() -> None:
    """Every kind, whole and cut by each border, all at once; and again the same to the last bit."""
    drawing, known = Drawing(grid=GRID), []
    for fault in faults():
        window = fault.window(GRID)
        drawing.held(fault)
        shapes = dict.fromkeys([*(layer.shape for layer in fault.layers), fault.outline])
        fine_um = GRID.pixel_size_um / FINE
        known += [covered(fault.placed(shape, fine_um), window) for shape in shapes]
    found = covers_on(together(drawing.found), CPU)
    # corners lie on whole 2⁻²² pixels and less, along edges of up to 100 pixels; float32 does the
    # rest
    for one, other in zip(found, known, strict=True):
        assert_allclose(one.numpy(), other, rtol=0, atol=100 * 2**-22)
    assert any(other.max() == 1 for other in known)
    again = covers_on(together(drawing.found), CPU)
    assert all(torch.equal(*pair) for pair in zip(found, again, strict=True))


def test_paint_of_a_device_is_that_of_the_processor() -> None:
    """Layers, materials and contrasts, one over the other, as far as the covers agree."""
    data = np.random.default_rng(3).uniform(0.02, 0.9, (GRID.rows, GRID.columns))
    good = ArrayReference(data=data.astype(np.float32), pixel_size_um=GRID.pixel_size_um)
    drawing = Drawing(grid=GRID)
    coats = [coat for fault in faults() for coat in drawing.held(fault).coats]
    covers = covers_on(together(drawing.found), CPU)
    found = painted(torch.from_numpy(good.data), coats, covers)
    known = Patched(base=good).with_faults(HeldFault(fault=each, grid=GRID) for each in faults())
    # a change of up to four times the reflectance, by the error of a cover, coat over coat
    assert_allclose(found.numpy(), known.part(known.whole), rtol=0, atol=20 * 100 * 2**-22)
    assert np.abs(found.numpy() - good.data).max() > 0.5


@dataclass(frozen=True, kw_only=True)
class Several:
    """Helpers that answer at once, in this process: what they know of each other is sent."""

    several: list[Helper]
    answers: "SimpleQueue[Answer]" = field(default_factory=SimpleQueue)
    drawers: int = 1
    together: int = 3
    ahead: int = 5
    waiting: int = 2

    @property
    def preparers(self) -> int:
        """Count them."""
        return len(self.several)

    def ask(self, helper: int, kind: str, number: int, *given: Any) -> None:  # noqa: ANN401 -- as asked
        """Do it at once."""
        found = done(self.several[helper], kind, number, given)
        self.answers.put(Answer(helper, kind, number, found))

    def answer(self) -> Answer:
        """Give the next."""
        return self.answers.get_nowait()


def test_helpers_and_batches_change_nothing(plan: Plan) -> None:
    """Two helpers, three images at once, scenes drawn ahead: each image as it comes alone."""
    several, single = ([Helper(plan=plan, by_kernels=False) for _ in range(n)] for n in (2, 1))
    walk = list(range(plan.count))
    batches = Feed(plan=plan, helpers=Several(several=several), device=CPU).images(walk)
    one = Several(several=single, drawers=0, together=1, ahead=1, waiting=1)
    alone = Feed(plan=plan, helpers=one, device=CPU).images(walk)
    for number, left, right in zip(walk, batches, alone, strict=True):
        assert left.number == right.number == number
        assert torch.equal(left.samples, right.samples)
        for mine, other in zip(left.labels[:5], right.labels[:5], strict=True):
            assert_array_equal(mine, other)
    assert not several[0].open_images


def test_strengths_are_those_of_numpy(plan: Plan, plan_file: Path) -> None:
    """All images are carried; a fault's index rests on its own scan, taken beside others."""
    helper, faulty = Helper(plan=plan, by_kernels=False), 0
    assert not any(isinstance(helper.prepare(index), Whole) for index in range(plan.count))
    for _, target in ScanStream(plan_file, "train", device="cpu"):
        made = item(plan, target["image_id"] - 1)
        known = [each.strength.dprime for each in made.labelled if each.strength is not None]
        # of a signal, which is a difference of float32 numbers, some 2^-20 may be lost
        assert_allclose(target["dprime"].numpy(), known, rtol=1e-5)
        faulty += len(known)
    assert faulty >= 3


def test_what_a_device_does_not_carry_is_made_without(tmp_path: Path) -> None:
    """A colour camera: numpy's own image, to the last bit."""
    path = tmp_path / "plan.toml"
    path.write_text(
        'count = 2\n[images]\nlines = 24\n[scenes]\nkind = "flat"\n'
        '[vary]\ncamera.kind = ["three-line"]\ncamera.line_spacing = ["30 um"]\n'
        "camera.pixels = [32]\n[splits]\ntrain = 1.0\n",
        "utf-8",
    )
    plan = load_plan(path)
    for image, target in ScanStream(path, "train", device="cpu"):
        known, beside = sample_of(item(plan, target["image_id"] - 1))
        assert torch.equal(image, known)
        assert torch.equal(target["masks"], beside["masks"])


def test_light_alone_shares_matrices_and_ripple_does_not() -> None:
    """What a helper has told once it does not tell again."""
    sent = {}
    for room, keys in {
        "light": {"illuminance": "32 klx:48 klx"},
        "transport": {"speed_ripple": "0.01:0.03"},
    }.items():
        plan = plan_from(
            {
                "count": 4,
                "images": {"lines": 64, "good_share": 0.0},
                "scenes": {"kind": "flat"},
                "vary": {"camera": {"pixels": 64}, room: keys},
            }
        )
        helper = Helper(plan=plan, by_kernels=False)
        found = [helper.prepare(index) for index in range(4)]
        sent[room] = [
            sum(map(len, parts))
            for parts in zip(
                *((each.across, each.along) for each in found if not isinstance(each, Whole)),
                strict=True,
            )
        ]
        # a piece on the border of its scene too, whose margin is shorter
        assert len({drawn(plan, k).piece.lacks for k in range(4)}) > 1
    # one with the lens and one without it, of all images or of each
    assert sent == {"light": [2, 2], "transport": [2, 2 * 4]}


@pytest.mark.parametrize(("workers", "device"), [(1, "cpu"), (-2, "cpu"), (4, None)])
def test_workers_are_beside_a_device_and_two_or_more(
    plan_file: Path, workers: int, device: str | None
) -> None:
    """One draws scenes, one prepares images; without a device a loader has workers of its own."""
    with pytest.raises(InputError, match=rf"^workers: read {workers}, but expected 0 .* or 2 to"):
        ScanStream(plan_file, "train", device=device, workers=workers)


@pytest.mark.nightly
def test_processes_give_what_one_gives(plan_file: Path) -> None:
    """Three of them: the same samples, bit for bit, and none is left behind."""
    one, three = (
        list(ScanStream(plan_file, "train", device="cpu", order=1, workers=workers))
        for workers in (0, 3)
    )
    for (image, target), (other, beside) in zip(one, three, strict=True):
        assert torch.equal(image, other)
        for key in ("masks", "boxes", "dprime", "visible"):
            assert torch.equal(target[key], beside[key])
