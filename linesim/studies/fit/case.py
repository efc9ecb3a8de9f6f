"""Captures, the keys that are fitted to them, and what a state of the fit expects of them."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from linesim.metrics.scene.affine import Affine, Steps
from linesim.setup.arrays import FloatArray
from linesim.setup.load import changed
from linesim.studies.fit.key_table import Key
from linesim.studies.fit.likelihood import Expected, Signal, expected, rendered, unlikely
from linesim.studies.fit.windows import Window
from linesim.studies.measure.against.predicted import Prediction


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Case:
    """Captures and the keys that are fitted to them."""

    predictions: tuple[Prediction, ...]  # one a capture: its setup before the fit
    windows: tuple[Window, ...]
    keys: tuple[Key, ...]

    @property
    def width_px(self) -> int:
        """Columns of the sensor."""
        return max(own.width_px for own in self.predictions)

    def at(self, variables: FloatArray) -> tuple[Prediction, ...]:
        """Give the predictions with all keys moved."""
        texts = {key.name: key.text(float(x)) for key, x in zip(self.keys, variables, strict=True)}
        return tuple(
            Prediction(setup=changed(own.setup, texts), reference=own.reference)
            for own in self.predictions
        )

    def start(self) -> "State":
        """Give the setup's own values, and the places that were found."""
        setup = self.predictions[0].setup
        return State(
            variables=np.array([key.variable(key.value(setup)) for key in self.keys]),
            lies=tuple(each.lies for each in self.windows),
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class State:
    """Where a fit is."""

    variables: FloatArray  # shape (keys,)
    lies: tuple[Affine, ...]

    def moved(self, step: FloatArray, keys: Sequence[Key]) -> "State":
        """Take a step, kept in the range of each key."""
        count = len(self.variables)
        variables = np.clip(self.variables + step[:count], *limits(keys).T)
        places = step[count:].reshape(-1, 6)
        lies = tuple(
            own.moved(Steps(*more.tolist())) for own, more in zip(self.lies, places, strict=True)
        )
        return State(variables=variables, lies=lies)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class View:
    """A state and all that follows from it."""

    state: State
    signals: tuple[Signal, ...]
    seen: tuple[Expected, ...]
    unlikely: float


def viewed(case: Case, state: State) -> View:
    """Render all captures in a state."""
    signals = tuple(
        rendered(own, window, lies)
        for own, window, lies in zip(
            case.at(state.variables), case.windows, state.lies, strict=True
        )
    )
    return view_of(case, state, signals)


def view_of(case: Case, state: State, signals: tuple[Signal, ...]) -> View:
    """Say what the signals of a state make of all captures."""
    seen = tuple(expected(each, window) for each, window in zip(signals, case.windows, strict=True))
    return View(
        state=state,
        signals=signals,
        seen=seen,
        unlikely=unlikely(case.windows, seen, case.width_px),
    )


def limits(keys: Sequence[Key]) -> FloatArray:
    """Give the range of each variable, of shape (keys, 2)."""
    ends = [[key.variable(key.low), key.variable(key.high)] for key in keys]
    return np.array(ends, dtype=np.float64).reshape(-1, 2)
