"""What the keys of sensor, binning and faults demand of one another."""

from collections.abc import Iterator

from linesim.setup.channels import ByChannel
from linesim.setup.rows import best_run, pixel_shapes
from linesim.setup.setup import Setup
from linesim.setup.shown import shown


def _text(setup: Setup, dotted: str) -> str:
    section, key = dotted.split(".")
    return shown(setup.texts[section].get(key))


def rows_make_the_pixel(setup: Setup) -> Iterator[str]:
    """Find a shape of pixel that the rows of the sensor cannot make."""
    camera, binning = setup.camera, setup.acquisition.binning
    heights_um = setup.row_heights_um
    if camera.rows is not None and camera.rows != len(heights_um):
        yield (
            f"camera.rows: read {camera.rows}, but camera.row_heights has {len(heights_um)}; "
            "expected the same number, or one of the two left out"
        )
    count = best_run(heights_um, setup.pixel_height_um)[1]
    shapes = pixel_shapes(camera.pixel_width_um, heights_um, max(2, binning.across))
    offered = ", ".join(f"{width:g} x {height:g}" for width, height in shapes)
    if count == 0:
        yield (
            f"acquisition.row_height: read {_text(setup, 'acquisition.row_height')}, but no row of "
            f"the sensor has that height; expected a height that makes one of {offered} um"
        )
    elif count < setup.rows_read:
        yield (
            f'acquisition.binning: read "{binning}", but the sensor has only {count} neighbouring '
            f"row{'s' if count > 1 else ''} of {setup.pixel_height_um:g} um; expected one of the "
            f"pixels that its rows can make: {offered} um, or more rows"
        )
    if binning.across > camera.pixels:
        yield (
            f'acquisition.binning: read "{binning}", but camera.pixels is {camera.pixels}; '
            "expected at most that many across"
        )


def _taps_have_columns(setup: Setup) -> Iterator[str]:
    """Find more taps than columns to be read."""
    taps = setup.camera.taps
    columns = setup.camera.pixels // setup.acquisition.binning.across
    if taps is not None and taps.number > columns:
        yield (
            f"camera.taps: read {_text(setup, 'camera.taps')}, but a line has only {columns} "
            "samples; expected at most one tap for each"
        )


def binning_is_possible(setup: Setup) -> Iterator[str]:
    """Find a way of binning that its domain does not have."""
    acquisition = setup.acquisition
    if acquisition.binning == (1, 1) or acquisition.binning_domain == "digital":
        return
    if acquisition.binning_mode == "average":
        yield (
            'acquisition.binning_mode: read "average", but charge can only be summed; expected '
            '"sum", or binning_domain = "digital"'
        )
    if acquisition.binning_along == "lines" and acquisition.binning.along > 1:
        yield (
            'acquisition.binning_along: read "lines", but successive lines are joined as numbers '
            'only; expected "rows", or binning_domain = "digital"'
        )


SENSOR_KEYS = (
    "camera.tdi_stages",
    "camera.taps",
    "camera.pixels",
    "camera.lag",
    "camera.charge_transfer_inefficiency",
    "acquisition.binning",
    "light.multiplexed",
    "light.turn",
)
"""What `sensor_holds_together` looks at."""


def sensor_holds_together(setup: Setup) -> Iterator[str]:
    """Find faults and stages of the sensor that cannot go with the rest of it."""
    yield from _stages_are_possible(setup)
    yield from _taps_have_columns(setup)
    yield from _charge_stays_where_it_can(setup)


def _charge_stays_where_it_can(setup: Setup) -> Iterator[str]:
    camera, loss = setup.camera, "camera.charge_transfer_inefficiency"
    if camera.charge_transfer_inefficiency > 0 and camera.tdi_stages == 1:
        yield (
            f"{loss}: read {_text(setup, loss)}, but only stages of time-delay integration move "
            "charge from line to line; expected more than 1 of camera.tdi_stages, or none of it"
        )
    if camera.lag > 0 and camera.tdi_stages > 1:
        yield (
            f"camera.lag: read {_text(setup, 'camera.lag')}, but what stages of time-delay "
            f"integration leave behind is {loss}; leave camera.lag out"
        )
    if camera.lag > 0 and (setup.light.multiplexed or setup.turn.lights > 1):
        yield (
            f"camera.lag: read {_text(setup, 'camera.lag')}, but with lights that shine in turn it "
            "carries one picture into the next, which are worked out apart here; leave one out"
        )


def _stages_are_possible(setup: Setup) -> Iterator[str]:
    """Find what cannot go with time-delay integration here."""
    camera, acquisition = setup.camera, setup.acquisition
    if camera.tdi_stages == 1:
        return
    if acquisition.binning_along == "lines" and acquisition.binning.along > 1:
        yield (
            f"camera.tdi_stages: read {camera.tdi_stages}, but this cannot be joined with binning "
            'of successive lines; expected binning_along = "rows", or 1 stage'
        )
    if camera.row_heights_um is not None:
        yield (
            f"camera.tdi_stages: read {camera.tdi_stages}, but stages are equal rows; expected no "
            "camera.row_heights, or 1 stage"
        )


def faults_have_what_they_need(setup: Setup) -> Iterator[str]:
    """Find faults and camera kinds that lack a length they are judged by."""
    transport, camera = setup.transport, setup.camera
    if transport.flutter_mm > 0 and setup.lens.focal_length_mm is None:
        yield (
            f"transport.flutter: read {_text(setup, 'transport.flutter')}, but its change of scale "
            'needs the working distance; expected a lens.focal_length, for example "60 mm"'
        )
    if transport.encoder_turn_error_um > 0 and (
        transport.encoder_turn_length_mm is None or transport.trigger == "clock"
    ):
        yield (
            "transport.encoder_turn_error: read "
            f"{_text(setup, 'transport.encoder_turn_error')}, but it needs an encoder and its "
            'travel in one turn; expected trigger = "encoder" and encoder_turn_length = "200 mm"'
        )
    if setup.missed_counts > 0 and transport.trigger == "clock":
        yield (
            f"transport.encoder_missed_counts: read {setup.missed_counts:g}, but a clock has no "
            'counts to lose; expected trigger = "encoder", or leave it out'
        )
    if camera.kind == "three-line" and camera.line_spacing_um is None:
        yield (
            'camera.line_spacing: nothing was read, but kind = "three-line" needs the distance of '
            'its rows, for example "30 um"'
        )


def ambient_is_seen(setup: Setup) -> Iterator[str]:
    """Find ambient light in lux under a lamp that the eye hardly sees."""
    lux = setup.light.ambient.illuminance_lx
    if lux > 0 and not setup.light.spectrum.illuminance_is_meaningful:
        yield (
            f"light.ambient: read {_text(setup, 'light.ambient')}, but it is taken to have the "
            f'spectrum of the light "{setup.light.spectrum.name}", which the eye hardly sees; '
            'expected W/m² instead, for example "2 W/m^2"'
        )


def one_value_for_one_channel(setup: Setup) -> Iterator[str]:
    """Find values one a colour for a camera that has no colours."""
    camera = setup.camera
    if camera.kind != "mono":
        return
    stated = "responsivity" if "responsivity" in setup.texts["camera"] else "quantum_efficiency"
    for key, value in (
        ("camera.light_share", camera.light_share),
        (f"camera.{stated}", camera.quantum_efficiency),
    ):
        if isinstance(value, ByChannel):
            yield (
                f"{key}: read {_text(setup, key)}, one a colour, but a mono camera has no colours; "
                'expected a single value, or kind = "three-line" or "prism"'
            )
    for key, given in (
        ("lens.axial_colour", setup.lens.axial_colour_um),
        ("lens.lateral_colour", setup.lens.lateral_colour_um),
    ):
        if given is not None:
            yield (
                f"{key}: read {_text(setup, key)}, but a mono camera has one picture of all "
                'colours, which this blurs: put it into lens.blur; expected kind = "three-line" '
                'or "prism"'
            )


def registration_is_of_a_prism(setup: Setup) -> Iterator[str]:
    """Find sensors that are off their places where there is only one."""
    camera = setup.camera
    if camera.registration_um is not None and camera.kind != "prism":
        yield (
            f"camera.registration: read {_text(setup, 'camera.registration')}, but only a prism "
            'has a sensor a colour to be off its place; expected kind = "prism"'
        )


def format_holds_the_samples(setup: Setup) -> Iterator[str]:
    """Find a pixel format of fewer bits or other colours than the camera delivers."""
    form, camera = setup.camera.pixel_format, setup.camera
    if form is None:
        return
    if form.depth < camera.bit_depth:
        yield (
            f'camera.pixel_format: read "{form}", which has {form.depth} bits, but '
            f"camera.bit_depth is {camera.bit_depth}; expected at least as many, or the bit depth "
            "that is delivered"
        )
    if (form.channels == 1) != (camera.kind == "mono"):
        family = "Mono" if camera.kind == "mono" else "RGB"
        yield (
            f'camera.pixel_format: read "{form}", but camera.kind is "{camera.kind}"; expected one '
            f"that starts with {family}"
        )


def black_leaves_room(setup: Setup) -> Iterator[str]:
    """Find a black level that leaves less than half of the scale."""
    if setup.camera.black_level_dn >= setup.full_scale_dn / 2:
        yield (
            f"camera.black_level: read {setup.camera.black_level_dn:g} DN, but full scale is "
            f"{setup.full_scale_dn} DN; expected less than half of it"
        )


def rate_has_a_pulse(setup: Setup) -> Iterator[str]:
    """Find a rate of flashes of a lamp that does not flash."""
    light, texts = setup.light, setup.texts["light"]
    if light.max_pulse_rate_hz is not None and light.pulse_us is None:
        yield (
            f"light.max_pulse_rate: read {shown(texts['max_pulse_rate'])}, but the lamp shines all "
            'the time; expected a pulse too, for example pulse = "10 us"'
        )
