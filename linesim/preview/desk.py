"""One preview: the setup it starts from, the images brought to it, and what it has seen."""

from collections.abc import Callable, Hashable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import PurePath
from threading import Event
from typing import Any

from linesim.figures.budget import budget_on
from linesim.figures.safety import MACHINERY
from linesim.figures.verdicts import Verdict
from linesim.forward.station import station
from linesim.preview.answer import Judged, packed, picture, quick_words, raster, words
from linesim.preview.control_kinds import Slider
from linesim.preview.controls import controls
from linesim.preview.frame import Optics, Task, optical_key
from linesim.preview.latest import SupersededError
from linesim.preview.marks import spans
from linesim.preview.put_in import can_be_put_in, places_on, with_defects
from linesim.preview.references import Ready, References
from linesim.preview.uploads import Uploads
from linesim.preview.variant import Variant, variant
from linesim.preview.window import Part, Visible, part, visible
from linesim.setup.channels import COLOURS
from linesim.setup.errors import InputError, refuse
from linesim.setup.relations import BUILT_IN
from linesim.setup.resolve import resolved_text
from linesim.setup.setup import Setup
from linesim.setup.shown import visible as printable
from linesim.targets.load import target_size

THREADS = 4
"""Pictures that are worked on at once: two panes while they move, and what is not yet let go."""
_PATIENCE_S = 0.1
_MOST_SEED = 2**63 - 1
_THERE = (
    "# File names in here are seen from the folder of the setup that the preview was started\n"
    "# with: save this there.\n"
)
_BESIDE = "# Put the image {name} beside this file.\n"


class Desk:
    """What one preview works on; several threads may ask it for pictures."""

    def __init__(self, base: Setup, name: str, workers: int | None = None) -> None:
        self.base = base
        self.name = name
        self.uploads = Uploads()
        self.references = References()
        self._pool = ThreadPoolExecutor(workers or 2 * THREADS, thread_name_prefix="strips")
        self._optics = Optics(self._pool)
        self._requests = 0
        self.is_ending: Callable[[], bool] = lambda: False
        """Tells whether the server is to stop, so that what is under way ends."""

    def start(self) -> dict[str, Any]:
        """Tell the page what there is to move."""
        return {
            "title": self.base.title,
            "name": self.name,
            "controls": [each.described(self.base) for each in controls(self.base)],
            "targets": list(BUILT_IN),
            "own_target": PurePath(self.base.target.image).name,
            "uploads": self.uploads.names(),
            "machinery": MACHINERY,
        }

    def variant(self, ask: Mapping[str, Any]) -> Variant:
        """Give the setup that the page has; an ``InputError`` says what is wrong with it."""
        changes = ask.get("changes", {})
        if not isinstance(changes, Mapping):
            refuse("changes: expected a table of controls and their values")
        return variant(self.base, changes, self.uploads)

    def answer(self, ask: Mapping[str, Any], stop: Event | None = None) -> bytes:
        """Answer one request for figures and a picture, refusals included."""
        self._requests += 1
        number = ask.get("number")
        fields: dict[str, Any] = {"number": number if isinstance(number, int) else 0}
        try:
            return self._seen(ask, fields, stop or Event())
        except InputError as refusal:
            faults = [printable(fault) for fault in refusal.faults]
            return packed({**fields, "faults": faults}, None, None)

    def _seen(self, ask: Mapping[str, Any], fields: dict[str, Any], stop: Event) -> bytes:
        found, seed, coarse = self.variant(ask), seed_of(ask), ask.get("coarse") is True
        ready = self.references.get(found, _PATIENCE_S)
        if ready is None:
            # an image file's size is known once it has been read
            drawn = found.setup.target.image in BUILT_IN
            known = words(judged(found, None)) if drawn else {}
            return packed({**fields, **known, "waiting": True}, None, None)
        judgement = judged(found, ready)
        fields["put_in"] = []
        if ask.get("put_in") is True and can_be_put_in(found.setup):
            places = places_on(ready, _sides_mm(judgement))
            fields["put_in"] = places
            ready = with_defects(ready, found.setup, places)
        window = None if ask.get("window") is None else visible(ask["window"])
        place = _part(judgement, window, coarse=coarse)
        side = _coarse_side(judgement, place, ready) if place.step > 1 else 1
        reference, key = self.references.coarser(ready, side)
        task = Task(
            setup=found.setup,
            reference=reference,
            target=key,
            lines=int(judgement.budget.number("geometry", "image_lines")),
            part=place,
            seed=seed,
            quick=coarse,
            stop=stop,
        )
        frame = self._optics.frame(task)
        fields |= (quick_words if coarse else words)(judgement) | {
            "coarse": coarse,
            "raster": raster(judgement, ready.size, ready.reference.pixel_size_um),
            "picture": picture(judgement, frame, seed, len(fields["put_in"])),
            "optical": _name((optical_key(found.setup, seed), ready.key, place)),
        }
        return packed(fields, frame, ask.get("have"))

    def written(self, ask: Mapping[str, Any]) -> str:
        """Write the setup that the page has, as TOML."""
        found = self.variant(ask)
        head = "" if found.upload is None else _BESIDE.format(name=found.upload.name)
        if _names_files(found):
            head += _THERE
        return head + resolved_text(found.setup, found.setup.folder)

    def marks(self, ask: Mapping[str, Any]) -> dict[str, Any]:
        """Tell where along a slider all is met; pictures go first, and end it."""
        requests = self._requests
        sliders = (each for each in controls(self.base) if isinstance(each, Slider))
        slider = next((each for each in sliders if each.key == ask.get("key")), None)
        changes = ask.get("changes", {})
        if slider is None or not isinstance(changes, Mapping):
            refuse("key: expected the key of a slider, and changes beside it")

        def verdicts(value: float) -> Sequence[Verdict] | None:
            if self._requests != requests or self.is_ending():
                raise SupersededError
            moved = {**changes, slider.key: f"{value:.6g} {slider.unit}" if slider.unit else value}
            try:
                found = self.variant({"changes": moved})
                ready = self.references.get(found, 0.0)
                # an image file's size is known once it has been read
                drawn = ready is not None or found.setup.target.image in BUILT_IN
                return judged(found, ready).budget.verdicts if drawn else None
            except InputError:
                return None

        try:
            return {"key": slider.key, **spans(slider, verdicts)}
        except SupersededError:
            return {"late": True}

    def close(self) -> None:
        """Let all threads end."""
        self.references.close()
        self._pool.shutdown(wait=False, cancel_futures=True)


def seed_of(ask: Mapping[str, Any]) -> int:
    """Read the seed of a request."""
    seed = ask.get("seed", 0)
    if isinstance(seed, bool) or not isinstance(seed, int) or not 0 <= seed <= _MOST_SEED:
        refuse(f"seed: read {str(seed)[:40]}; expected a whole number from 0 up")
    return seed


def judged(found: Variant, ready: Ready | None) -> Judged:
    """Work out the figures of what the page has."""
    size = target_size(found.setup) if ready is None else ready.size
    return Judged(
        setup=found.setup, numbers=station(found.setup), budget=budget_on(found.setup, size)
    )


def _names_files(found: Variant) -> bool:
    """Tell whether the setup needs files that lie where it does."""
    texts = found.setup.texts
    curves = (texts["light"]["spectrum"], texts["camera"].get("quantum_efficiency"))
    image = found.upload is None and found.setup.target.image not in BUILT_IN
    return image or any(str(each).lower().endswith(".csv") for each in curves)


def _sides_mm(judgement: Judged) -> tuple[float, float]:
    """Give width and length of the scan."""
    place = judgement.budget["geometry"]
    along_mm = float(place["line_advance_um"]) / 1000
    return float(place["field_of_view_mm"]), int(place["image_lines"]) * along_mm


def _part(judgement: Judged, seen: Visible | None, *, coarse: bool) -> Part:
    if seen is None:
        wide_mm, tall_mm = _sides_mm(judgement)
        seen = Visible(left_mm=-wide_mm / 2, top_mm=0.0, width_mm=wide_mm, height_mm=tall_mm)
    mono = judgement.setup.camera.kind == "mono"
    lines = int(judgement.budget.number("geometry", "image_lines"))
    colours = 1 if mono else len(COLOURS)
    return part(judgement.numbers, lines, seen, colours, coarse=coarse)


def _coarse_side(judgement: Judged, place: Part, ready: Ready) -> int:
    """Choose squares of the target half as large as the way from one picked sample to the next."""
    setup, numbers = judgement.setup, judgement.numbers
    between_um = place.step * min(
        float(numbers.geometry.object_pixel_x_um), float(numbers.timing.line_advance_um)
    )
    side = max(1, int(between_um / ready.reference.pixel_size_um / 2))
    ragged = any(size % side for size in ready.reference.shape[:2])
    # what repeats must do so after as long as before
    return 1 if setup.target.repeat and ragged else side


def _name(key: Hashable) -> str:
    return f"{hash(key) & (2**64 - 1):016x}"
