"""A setup told in sentences: what runs, how it is looked at, and what must be found."""

from collections.abc import Iterator, Mapping
from pathlib import PurePath

from linesim.figures.plain_numbers import alarms, digits, percent
from linesim.forward.station import Station, station
from linesim.report.side_view import LampView, side_view_of
from linesim.setup.product import LONG_RELIEF, TARGET, ReliefNeed
from linesim.setup.relations import BUILT_IN
from linesim.setup.setup import Setup

_KINDS = {
    "mono": "A monochrome line camera",
    "three-line": "A colour camera with three rows",
    "prism": "A prism colour camera with a sensor a colour",
}
_DEFECTS = {
    "disc": "spots {width} across",
    "scratch-along": "scratches along travel, {width} wide",
    "scratch-across": "scratches across travel, {width} wide",
}
_FULL = 0.9995
"""Share of the line period from which on an exposure is called all of it."""
_SAME = 0.005
_LONG = 13


def _target(setup: Setup) -> str:
    target, transport = setup.texts["target"], setup.texts["transport"]
    image = setup.target.image
    what = f'The built-in target "{image}"' if image in BUILT_IN else f"{PurePath(image).name}"
    believed = transport.get("assumed_speed")
    clock = f", while the line clock believes {believed}" if believed else ""
    slowest = transport.get("slowest_speed")
    speeds = f"{slowest} to {transport['speed']} (pictured at the latter)" if slowest else ""
    again = ", repeated without end," if setup.target.repeat else ""
    return (
        f"{what}{again} passes at {speeds or transport['speed']}{clock}; each pixel of its image "
        f"stands for {target['pixel_size']}."
    )


def _camera(setup: Setup, numbers: Station) -> str:
    camera, place = setup.texts["camera"], numbers.geometry
    rows = f" {camera['line_spacing']} apart" if setup.camera.kind == "three-line" else ""
    stages = setup.camera.tdi_stages
    delay = f" and {stages} stages of time-delay integration" if stages > 1 else ""
    size = f"{setup.camera.pixel_width_um:g} um x {setup.pixel_height_um:g} um"
    return (
        f"{_KINDS[setup.camera.kind]}{rows}, with {setup.camera.pixels} pixels of {size}{delay}, "
        f"looks at {float(place.field_of_view_mm):.4g} mm of it through a lens of "
        f"f/{setup.lens.f_number:g} at a magnification of {setup.magnification:.4g}."
    )


def _binning(setup: Setup) -> str:
    binning, acquisition = setup.acquisition.binning, setup.acquisition
    if binning.across * binning.along == 1:
        return "No binning."
    how = (
        "in charge, before the read"
        if acquisition.binning_domain == "charge"
        else f"in digital, {'averaged' if acquisition.binning_mode == 'average' else 'summed'}"
    )
    lines = "successive lines" if acquisition.binning_along == "lines" else "rows"
    along = f" ({lines} along travel)" if binning.along > 1 else ""
    return f"Binned {binning.across} x {binning.along}{along}, {how}."


def _rate(setup: Setup, numbers: Station) -> str:
    place, when = numbers.geometry, numbers.timing
    rate = setup.acquisition.line_rate
    chosen = f" ({rate})" if isinstance(rate, str) else ""
    trigger = "an encoder" if setup.transport.trigger == "encoder" else "a clock"
    duty = float(when.duty)
    part = "all" if _FULL < duty < 1 + _SAME else percent(duty, 2)
    return (
        f"On {trigger}, {digits(float(when.line_rate_hz), 5)} lines a second{chosen}, one "
        f"every {float(when.line_advance_um):.4g} um of travel; each is exposed for "
        f"{digits(float(when.exposure_us), 4)} us, {part} of its period. A delivered pixel covers "
        f"{float(place.object_pixel_x_um):.4g} um x {float(place.object_pixel_y_um):.4g} um."
    )


def lux_words(setup: Setup) -> str:
    """Give the illuminance as written, but for one with the digits of a computer, or of lamps."""
    if len(setup.lights) > 1:
        count = ("two", "three", "four")[len(setup.lights) - 2]
        all_lx = setup.irradiance_w_m2 / setup.light.spectrum.irradiance_w_m2(1.0)
        return f"{digits(all_lx, 4)} lx from {count} lamps"
    if setup.light.lamp_illuminance_lx is not None:
        there_lx = setup.light.lamp_illuminance_lx * setup.light.mounted_share
        return f"{digits(there_lx, 4)} lx from a lamp of {setup.texts['light']['lamp_illuminance']}"
    text, lux = str(setup.texts["light"]["illuminance"]), setup.light.illuminance_lx
    return text if len(text) < _LONG else f"{digits(lux or 0.0, 4)} lx"


def is_in_lux(setup: Setup) -> bool:
    """Tell whether all lights are given as the eye sees them."""
    return all(each.irradiance_w_m2 is None for each in setup.lights)


def _spectrum(setup: Setup) -> str:
    """Name the light, with the range that its watts are counted over where its name has none."""
    light = setup.light.spectrum
    if isinstance(setup.texts["light"]["spectrum"], Mapping):
        return light.name
    return "{} ({:g}-{:g} nm)".format(light.name, *light.wavelength_nm[[0, -1]])


def _light(setup: Setup, numbers: Station) -> str:
    light = setup.texts["light"]
    watts = f"{digits(float(numbers.irradiance_w_m2), 4)} W/m²"
    asked = f"{lux_words(setup)}, {watts}," if is_in_lux(setup) else watts
    ambient = f", {light['ambient']} of other light" if setup.ambient_w_m2 > 0 else ""
    return (
        f"The light at the target is {asked} of {_spectrum(setup)}{ambient}; white reflects "
        f"{percent(setup.target.white_reflectance, 2)} of it.{_place(setup)}"
    )


def _place(setup: Setup) -> str:
    """Say where lamps stand, against where the face mirrors the camera's view."""
    view = side_view_of(setup)
    return "".join(
        _placed(setup, lamp, bright=view.is_bright(lamp), edge=view.is_at_edge(lamp))
        for lamp in view.lamps
    )


def _placed(setup: Setup, lamp: LampView, *, bright: bool, edge: bool) -> str:
    wide = f"{lamp.angular_width_deg:.4g} deg wide"
    strip = f"a strip {lamp.angle_deg:.4g} deg from the normal and {wide}"
    if lamp.behind:
        where = "its edge in" if edge else "in" if bright else "beside"
        sight = f"{where} the camera's line of sight"
        return f" The light stands behind the target: {strip}, {sight}."
    field = "between bright and dark" if edge else "bright" if bright else "dark"
    what = "The light is" if len(setup.lights) == 1 else "A light is"
    return (
        f" {what} {strip}; the camera stands at {setup.camera.angle_deg or 0.0:g} deg on the other "
        f"side: {field} field."
    )


def _faults(setup: Setup) -> str:
    moves, texts = setup.transport, setup.texts["transport"]
    light, lamp = setup.light, setup.texts["light"]
    turns = texts["ripple_frequency"]
    known = (
        (moves.speed_ripple, f"a speed ripple of {percent(moves.speed_ripple)} at {turns}"),
        (moves.line_jitter_um, f"a line jitter of {texts['line_jitter']} rms"),
        (moves.encoder_turn_error_um, f"an encoder error of {texts['encoder_turn_error']} a turn"),
        (setup.missed_counts, f"a loss of {setup.missed_counts:.2g} of the encoder's counts"),
        (abs(moves.skew_deg), f"a skew of {texts['skew']}"),
        (moves.lateral_wander_um, f"a lateral wander of {texts['lateral_wander']}"),
        (moves.flutter_mm, f"a flutter of {texts['flutter']}"),
        (light.flicker, f"a flicker of {percent(light.flicker)} at {lamp['flicker_frequency']}"),
        (light.edge_falloff, f"a loss of {percent(light.edge_falloff)} of the light at the ends"),
        (_defocus_mm(setup), f"a defocus of {_over_field(setup.texts['lens']['defocus'])}"),
    )  # fmt: skip
    acting = [words for size, words in known if size > 0]
    acting += [f"{name} of {_written(each)}" for name, each in _of_parts(setup)]
    if not acting:
        return "No fault of transport, light, lens or sensor is switched on."
    return f"Faults that are switched on: {', '.join(acting)}."


_LENS_FAULTS = {
    "relative_illumination": "a relative illumination",
    "distortion": "a distortion",
    "axial_colour": "an axial colour",
    "lateral_colour": "a lateral colour",
}
_SENSOR_FAULTS = {
    "registration": "a registration of sensors",
    "line_noise": "a line noise",
    "crosstalk": "a crosstalk",
    "lag": "a lag",
    "charge_transfer_inefficiency": "a charge transfer inefficiency",
    "linearity_error": "a linearity error",
    "taps": "taps",
    "column_waves": "waves over the columns",
}


def _of_parts(setup: Setup) -> Iterator[tuple[str, object]]:
    """Give what the setup says of lens and sensor beyond the ideal, as written."""
    blur = setup.texts["lens"]["blur"]
    if isinstance(blur, list) or str(blur).lower().endswith(".csv"):
        yield "a blur", blur
    for section, names in (("lens", _LENS_FAULTS), ("camera", _SENSOR_FAULTS)):
        table = setup.texts[section]
        yield from ((name, table[key]) for key, name in names.items() if key in table)


def _written(text: object) -> str:
    """Say a value as it stands in the file, a table by its parts."""
    if isinstance(text, Mapping):
        return ", ".join(f"{key} {_written(value)}" for key, value in text.items())
    return _over_field(text) if isinstance(text, list) else str(text)


def _defocus_mm(setup: Setup) -> float:
    given = setup.lens.defocus_mm
    return abs(given) if isinstance(given, float) else max(map(abs, given.values))


def _over_field(text: object) -> str:
    """Name values over the field of the lens, as written."""
    return f"{', '.join(map(str, text))} over the field" if isinstance(text, list) else str(text)


def _texture(given: object) -> str:
    """Name where the texture comes from, as written."""
    if isinstance(given, Mapping):
        return f"{given['rms']} rms over {given['correlation']}"
    return "as measured on the target" if given == TARGET else f"as measured on {given}"


def _need(setup: Setup) -> str:
    need, texts = setup.requirement, setup.texts["requirement"]
    asked = list(_defects(setup))
    if need.snr is not None:
        asked.append(f"a signal to noise ratio of {digits(need.snr, 6)} on the product")
    if need.texture is not None and asked:
        asked.append(f"all that with the product's texture counted, {_texture(texts['texture'])}")
    return f"Required: {'; '.join(asked)}." if asked else "Nothing is required of it."


def _defects(setup: Setup) -> Iterator[str]:
    need, texts = setup.requirement, setup.texts["requirement"]
    if need.defect_relief is not None:
        yield _relief(need.defect_relief, texts["defect_relief"])
    elif need.smallest_defect_um is not None:
        shape = _DEFECTS[need.defect_shape].format(width=texts["smallest_defect"])
        yield f"{shape} that are {percent(need.defect_contrast)} darker than the product"
    if need.detection_rate is not None:
        yield f"{digits(100 * need.detection_rate, 6)} % of them"
    if need.false_alarms_per_m2 is not None:
        yield f"false alarms no more than {alarms(need.false_alarms_per_m2)}"


def _relief(need: ReliefNeed, texts: Mapping[str, object]) -> str:
    """Say what a fault with relief is; how it shows is no part of what is asked."""
    lies = f" {need.direction} travel" if need.kind in LONG_RELIEF else ""
    size = f"{texts['width']} wide and {texts['depth']} {'high' if need.raised else 'deep'}"
    return f"{need.kind}s{lies}, {size}"


def job_in_words(setup: Setup) -> tuple[str, ...]:
    """Tell a setup in sentences."""
    numbers = station(setup)
    return (
        " ".join((_target(setup), _camera(setup, numbers), _binning(setup))),
        " ".join((_rate(setup, numbers), _light(setup, numbers), _faults(setup))),
        _need(setup),
    )
