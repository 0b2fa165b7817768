"""Cox's regression: hazard ratios with no law of life assumed. The one place for lifelines here.

lifelines finds the coefficients. Whether there are any is asked before (`separation`), whether
they are the maximum after, from our own sums over risk sets (`partial`), which also give the
errors and the proportionality test: lifelines has neither for covariates that change with age.
"""

import warnings
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from wearstats.arrays import FloatArray, IntArray
from wearstats.errors import NotConvergedError, NotIdentifiedError, TooFewError
from wearstats.estimates import Estimate
from wearstats.life.checks.partial import Partial, Stretches, partial
from wearstats.life.checks.proportionality import Proportionality, proportionality
from wearstats.life.checks.rows import covariates_that_vary, whole_weights
from wearstats.life.checks.separation import refuse_separation
from wearstats.life.identification import LEAST_FAILURES
from wearstats.life.results import critical_value

if TYPE_CHECKING:
    import pandas as pd

    from wearstats.lives.histories import Histories

ENOUGH_UNITS = 20
"""Below about so many clusters their sandwich errors run too small (from memory: Cameron &
Miller 2015, J. Human Resources 50:317-372)."""
_FEW_PER_COVARIATE = 5
_DECREMENT = 1e-8
_SINGULAR = 1e-9
_NOTHING = 1e-300
_TAKES_PART = 0.1
_COUNTED = "a failure counts at the upper end of its interval: when it was found"


@dataclass(frozen=True, slots=True)
class CoxFit:
    """A fitted Cox regression.

    Parameters
    ----------
    names : tuple of str, length p
    log_ratios : tuple of float, length p
        Log hazard ratio for one more of each covariate.
    covariance : tuple of tuple of float, (p, p)
        What the intervals rest on: cluster-robust where `robust`.
    model_covariance : tuple of tuple of float, (p, p)
        Inverse information, with lives independent.
    robust : bool
    level : float
    log_likelihood, log_likelihood_none : float
        Of the partial likelihood (Efron's ties), fitted and with all hazard ratios 1.
    lives, failures : float
    units : int
    proportionality : Proportionality
    notes : tuple of str
    """

    names: tuple[str, ...]
    log_ratios: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    model_covariance: tuple[tuple[float, ...], ...]
    robust: bool
    level: float
    log_likelihood: float
    log_likelihood_none: float
    lives: float
    failures: float
    units: int
    proportionality: Proportionality
    notes: tuple[str, ...]

    def hazard_ratios(self, level: float | None = None) -> dict[str, Estimate]:
        """Return for each covariate the hazard ratio of one more, with its Wald interval."""
        asked = self.level if level is None else level
        return wald_ratios(self.names, self.log_ratios, self.covariance, asked)

    @property
    def frame(self) -> "pd.DataFrame":
        """Columns name, estimate, low, high: for `plots.hazard_ratios`."""
        return ratio_frame(self.hazard_ratios())

    def as_dict(self) -> dict[str, object]:
        """Return plain data, every estimate with its interval."""
        return {
            "lives": self.lives,
            "failures": self.failures,
            "units": self.units,
            "robust": self.robust,
            "factors": {
                name: {"hazard_ratio": ratio.as_dict()}
                for name, ratio in self.hazard_ratios().items()
            },
            "log_likelihood": self.log_likelihood,
            "log_likelihood_none": self.log_likelihood_none,
            "proportionality": self.proportionality.as_dict(),
            "notes": list(self.notes),
        }


def wald_ratios(
    names: Sequence[str],
    log_ratios: Sequence[float],
    covariance: Sequence[Sequence[float]],
    level: float,
) -> dict[str, Estimate]:
    """Return hazard ratios by name, each with its Wald interval on the log scale."""
    reach = np.sqrt(critical_value(level) * np.diag(np.array(covariance)))
    middle = np.array(log_ratios)
    parts = np.exp([middle, middle - reach, middle + reach]).T.tolist()
    return {
        name: Estimate(value, low, high, level)
        for name, (value, low, high) in zip(names, parts, strict=True)
    }


def ratio_frame(ratios: dict[str, Estimate]) -> "pd.DataFrame":
    """Return hazard ratios as columns name, estimate, low, high; missing ends as NaN."""
    import pandas as pd

    rows = [(name, one.estimate, one.low, one.high) for name, one in ratios.items()]
    columns = ["name", "estimate", "low", "high"]
    return pd.DataFrame(rows, columns=columns).astype(dict.fromkeys(columns[1:], "float64"))


def cox(histories: "Histories", level: float = 0.9, *, robust: bool | None = None) -> CoxFit:
    """Fit Cox's regression to lives with covariates that may change with age.

    Parameters
    ----------
    histories : Histories
        Late entries and whole weights are held. A failure known to an interval counts at the
        interval's upper end.
    level : float
        Nominal coverage of the intervals.
    robust : bool or None
        Errors robust to likeness within units (Lin & Wei 1989, JASA 84:1074-1078); None takes
        them from `ENOUGH_UNITS` units on.

    Raises
    ------
    TooFewError
        Fewer than three failures.
    ObservationError
        No covariate, one that never varies, or a weight that is no whole number.
    NotIdentifiedError
        A hazard ratio grows without bound, or covariates say the same thing twice.
    NotConvergedError
        A maximum exists and lifelines did not reach it.
    """
    critical_value(level)
    stretches, life = _stretches(histories)
    failures = int(stretches.fails.sum())
    if failures < LEAST_FAILURES:
        message = f"{failures} failures are too few for hazard ratios; it takes {LEAST_FAILURES}"
        raise TooFewError(message, have=failures, need=LEAST_FAILURES)
    names = histories.names
    scale = covariates_that_vary(stretches.covariates, names)
    centred = (stretches.covariates - stretches.covariates.mean(axis=0)) / scale
    scaled = Stretches(stretches.start, stretches.stop, stretches.fails, centred)
    refuse_separation(lambda: _differences(scaled), names, asked=len(names), who="Cox's regression")
    beta, best = _found(scaled, life, names)
    inverse = np.asarray(np.linalg.inv(best.information), dtype=np.float64)
    owners = np.unique(np.array(histories.units), return_inverse=True)[1][life]
    units = np.unique(owners).size
    taken = units >= ENOUGH_UNITS if robust is None else robust
    covariance = _sandwich(best, inverse, owners) if taken else inverse
    both = np.outer(scale, scale)
    return CoxFit(
        names=names,
        log_ratios=tuple(float(value) for value in beta / scale),
        covariance=_rows(covariance / both),
        model_covariance=_rows(inverse / both),
        robust=taken,
        level=level,
        log_likelihood=best.value,
        log_likelihood_none=partial(scaled, np.zeros(len(names))).value,
        lives=float(histories.observations.weight[np.unique(life)].sum()),
        failures=float(failures),
        units=units,
        proportionality=proportionality(best, names, scale, level),
        notes=_notes(histories, units, failures, robust=taken),
    )


def _stretches(histories: "Histories") -> tuple[Stretches, IntArray]:
    """Return the stretches, a life's as often as its weight says, and whose they are."""
    seen = histories.observations
    times = whole_weights(seen)[histories.life]
    ends = np.diff(histories.life, append=-1) != 0
    stretches = Stretches(
        start=np.repeat(histories.start, times),
        stop=np.repeat(histories.stop, times),
        fails=np.repeat(ends & seen.failed[histories.life], times),
        covariates=np.repeat(histories.covariates, times, axis=0),
    )
    return stretches, np.repeat(histories.life, times)


def _differences(stretches: Stretches) -> Iterator[FloatArray]:
    x = stretches.covariates
    for _, watched, failing in stretches.blocks():
        for inside, dead in zip(watched, failing, strict=True):
            others = np.unique(x[inside], axis=0)
            for one in np.unique(x[dead], axis=0):
                yield one - others


def _found(
    stretches: Stretches, life: IntArray, names: tuple[str, ...]
) -> tuple[FloatArray, Partial]:
    """Return lifelines' coefficients and the partial likelihood there, where it is the maximum."""
    none = partial(stretches, np.zeros(len(names)))
    _refuse_twice(none.information, names)
    beta = _by_lifelines(stretches, life)
    best = partial(stretches, beta)
    _refuse_twice(best.information, names)
    step = np.linalg.solve(best.information, best.score)
    if not float(best.score @ step) < _DECREMENT:
        message = "lifelines stopped short of the maximum of Cox's partial likelihood"
        raise NotConvergedError(message, last=beta.tolist())
    return beta, best


def _by_lifelines(stretches: Stretches, life: IntArray) -> FloatArray:
    import pandas as pd
    from lifelines import CoxTimeVaryingFitter
    from lifelines.exceptions import ConvergenceError

    columns = [f"x{place}" for place in range(stretches.covariates.shape[1])]
    rows = pd.DataFrame(stretches.covariates, columns=columns)
    rows["life"], rows["fails"] = life, stretches.fails
    rows["start"], rows["stop"] = stretches.start, stretches.stop
    with warnings.catch_warnings():
        # Its warnings are acted upon by looking at the answer, not by reading their text.
        warnings.simplefilter("ignore")
        try:
            fit = CoxTimeVaryingFitter().fit(
                rows,
                event_col="fails",
                start_col="start",
                stop_col="stop",
                id_col="life",
                fit_options={"precision": 1e-10, "r_precision": 1e-14},
            )
        except (ConvergenceError, ValueError, np.linalg.LinAlgError) as error:
            message = f"lifelines could not fit Cox's regression ({error})"
            raise NotConvergedError(message, last=()) from error
    found = np.asarray(fit.params_[columns], dtype=np.float64)
    if not np.isfinite(found).all():
        message = "lifelines gave no finite coefficients"
        raise NotConvergedError(message, last=found.tolist())
    return found


def _refuse_twice(information: FloatArray, names: tuple[str, ...]) -> None:
    """Refuse covariates between which the failures cannot choose."""
    least, directions = np.linalg.eigh(information)
    if least[0] > _SINGULAR * max(float(least[-1]), _NOTHING):
        return
    strong = np.abs(directions[:, 0]) > _TAKES_PART
    both = " and ".join(name for name, is_in in zip(names, strong, strict=True) if is_in)
    told = f"{both} cannot be told apart, or does not vary, among those at risk at any failure"
    message = f"Cox's regression has no single answer: {told}"
    raise NotIdentifiedError(message, direction=told, hint="leave one out")


def _sandwich(best: Partial, inverse: FloatArray, owners: IntArray) -> FloatArray:
    sums = np.zeros((int(owners.max()) + 1, inverse.shape[0]))
    np.add.at(sums, owners, best.residuals)
    pulled = sums @ inverse
    return np.asarray(pulled.T @ pulled, dtype=np.float64)


def _rows(matrix: FloatArray) -> tuple[tuple[float, ...], ...]:
    return tuple(tuple(float(cell) for cell in row) for row in matrix)


def _notes(histories: "Histories", units: int, failures: int, *, robust: bool) -> tuple[str, ...]:
    seen = histories.observations
    notes = []
    wide = (seen.upper - seen.lower)[seen.failed]
    if wide.size and wide.max() > 0:
        notes.append(f"{_COUNTED}; intervals are up to {wide.max():g} runs wide")
    if robust:
        notes.append(f"errors allow for likeness among the lives of each of {units} units")
    elif 1 < units < ENOUGH_UNITS and units < seen.count:
        notes.append(
            f"errors take the lives of a unit for unlike: {units} units are too few to allow for it"
        )
    if failures < _FEW_PER_COVARIATE * len(histories.names):
        notes.append(
            f"{failures} failures for {len(histories.names)} covariates: hints, no findings"
        )
    return tuple(notes)
