"""Hazard period by period (complementary log-log): the cross-check of a run-by-run regression.

statsmodels fits it as a generalised linear model of yes and no. Where lives are looked at at
shared ages this is the proportional-hazards likelihood of the intervals itself, with the hazard
of each period free: no law of life assumed.
"""

import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np

from wearstats.arrays import FloatArray
from wearstats.errors import NotConvergedError, TooFewError, UsageError
from wearstats.estimates import Estimate
from wearstats.life.checks.cox_fit import ratio_frame, wald_ratios
from wearstats.life.checks.periods import PersonPeriods, person_periods
from wearstats.life.checks.rows import covariates_that_vary
from wearstats.life.checks.separation import refuse_separation
from wearstats.life.identification import LEAST_FAILURES
from wearstats.life.results import critical_value

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    import pandas as pd

    from wearstats.lives.histories import Histories

Course: TypeAlias = Literal["free", "log age", "weibull"]
_DECREMENT = 1e-8


@dataclass(frozen=True, slots=True)
class GroupedFit:
    """A fitted complementary log-log regression.

    Parameters
    ----------
    course : str
        How the hazard runs with age: free (an intercept for each period), log age (intercept
        and slope in the log of a period's middle) or weibull (intercept alone, the shape held).
    names : tuple of str, length p
    log_ratios : tuple of float, length p
    covariance : tuple of tuple of float, (p, p)
        Inverse expected information, as is usual for such models, with lives independent.
    intercepts : dict of str to float
        Log cumulative hazard of each period kept (named by its end), or the terms of the course.
    level : float
    log_likelihood : float
        Of yes and no in each row.
    lives, failures, rows : float
        Rows: a life in a period.
    notes : tuple of str
    """

    course: Course
    names: tuple[str, ...]
    log_ratios: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    intercepts: dict[str, float]
    level: float
    log_likelihood: float
    lives: float
    failures: float
    rows: float
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
            "course": self.course,
            "lives": self.lives,
            "failures": self.failures,
            "rows": self.rows,
            "factors": {
                name: {"hazard_ratio": ratio.as_dict()}
                for name, ratio in self.hazard_ratios().items()
            },
            "log_likelihood": self.log_likelihood,
            "notes": list(self.notes),
        }


def complementary_log_log(
    histories: "Histories",
    level: float = 0.9,
    *,
    course: Course = "free",
    shape: float | None = None,
    edges: "Sequence[float] | FloatArray | None" = None,
) -> GroupedFit:
    """Fit the hazard period by period.

    Prentice & Gloeckler 1978, Biometrics 34:57-67.

    Parameters
    ----------
    histories : Histories
        Every failure known to one period; see `periods.person_periods` for what else is asked.
    level : float
        Nominal coverage of the intervals.
    course : str
        How the hazard runs with age.
    shape : float or None
        Of the Weibull law, for that course alone: it is held, as found elsewhere.
    edges : sequence or array of float, or None, runs
        Ages between periods; None takes whole runs.

    Raises
    ------
    UsageError
        No such course, or a shape without it.
    TooFewError
        Fewer than three failures.
    ObservationError
        The lives do not fit the periods, no covariate, or one that never varies.
    NotIdentifiedError
        A hazard ratio grows without bound, or covariates say the same thing twice.
    NotConvergedError
        A maximum exists and statsmodels did not reach it.
    """
    critical_value(level)
    _check(course, shape)
    rows = person_periods(histories, edges)
    failures = float(rows.weight[rows.fails].sum())
    if failures < LEAST_FAILURES:
        message = f"{failures:g} failures are too few for hazard ratios; it takes {LEAST_FAILURES}"
        raise TooFewError(message, have=int(failures), need=LEAST_FAILURES)
    dropped: tuple[str, ...] = ()
    if course == "free":
        rows, dropped = rows.where_hazard_is_told()
    scale = covariates_that_vary(rows.covariates, histories.names)
    centre = rows.covariates.mean(axis=0)
    columns, terms, offset = _course(rows, course, shape)
    design = np.column_stack([(rows.covariates - centre) / scale, columns])
    signed = np.where(rows.fails[:, None], design, -design)
    refuse_separation(
        lambda: _blocks(signed),
        (*histories.names, *terms),
        asked=len(histories.names),
        who="The regression by periods",
    )
    theta, covariance, value = _by_statsmodels(rows, design, offset)
    count = len(histories.names)
    log_ratios = theta[:count] / scale
    covariance = covariance[:count, :count] / np.outer(scale, scale)
    constant = columns[:, :1] if course != "free" else columns
    moved = theta[count:].copy()
    moved[: constant.shape[1]] -= float(log_ratios @ centre)
    return GroupedFit(
        course=course,
        names=histories.names,
        log_ratios=tuple(log_ratios.tolist()),
        covariance=tuple(tuple(row) for row in covariance.tolist()),
        intercepts=dict(zip(terms, moved.tolist(), strict=True)),
        level=level,
        log_likelihood=value,
        lives=rows.lives,
        failures=failures,
        rows=float(rows.weight.sum()),
        notes=(*rows.notes, *dropped),
    )


def _check(course: str, shape: float | None) -> None:
    if course not in {"free", "log age", "weibull"}:
        message = f"no course {course!r}; there is free, log age, weibull"
        raise UsageError(message)
    if (shape is not None) != (course == "weibull"):
        message = "the weibull course takes a shape, and no other does"
        raise UsageError(message)
    if shape is not None and not (np.isfinite(shape) and shape > 0):
        message = f"a shape is above 0, not {shape:g}"
        raise UsageError(message)


def _course(
    rows: PersonPeriods, course: Course, shape: float | None
) -> tuple[FloatArray, tuple[str, ...], FloatArray]:
    """Return the columns that run with age, their names, and what is known beforehand."""
    none = np.zeros(rows.end.size)
    ones = np.ones((rows.end.size, 1))
    if course == "free":
        ends, places = np.unique(rows.end, return_inverse=True)
        return np.eye(ends.size)[places], tuple(f"{end:g}" for end in ends), none
    if course == "weibull":
        power = 1.0 if shape is None else shape
        step = rows.end**power - rows.begin**power
        return ones, ("intercept",), np.log(step)
    middle = np.log((rows.begin + rows.end) / 2)
    return np.column_stack([ones, middle]), ("intercept", "log age"), none


def _blocks(rows: FloatArray) -> "Iterator[FloatArray]":
    step = 5000
    for first in range(0, rows.shape[0], step):
        yield rows[first : first + step]


def _by_statsmodels(
    rows: PersonPeriods, design: FloatArray, offset: FloatArray
) -> tuple[FloatArray, FloatArray, float]:
    """Return coefficients, their covariance and the log likelihood, verified to be the highest."""
    import statsmodels.api as sm

    with warnings.catch_warnings():
        # Its warnings are acted upon by looking at the answer, not by reading their text.
        warnings.simplefilter("ignore")
        model = sm.GLM(
            rows.fails.astype(np.float64),
            design,
            family=sm.families.Binomial(link=sm.families.links.CLogLog()),
            freq_weights=rows.weight,
            offset=offset,
        )
        try:
            fit = model.fit(maxiter=200, tol=1e-13)
        except (
            ValueError,
            np.linalg.LinAlgError,
            sm.tools.sm_exceptions.PerfectSeparationError,
        ) as error:
            message = f"statsmodels could not fit the regression by periods ({error})"
            raise NotConvergedError(message, last=()) from error
        theta = np.asarray(fit.params, dtype=np.float64)
        slope = np.asarray(model.score(theta), dtype=np.float64)
        bend = -np.asarray(model.hessian(theta, observed=True), dtype=np.float64)
        expected = -np.asarray(model.hessian(theta, observed=False), dtype=np.float64)
        value = float(fit.llf)
    curves = np.linalg.eigvalsh(bend) if np.isfinite(bend).all() else np.zeros(1)
    if not (np.isfinite(theta).all() and curves[0] > 0.0):
        message = "statsmodels found no proper maximum of the regression by periods"
        raise NotConvergedError(message, last=theta.tolist())
    if not float(slope @ np.linalg.solve(bend, slope)) < _DECREMENT:
        message = "statsmodels stopped short of the maximum of the regression by periods"
        raise NotConvergedError(message, last=theta.tolist())
    return theta, np.asarray(np.linalg.inv(expected), dtype=np.float64), value
