"""Where a setting lies among the records, and how people say it."""

import numpy as np

from wearstats.arrays import FloatArray
from wearstats.errors import UsageError
from wearstats.leakage import drive_ratio
from wearstats.life.regression_posterior import HazardRegressionPosterior
from wearstats.lives import StripLives
from wearstats.lives.histories import Histories
from wearstats.records.schema import SHEETS

OVERDRIVE = "overdrive_pct"
_SPELT = {"pct": "%", "psi": "psi", "thou": "thou", "rpm": "rpm", "f": "F", "inhg": "inHg"}
_NEAR_SD = 0.5
_FEWEST_NEAR = 5


class Place:
    """Where a setting lies among the records."""

    def __init__(self, histories: Histories, lives: StripLives) -> None:
        self.histories = histories
        self.known = [*map(str, lives.runs), *map(str, lives.frame)]

    def column(self, asked: str) -> str:
        """Return the full name of a column that was found before."""
        if asked in self.known:
            return asked
        return next(name for name in self.known if name.startswith(f"{asked}_"))

    def settled(
        self, values: dict[str, float | str], fit: HazardRegressionPosterior
    ) -> tuple[FloatArray, tuple[str, ...], bool]:
        """Return standardised covariates, what to say of them, and whether any is far off.

        Values of words are left as they are; an overdrive given as a ratio becomes percent.
        """
        at, remarks, far = fit.exposures.mean.copy(), [], False
        for name, value in list(values.items()):
            number, said = _percent_of_ratio(name, value)
            values[name] = number
            remarks += said
            if name in self.histories.names:
                which = self.histories.names.index(name)
                at[which] = _number(name, number)
                off = self._far(which, float(at[which]))
            else:
                off = self._word(at, name, str(value))
            remarks += off
            far |= bool(off)
        return fit.exposures.standardised(at), tuple(remarks), far

    def _far(self, which: int, value: float) -> tuple[str, ...]:
        on_record = self.histories.covariates[:, which]
        runs = self.histories.stop - self.histories.start
        low, high = float(on_record.min()), float(on_record.max())
        setting = spoken(self.histories.names[which], value)
        if not low <= value <= high:
            far = (
                f"An extrapolation: {setting} lies outside what is on record, {low:.4g} "
                f"to {high:.4g}; out there this is the fitted line and nothing else."
            )
            return (far,)
        near = np.abs(on_record - value) <= _NEAR_SD * float(on_record.std())
        if runs[near].sum() < _FEWEST_NEAR:
            return (f"Hardly a run on record is near {setting}: read it as a guess.",)
        return ()

    def _word(self, at: FloatArray, name: str, word: str) -> tuple[str, ...]:
        """Set the indicators of a column of words."""
        places = {
            title: place
            for place, title in enumerate(self.histories.names)
            if title.startswith(f"{name} ")
        }
        words = {title.removeprefix(f"{name} ").split(" against ")[0]: title for title in places}
        base = next(iter(places)).rsplit(" against ", 1)[1]
        if word not in {*words, base}:
            message = f"no {name} {word!r} is on record"
            raise UsageError(message, hint=f"There is {', '.join(sorted({*words, base}))}.")
        for one, title in words.items():
            at[places[title]] = float(one == word)
        return ()


def _percent_of_ratio(name: str, value: float | str) -> tuple[float | str, list[str]]:
    if name != OVERDRIVE or not isinstance(value, float | int) or drive_ratio(value) != value:
        return value, []
    percent = round(100 * (value - 1), 6)
    return percent, [f"Overdrive {value:g} is taken as the drive ratio: {percent:g} % over."]


def spoken(column: str, value: float | str) -> str:
    """Return a setting as people say it.

    Examples
    --------
    >>> spoken("strip_height_thou", 24.0), spoken("overdrive_pct", 35), spoken("strip_lot", "L2")
    ('strip height 24 thou', 'overdrive 35 %', 'strip lot L2')
    """
    said = f"{value:.4g}" if isinstance(value, float | int) else value
    name, _, unit = column.rpartition("_")
    if unit not in _SPELT:
        return f"{column.replace('_', ' ')} {said}"
    return f"{name.replace('_', ' ')} {said} {_SPELT[unit]}"


def _number(name: str, value: float | str) -> float:
    if not (isinstance(value, float | int) and np.isfinite(value)):
        message = f"{name} must be a number, not {value!r}"
        raise UsageError(message)
    low, high = _limits(name)
    if not low <= value <= high:
        message = f"{name} must lie within {low:g} to {high:g}, as in the records, not {value:g}"
        raise UsageError(message)
    return float(value)


def _limits(name: str) -> tuple[float, float]:
    """Return what the sheets allow in a column."""
    for sheet in SHEETS.values():
        for column in sheet:
            if name in column.fields and column.limits is not None:
                return column.limits
    return -np.inf, np.inf
