"""The job: what must be seen, how fast it runs, what may not be exceeded, what is owned already."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

from linesim.figures.demands import Demand
from linesim.setup.errors import InputError, refuse
from linesim.setup.fields import Kind, Number
from linesim.setup.infiles import toml_table
from linesim.setup.load import setup_from
from linesim.setup.setup import Setup
from linesim.setup.shown import shown
from linesim.setup.speeds import ends_of
from linesim.setup.vocabulary import LENGTH, SPEED, title_faults
from linesim.studies.batch.axis_texts import flat_keys
from linesim.studies.batch.limits import limits_of
from linesim.studies.design.catalogue import Owned, owned

EXPECTED = "a job with [job], as `linesim design --new JOB.toml` writes it"
_KEYS = ("title", "job", "limits", "have", "setup")
_NEEDS = (
    "smallest_defect",
    "defect_contrast",
    "defect_shape",
    "defect_length",
    "defect_relief",
    "detection_rate",
    "false_alarms_per_m2",
    "snr",
    "product_reflectance",
    "texture",
)
_OWN = ("field_of_view", "speed", "colour", "white_reflectance", "pixels_on_defect")
_HAVE = ("cameras", "lenses", "lamps")
_SEARCHED = {
    "job": ("transport.speed", "transport.slowest_speed", "lens.field_of_view"),
    "limits": (
        *("light.illuminance", "light.irradiance", "light.lamp_illuminance"),
        *("lens.magnification", "lens.focal_length", "lens.f_number"),
        *("camera.pixels", "camera.pixel_width", "acquisition.binning"),
    ),
}
_PIXELS = Number(what="a number of object pixels", example="3", low=0.5, high=50.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """What a station is wanted for."""

    title: str
    base: Setup  # what is settled, with the requirement; the rest of it stands in for what is free
    field_of_view_mm: float  # web that must be seen across [mm]
    speeds_mm_s: tuple[float, float]  # the slowest and the fastest [mm/s]
    colour: bool  # whether colours are to be told apart
    pixels_on_defect: float  # object pixels on the smallest defect, at least
    limits: tuple[Demand, ...]
    # none: all that the trade builds
    cameras: tuple[Owned, ...] = ()
    lenses: tuple[Owned, ...] = ()
    lamps: tuple[Owned, ...] = ()


def starter_job() -> str:
    """Give the commented job that `linesim design --new` writes, which is the built-in one too."""
    return files("linesim.studies.design").joinpath("job.toml").read_text("utf-8")


def load_job(path: str | Path) -> Job:
    """Read and check a job."""
    path = Path(path)
    return job_from(toml_table(path, key="job", expected=EXPECTED), path.parent)


def job_from(texts: Mapping[str, Any], folder: Path | None = None) -> Job:
    """Check a job given as nested mappings."""
    if "job" not in texts and {"camera", "lens"} & set(texts):
        refuse(f"job: nothing was read, and this looks like a setup file; expected {EXPECTED}")
    faults: list[str] = []
    table = _table(texts, "job", faults)
    faults += [*_unknown(texts, table), *title_faults(texts.get("title", ""))]
    field_mm = _read(table, "field_of_view", LENGTH, faults)
    fewest = _read({"pixels_on_defect": 3, **table}, "pixels_on_defect", _PIXELS, faults)
    speeds, colour = _speeds(table, faults), table.get("colour", False)
    there = _table(texts, "have", faults)
    faults += [
        f"have.{key}: read {shown(there[key])}, but what is owned stands in {', '.join(_HAVE)}"
        for key in there
        if key not in _HAVE
    ]
    base = _base(texts, table, folder or Path(), faults)
    if base is None:
        raise InputError(*faults)
    cameras, lenses, lamps = (owned(there, kind, base, faults) for kind in _HAVE)
    limits, more = limits_of(texts.get("limits", {}), base, ("cameras",))
    if faults or more:
        raise InputError(*faults, *more)
    return Job(
        title=str(texts["title"]),
        base=base,
        speeds_mm_s=speeds,
        colour=colour is True,
        limits=limits,
        field_of_view_mm=field_mm,
        pixels_on_defect=fewest,
        cameras=cameras,
        lenses=lenses,
        lamps=lamps,
    )


def _unknown(texts: Mapping[str, Any], table: Mapping[str, Any]) -> Iterator[str]:
    """Find keys that a job does not have."""
    for key in texts:
        if key not in _KEYS:
            yield f"{key}: read {shown(texts[key])}, but a job has {', '.join(_KEYS)}"
    for key in table:
        if key not in (*_OWN, *_NEEDS):
            yield (
                f"job.{key}: read {shown(table[key])}, but there is no such key; known here are "
                f"{', '.join((*_OWN, *_NEEDS))}; what else is settled stands in [setup]"
            )
    if not isinstance(table.get("colour", False), bool):
        yield f"job.colour: read {shown(table['colour'])}, but expected true or false"


def _searched(settled: Mapping[str, Any]) -> Iterator[str]:
    """Find keys of [setup] that would be overwritten."""
    places = {"job": "[job]", "limits": "a bound on it in [limits], or what you own in [have]"}
    for where, keys in _SEARCHED.items():
        for key in keys:
            if key in settled:
                yield (
                    f"setup.{key}: read {shown(settled[key])}, but design looks for this itself; "
                    f"expected {places[where]}"
                )


def _table(texts: Mapping[str, Any], name: str, faults: list[str]) -> Mapping[str, Any]:
    found = texts.get(name, {})
    if isinstance(found, Mapping):
        return found
    faults.append(f"{name}: read {shown(found)}, but expected [{name}] and its keys")
    return {}


def _read(table: Mapping[str, Any], key: str, kind: Kind, faults: list[str]) -> float:
    if key not in table:
        faults.append(
            f"job.{key}: nothing was read, but this key is needed, for example {kind.example}"
        )
        return 1.0
    try:
        return float(kind.checked(table[key], Path()))  # type: ignore[arg-type]
    except ValueError as fault:
        faults.append(f"job.{key}: {fault}")
        return 1.0


def _speeds(table: Mapping[str, Any], faults: list[str]) -> tuple[float, float]:
    """Read one speed, or the slowest and the fastest."""
    texts = ends_of(table.get("speed"))
    parts = [table] if texts is None else [{"speed": text} for text in texts]
    ends = [_read(part, "speed", SPEED, faults) for part in parts]
    return min(ends), max(ends)


def _base(
    texts: Mapping[str, Any], table: Mapping[str, Any], folder: Path, faults: list[str]
) -> Setup | None:
    """Put what is settled into a setup; numbers that are free stand in it for the time being."""
    kind = "prism" if table.get("colour") is True else "mono"
    plain: dict[str, dict[str, Any]] = {
        "target": {"image": "flat", "pixel_size": "50 um"},
        "transport": {"speed": "1 m/s"},
        "lens": {"field_of_view": "1 m"},
        "light": {"illuminance": "10 klx"},
        "camera": {"pixels": 4096, "pixel_width": "7 um", "kind": kind},
        "acquisition": {},
        "requirement": {key: table[key] for key in _NEEDS if key in table},
    }
    if "white_reflectance" in table:
        plain["target"]["white_reflectance"] = table["white_reflectance"]
    settled = flat_keys(_table(texts, "setup", faults))
    faults += _searched(settled)
    for dotted, value in settled.items():
        section, _, key = dotted.partition(".")
        plain.setdefault(section, {})[key] = value
    try:
        return setup_from({"title": str(texts.get("title", "a job")), **plain}, folder)
    except InputError as refusal:
        faults += [_as_in_job(each, settled) for each in refusal.faults]
        return None


def _as_in_job(fault: str, settled: Mapping[str, Any]) -> str:
    """Name the key of a fault as the job has it."""
    key = fault.partition(":")[0]
    if key in settled:
        return f"setup.{fault}"
    section, _, name = key.partition(".")
    own = section == "requirement" or name == "white_reflectance"
    return fault.replace(f"{section}.", "job.", 1) if own else fault
