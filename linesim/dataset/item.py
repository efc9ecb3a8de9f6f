"""
One image of a set with its labels: a pure function of plan and index.

``item(plan, k)`` gives the same alone, in any order, in any process. It writes nothing, and
takes one thread.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import cast

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from linesim.dataset.able import states
from linesim.dataset.background.insert import Expected, inserted
from linesim.dataset.background.level import product_under
from linesim.dataset.draw import Drawn, drawn
from linesim.dataset.labels.backdrop import texture_for
from linesim.dataset.labels.masks import HeldFault, Outline, apart, class_mask, outline
from linesim.dataset.labels.seen import Eye, Strength, eye
from linesim.dataset.piece.lit import Pieces, under_lamp
from linesim.dataset.piece.patched import Patched, change_between
from linesim.dataset.plan.keys import INSERT_STREAM, image_stream
from linesim.dataset.plan.plan import LabelRule, Plan
from linesim.dataset.stretch import Law, law_of
from linesim.defects.defective import grid_under
from linesim.defects.fault import Fault
from linesim.defects.kinds import Placed
from linesim.defects.labels import Footprints, Label, footprints
from linesim.forward.device.choice import dealt
from linesim.forward.device.scans import Renders, render_by
from linesim.forward.reference import ArrayReference
from linesim.forward.render import Rendered
from linesim.setup.errors import refuse

BYTE_BITS = 8
_MARGIN_PX = 32
"""Pixels of the target around a scan, for its blur to look at; beyond, the border goes on."""
SMALL, FAINT = "covers too little", "no signal left"
UNSEEN, UNDER = "not visible", "under another fault"
"""Why a fault has no label."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Instance:
    """One fault of an image."""

    placed: Placed
    area_um2: float
    cover_px: float
    strength: Strength | None
    visible: bool
    outline: Outline | None
    why: str = ""  # it has no label

    @property
    def class_id(self) -> int:
        """Number of its kind, from 0."""
        return self.placed.which.class_id


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Item:
    """An image and its labels."""

    drawn: Drawn  # station, place and faults
    split: str  # "train", "val" or "test"
    # shape (lines, width) or (lines, width, 3); samples as delivered: 12 bits stay 12 bits [DN]
    image: NDArray[np.uint8] | NDArray[np.uint16]
    # shape (lines, width); 0 where the product is good, else the class number and one
    mask: NDArray[np.uint8]
    instances: tuple[Instance, ...]  # all faults, those without a label too
    law: Law | None  # by which samples become an image to look at; none where they are the image
    # "line_rate", "link", "exposure", "clipping" -> "met", "missed" or "cannot run"
    states: Mapping[str, str]
    device: str | None = None  # what rendered it, as torch names it; None for numpy

    @property
    def full_scale_dn(self) -> int:
        """Largest sample that can be. [DN]."""
        return self.drawn.setup.full_scale_dn

    @property
    def shown(self) -> NDArray[np.uint8] | NDArray[np.uint16]:
        """The image to look at: the samples, stretched by the law."""
        return self.image if self.law is None else self.law.shown(self.image)

    @property
    def labelled(self) -> tuple[Instance, ...]:
        """The faults that have a label."""
        return tuple(each for each in self.instances if each.outline is not None)


def item(plan: Plan, index: int, device: str | None = None) -> Item:
    """Make one image of a set, on the numpy path or on a device; of several, on one in turn."""
    # a product of matrices adds in another order where it takes more threads
    with threadpool_limits(limits=1):
        return _made(plan, index, dealt(device, index))


def _made(plan: Plan, index: int, device: str | None) -> Item:
    asked, render = drawn(plan, index), render_by(device)
    picture = _in_scan if plan.scenes.real else _rendered
    pictured = picture(plan, asked, render)
    held, made = pictured.held, pictured.made
    painted = pictured.painted
    shape = made.image.shape[0], made.image.shape[1]
    found = _instances(plan, asked, held, (pictured.base, painted), made)
    labelled = [(each.outline, each.class_id + 1) for each in found if each.outline is not None]
    narrow = asked.setup.camera.bit_depth <= BYTE_BITS
    samples = made.image.astype(np.uint8) if narrow else made.image
    return Item(
        drawn=asked,
        split=plan.split(index),
        image=samples,
        mask=class_mask(labelled, shape),
        instances=found,
        law=law_of(plan, asked, samples),
        states=states(asked.setup, painted),
        device=device,
    )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Pictured:
    """An image, and the target that it is of, without its faults and with them."""

    base: Patched
    painted: Patched
    held: tuple[HeldFault, ...]
    made: Rendered


def _rendered(plan: Plan, asked: Drawn, render: Renders) -> _Pictured:
    """Render all of an image."""
    good = ArrayReference(
        data=asked.piece.cut(plan.scene(asked.scene)), pixel_size_um=plan.scenes.pixel_size_um
    )
    # what is no fault is part of the product: labels say what a fault changes on top of it
    base = Patched(base=good).with_faults(_held(good, asked.nuisances))
    held = _held(good, asked.faults)
    matt = Pieces(base=base, painted=base.with_faults(held))
    seen = under_lamp(asked.setup, matt, held)
    base, painted = seen.base, seen.painted
    made = render(asked.setup, painted, asked.lines, asked.seed, workers=1)
    return _Pictured(base=base, painted=painted, held=held, made=made)


def _in_scan(plan: Plan, asked: Drawn, render: Renders) -> _Pictured:
    """Put the faults of an image into its scan."""
    scan_dn = asked.piece.cut(plan.scene(asked.scene)).astype(np.uint16)
    if scan_dn.max() > asked.setup.full_scale_dn:
        refuse(
            f"background: {plan.scenes.name(asked.scene)} holds {scan_dn.max()} DN, but the "
            f"station delivers {asked.setup.full_scale_dn} at most; expected scans of its "
            "camera.bit_depth"
        )
    product = product_under(asked.setup, scan_dn, plan.scenes.pixel_size_um, _MARGIN_PX)
    base, held = Patched(base=product), _held(product, asked.faults)
    painted = base.with_faults(held)
    faulted_e, good_e = (
        render(asked.setup, each, asked.lines, asked.seed, workers=1).expected_e
        for each in (painted, base)
    )
    random = image_stream(plan.seed, asked.index, INSERT_STREAM)
    expected = Expected(good_e=good_e, faulted_e=faulted_e)
    image = inserted(asked.setup, scan_dn, expected, random)
    made = Rendered(image=image, expected_e=faulted_e)
    return _Pictured(base=base, painted=painted, held=held, made=made)


def _held(base: ArrayReference, placed: tuple[Placed, ...]) -> tuple[HeldFault, ...]:
    return tuple(HeldFault(fault=each.fault(), grid=grid_under(base)) for each in placed)


def _instances(
    plan: Plan,
    asked: Drawn,
    held: tuple[HeldFault, ...],
    targets: tuple[Patched, Patched],
    made: Rendered,
) -> tuple[Instance, ...]:
    if not held:
        return ()
    seen = footprints(asked.setup, targets[0], asked.lines, asked.seed)
    texture = texture_for(plan, asked.setup, asked.scene)
    observer = eye(asked.setup, targets[0], made.expected_e, asked.seed, texture)
    found = [
        _judged(plan.labels, placed, each, targets, (seen, observer))
        for placed, each in zip(asked.faults, held, strict=True)
    ]
    return without_overlap(found, (made.image.shape[0], made.image.shape[1]))


def without_overlap(found: Sequence[Instance], shape: tuple[int, int]) -> tuple[Instance, ...]:
    """
    Give each sample to the fault on top; one that lies wholly under later ones has no label.

    Parameters
    ----------
    found : sequence of Instance; in the order in which they were painted
    shape : (int, int); lines and samples of the image

    Returns
    -------
    tuple of Instance
    """
    outlines = {k: each.outline for k, each in enumerate(found) if each.outline is not None}
    left = dict(zip(outlines, apart(list(outlines.values()), shape), strict=True))
    # a label that lies wholly under later ones is none
    kept = {k: each for k, each in left.items() if each.area_px}
    return tuple(
        replace(each, outline=None, why=UNDER)
        if k in outlines and k not in kept
        else replace(each, outline=kept.get(k))
        for k, each in enumerate(found)
    )


def _judged(
    rule: LabelRule,
    placed: Placed,
    held: HeldFault,
    targets: tuple[Patched, Patched],
    sight: tuple[Footprints, Eye],
) -> Instance:
    """Label one fault, and tell how well it is seen."""
    seen, observer = sight
    labels = seen.labels(cast("Fault", held))  # its bounds and its cover are all they ask
    label = labels[0] if labels else None
    strength = None if label is None else _strength(label, held, targets, observer)
    return instance_of(rule, placed, held.fault.area_um2, (label, strength))


def instance_of(
    rule: LabelRule,
    placed: Placed,
    area_um2: float,
    seen: tuple[Label | None, Strength | None],
) -> Instance:
    """
    Put together what is known of one fault.

    Parameters
    ----------
    rule : LabelRule
    placed : Placed
    area_um2 : float; that it covers of the target [µm²]
    seen : (Label or None, Strength or None)
        Which samples it covers, and how well it is seen; None where the scan misses it.

    Returns
    -------
    Instance
    """
    label, strength = seen
    cover_px = 0.0 if label is None else float(label.mask.sum(dtype=np.float64))
    visible = (
        strength is not None
        and strength.dprime >= rule.least_dprime
        and strength.cnr >= rule.least_cnr
    )
    why = _why_not(rule, cover_px, strength, visible=visible)
    return Instance(
        placed=placed,
        area_um2=area_um2,
        cover_px=cover_px,
        strength=strength,
        visible=visible,
        outline=outline(label, rule.threshold) if label is not None and not why else None,
        why=why,
    )


def _why_not(rule: LabelRule, cover_px: float, strength: Strength | None, *, visible: bool) -> str:
    """Say why a fault has no label; nothing where it has one."""
    if strength is None or cover_px < rule.least_cover_px:
        return SMALL
    if strength.camera_dprime < rule.least_camera_dprime:
        return FAINT
    return UNSEEN if rule.only_visible and not visible else ""


def _strength(
    label: Label, held: HeldFault, targets: tuple[Patched, Patched], observer: Eye
) -> Strength:
    lines, columns = label.mask.shape
    first = label.first_line, label.first_column
    return observer.strength(
        change_between(*targets, held.bounds),
        (*first, first[0] + lines, first[1] + columns),
        label.mask,
    )
