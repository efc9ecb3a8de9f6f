"""
The setup's own figures that follow from those of a data sheet.

Read noise, where the sheet has a dynamic range: ``dynamic_range`` is taken as most sheets mean it,
full well over read noise. ``dynamic_range_1288`` is saturation over the absolute sensitivity
threshold, at which the signal is as large as its noise, shot noise included: with the threshold
μ = ½ + √(σ² + ¼), the read noise is √(μ² − μ − 1/(12 K²)) electrons; the last term is rounding's.
The first is larger, by 3 % at 15 e and by 40 % at 2 e.

Quantum efficiency, where it has a responsivity R: in DN for each photon, R = K η; in DN for the
energy on an area, with E A λ/(hc) photons on the area A of a pixel, R = K η A λ/(hc); as a current
for a power, R = η q λ/(hc).

Read noise in DN is that of numbers, rounding included, which is worked out apart here and so taken
off, σ_d = √(σ_y² − 1/12)/K; under 0.49 DN rounding hides it. Fixed patterns and the noise of whole
lines are means over many numbers, of which rounding has gone: they are divided by K as they stand.

References
----------
EMVA 1288 R4.0 RC (March 2021): photons of an irradiance, eq. 3; linear response, eq. 5 and 6;
sensitivity threshold, eq. 26; dynamic range, eq. 28; dark noise, eq. 53 and 54; DSNU, eq. 66.
BIPM, SI Brochure, 9th ed., 2019: h, c and the elementary charge, all exact. A T-number is N over
the root of the transmission (common practice, no source).
"""

from collections.abc import Callable
from dataclasses import replace
from math import sqrt
from typing import Any

from linesim.setup.channels import ByChannel
from linesim.setup.kinds import EfficiencyCurve
from linesim.setup.light.spectra import PHOTONS_PER_J_NM
from linesim.setup.setup import Setup
from linesim.setup.sheet.agree import apart, rounding
from linesim.setup.sheet.points import Point
from linesim.setup.sheet.responsivity import CURRENT, PHOTON
from linesim.setup.sheet.stated import InNumbers, TNumber
from linesim.setup.shown import shown

CHARGE_C = 1.602176634e-19
_UM2_A_M2 = 1e12
_ROUNDING_DN2 = 1 / 12
_HIDDEN_DN = 0.49
_MOST_E = 1e9

Values = dict[str, Any]
"""Field of a section -> value."""


class _UnfitError(ValueError):
    """A figure that cannot be; its text is the middle of a sentence."""


def understood(setup: Setup, faulty: frozenset[str]) -> tuple[Setup, tuple[str, ...]]:
    """Put plain numbers in the place of a data sheet's, and a sentence for each fault."""
    if not faulty.isdisjoint(("camera", "lens")):
        return setup, ()
    faults: list[str] = []
    camera = {**_noises(setup, faults), **_range(setup, faults), **_responsivity(setup, faults)}
    lens = _transmission(setup, faults)
    if not camera and not lens:
        return setup, ()
    sections = setup.sections.model_copy(
        update={
            "camera": setup.camera.model_copy(update=camera),
            "lens": setup.lens.model_copy(update=lens),
        }
    )
    # what hangs on a refused key says nothing that holds
    hung = any(key.startswith(("camera.", "lens.", "acquisition.")) for key in faulty)
    return replace(setup, sections=sections), () if hung else tuple(faults)


def read_noise_e(setup: Setup) -> float:
    """Give the read noise that the dynamic range of a setup means."""
    simple_db, exact_db = setup.camera.dynamic_range_db, setup.camera.dynamic_range_1288_db
    if simple_db is not None:
        return setup.camera.full_well_e / float(10 ** (simple_db / 20))
    threshold_e = setup.camera.full_well_e / float(10 ** ((exact_db or 0.0) / 20))
    rest_e2 = threshold_e**2 - threshold_e - _ROUNDING_DN2 / setup.gain_dn_e**2
    if rest_e2 < 0:
        msg = (
            f"of {setup.camera.full_well_e:g} e that is a threshold of {threshold_e:.3g} e, which "
            "shot noise and rounding alone exceed; expected less, or camera.dynamic_range where "
            "the sheet means full well over read noise"
        )
        raise _UnfitError(msg)
    return sqrt(rest_e2)


def efficiency_of(stated: Point, setup: Setup) -> float:
    """Give the quantum efficiency that a responsivity means, by the setup's gain and pixel."""
    photons_per_joule = stated.wavelength_nm * PHOTONS_PER_J_NM
    response, unit = stated.value
    if unit == CURRENT:
        return float(response / (CHARGE_C * photons_per_joule))
    if unit == PHOTON:
        return float(response / setup.gain_dn_e)
    area_m2 = setup.camera.pixel_width_um * setup.pixel_height_um / _UM2_A_M2
    return float(response / (setup.gain_dn_e * area_m2 * photons_per_joule))


def _noises(setup: Setup, faults: list[str]) -> Values:
    found: Values = {}
    for key in ("read_noise", "dsnu", "line_noise"):
        given = getattr(setup.camera, f"{key}_e")
        if not isinstance(given, InNumbers):
            continue
        dn2 = given.value_dn**2 - (_ROUNDING_DN2 if key == "read_noise" and given.value_dn else 0)
        found[f"{key}_e"] = sqrt(max(dn2, 0.0)) / setup.gain_dn_e
        if key == "read_noise" and 0 < given.value_dn < _HIDDEN_DN:
            fault = f"under {_HIDDEN_DN} DN rounding hides it; expected electrons"
        elif found[f"{key}_e"] > _MOST_E:
            fault = f"by the gain of {setup.gain_dn_e:.4g} DN/e that is over {_MOST_E:g} e"
        else:
            continue
        faults.append(f"{_read(setup, key)}, but {fault}")
    return found


def _range(setup: Setup, faults: list[str]) -> Values:
    """Take the read noise out of the dynamic range, and hold it against one that is given too."""
    texts = setup.texts["camera"]
    key = next((key for key in ("dynamic_range", "dynamic_range_1288") if key in texts), "")
    if not key or getattr(setup.camera, f"{key}_db") is None:
        return {}
    done: Values = {"dynamic_range_db": None, "dynamic_range_1288_db": None}
    try:
        means_e = read_noise_e(setup)
    except _UnfitError as fault:
        faults.append(f"camera.{key}: read {shown(texts[key])}, but {fault}")
        return done
    if "read_noise" not in texts:
        return {**done, "read_noise_e": means_e}
    stated_e = _noises(setup, []).get("read_noise_e", setup.camera.read_noise_e)
    within = rounding(texts, "full_well", key, "read_noise", "gain")
    if apart(stated_e, means_e, within):
        faults.append(
            f"camera.read_noise: read {shown(texts['read_noise'])}, but camera.full_well "
            f"{shown(texts['full_well'])} and camera.{key} {shown(texts[key])} give "
            f"{means_e:.3g} e; leave one of them out"
        )
    return done


def _responsivity(setup: Setup, faults: list[str]) -> Values:
    """Take the quantum efficiency out of the responsivity, and hold it against a given one."""
    if setup.camera.responsivity is None:
        return {}
    done: Values = {"responsivity": None}
    means = _each(setup.camera.responsivity, lambda points: _efficiency(points, setup))
    if fault := _impossible(setup, means):
        faults.append(f"{_read(setup, 'responsivity')}, but {fault}")
        return done
    if "quantum_efficiency" not in setup.texts["camera"]:
        return {**done, "quantum_efficiency": means}
    if fault := _contradicted(setup, means):
        faults.append(f"{_read(setup, 'quantum_efficiency')}, but {fault}")
    return done


def _read(setup: Setup, key: str) -> str:
    return f"camera.{key}: read {shown(setup.texts['camera'][key])}"


def _impossible(setup: Setup, means: Any) -> str:  # noqa: ANN401 -- one or one a colour
    """Say what no sensor can have; nothing where all is well."""
    camera = setup.camera
    if camera.tdi_stages > 1 and _any_in_numbers(camera.responsivity):
        return (
            "in DN this is that of all stages of time-delay integration together; expected "
            "camera.quantum_efficiency"
        )
    most = max(
        max(each.value) if isinstance(each, EfficiencyCurve) else each
        for each in (means if isinstance(means, ByChannel) else (means,))
    )
    if most <= 1:
        return ""
    return (
        f"with a gain of {setup.gain_dn_e:.4g} DN/e and pixels of {camera.pixel_width_um:g} um x "
        f"{setup.pixel_height_um:g} um that is a quantum efficiency of {most:.3g}; expected at "
        "most 1: are gain and bit depth those of the sheet?"
    )


def _contradicted(setup: Setup, means: Any) -> str:  # noqa: ANN401 -- one or one a colour
    """Say how a quantum efficiency differs from a responsivity; nothing where they agree."""
    stated, texts = setup.camera.quantum_efficiency, setup.texts["camera"]
    if not isinstance(stated, float) or not isinstance(means, float):
        return "camera.responsivity is given too; leave one of the two out"
    if not apart(stated, means, rounding(texts, "responsivity", "quantum_efficiency", "gain")):
        return ""
    return (
        f"camera.responsivity {shown(texts['responsivity'])} gives {means:.3g}; leave one of the "
        "two out"
    )


def _each(given: Any, of: Callable[[tuple[Point, ...]], Any]) -> Any:  # noqa: ANN401 -- one or one a colour
    return ByChannel(*map(of, given)) if isinstance(given, ByChannel) else of(given)


def _any_in_numbers(given: Any) -> bool:  # noqa: ANN401 -- one or one a colour
    found = given if isinstance(given, ByChannel) else (given,)
    return any(point.value.unit != CURRENT for points in found for point in points)


def _efficiency(points: tuple[Point, ...], setup: Setup) -> float | EfficiencyCurve:
    """Give one value for all wavelengths where it is stated at one, else a curve."""
    means = [Point(each.wavelength_nm, efficiency_of(each, setup)) for each in points]
    return means[0].value if len(means) == 1 else EfficiencyCurve.through(means)


def _transmission(setup: Setup, faults: list[str]) -> Values:
    given: object = setup.lens.transmission
    if not isinstance(given, TNumber):
        return {}
    share = (setup.lens.f_number / given.t_number) ** 2
    if share > 1:
        faults.append(
            f"lens.transmission: read {shown(setup.texts['lens']['transmission'])}, but this is "
            f"less than lens.f_number {setup.lens.f_number:g}, so that more light would come out "
            "than goes in; expected at least the f-number"
        )
    return {"transmission": min(share, 1.0)}
