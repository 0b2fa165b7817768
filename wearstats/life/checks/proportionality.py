"""Whether hazard ratios stay the same at every age, and which way they drift if not."""

from dataclasses import dataclass

import numpy as np
from scipy import special

from wearstats.arrays import FloatArray
from wearstats.life.checks.partial import Partial

_SINGULAR = 1e-9


@dataclass(frozen=True, slots=True)
class AgeDrift:
    """Whether one hazard ratio changes with age.

    Parameters
    ----------
    name : str
    statistic : float
        Chi-square with one degree of freedom if it does not change.
    p_value : float
    slope : float
        One Newton step's estimate of how much the log hazard ratio of one more grows when age
        grows by a factor e.
    sentence : str
    """

    name: str
    statistic: float
    p_value: float
    slope: float
    sentence: str


@dataclass(frozen=True, slots=True)
class Proportionality:
    """Test of proportional hazards against hazard ratios that drift with log age.

    The score test of Grambsch & Therneau 1994, Biometrika 81:515-526 (from memory), with the
    information of every failing age in its own right instead of its average.

    Parameters
    ----------
    drifts : tuple of AgeDrift
        Empty where nothing can be tested.
    statistic, p_value : float or None
        Of all covariates together, with as many degrees of freedom.
    sentence : str
    """

    drifts: tuple[AgeDrift, ...]
    statistic: float | None
    p_value: float | None
    sentence: str

    def as_dict(self) -> dict[str, object]:
        """Return plain data."""
        return {
            "statistic": self.statistic,
            "p_value": self.p_value,
            "sentence": self.sentence,
            "covariates": {
                one.name: {
                    "statistic": one.statistic,
                    "p_value": one.p_value,
                    "slope": one.slope,
                    "sentence": one.sentence,
                }
                for one in self.drifts
            },
        }


def proportionality(
    best: Partial, names: tuple[str, ...], scale: FloatArray, level: float
) -> Proportionality:
    """Test whether each hazard ratio stays as it is.

    Parameters
    ----------
    best : Partial
        At the maximum, in covariates divided by `scale`.
    names : tuple of str, length p
    scale : ndarray, shape (p,)
    level : float
        A drift is spoken of where its chance is under 1 - level.
    """
    late = np.log(best.age)
    late = late - float(late @ best.failed) / float(best.failed.sum())
    score = late @ best.excess
    cross = np.einsum("k,kpq->pq", late, best.spread)
    twice = np.einsum("k,kpq->pq", late**2, best.spread)
    left = twice - cross @ np.linalg.solve(best.information, cross)
    told = np.diag(left) > _SINGULAR * np.diag(best.information)
    if not told.all() or np.linalg.eigvalsh(left)[0] <= 0:
        return Proportionality(
            (), None, None, "Failures at too few ages to tell whether hazard ratios drift with age."
        )
    statistics = score**2 / np.diag(left)
    together = float(score @ np.linalg.solve(left, score))
    drifts = tuple(
        _drift(name, float(statistic), float(slope), level)
        for name, statistic, slope in zip(
            names, statistics, score / np.diag(left) / scale, strict=True
        )
    )
    p_value = float(special.chdtrc(len(names), together))
    return Proportionality(drifts, together, p_value, _together(drifts, p_value, level))


def _drift(name: str, statistic: float, slope: float, level: float) -> AgeDrift:
    p_value = float(special.chdtrc(1, statistic))
    if p_value > 1 - level:
        said = f"Nothing shows that the hazard ratio of {name} changes with age"
    else:
        word = "grows" if slope > 0 else "falls"
        said = (
            f"The hazard ratio of {name} {word} with age; the one printed is a mean over the "
            "failing ages"
        )
    return AgeDrift(name, statistic, p_value, slope, f"{said} (chance {_chance(p_value)}).")


def _together(drifts: tuple[AgeDrift, ...], p_value: float, level: float) -> str:
    found = [one for one in drifts if one.p_value <= 1 - level]
    if found:
        return " ".join(one.sentence for one in found)
    if p_value <= 1 - level:
        return (
            f"Together the hazard ratios drift with age (chance {_chance(p_value)}); no single "
            "one can be named."
        )
    return (
        "Nothing shows that hazard ratios change with age (chance "
        f"{_chance(p_value)} if they do not); with few failures only a strong drift would show."
    )


def _chance(p_value: float) -> str:
    return "under 0.001" if p_value < 1e-3 else f"{p_value:.2g}"  # noqa: PLR2004
