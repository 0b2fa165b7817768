"""What went with burning through: hazard ratios of what the records hold, in words."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from wearstats.estimates import Estimate
from wearstats.life import FactorAnswer
from wearstats.life.asked import Factor
from wearstats.life.factors import Behind
from wearstats.records.schema import RESTRIPS, RUNS
from wearstats_reports import cells, numbers
from wearstats_reports.fits import sentence

_SPOKEN = {"pct": "points", "F": "\u00b0F"}
_ALONE = "Each is looked at alone: of several, one may stray from 1 by chance."
NOT_CAUSE = "What went with it need not be its cause."


@dataclass(frozen=True, slots=True)
class Ratio:
    """One hazard ratio.

    Parameters
    ----------
    name : str
        Of the covariate, as `wearstats life --json` names it.
    of, step : str
        What is compared: "air temperature", "11 °F more"; "strip lot", "L1, not L3".
    ratio : Estimate
        How many times the chance to fail in a run.
    lives, failures, runs : float
        Behind it: all of the fit; of a word, those with any run of it.
    base : str
        The word it is told against; empty for a number.
    base_failures, base_runs : float or None
    rests_on_prior : bool
    """

    name: str
    of: str
    step: str
    ratio: Estimate
    lives: float
    failures: float
    runs: float
    base: str
    base_failures: float | None
    base_runs: float | None
    rests_on_prior: bool

    @property
    def said(self) -> str:
        """What is compared, in one."""
        return f"{self.of} {self.step}"

    @property
    def told(self) -> bool:
        """Whether its interval leaves out 1, no difference."""
        low, high = self.ratio.low, self.ratio.high
        return (low is not None and low > 1) or (high is not None and high < 1)


@dataclass(frozen=True, slots=True)
class WentWith:
    """What went with burning through.

    Parameters
    ----------
    ratios : tuple of Ratio
    verdict : str
        What can be told, one sentence.
    remarks : tuple of str
        What to mind.
    why_not : str
        A sentence where nothing can be told.
    """

    ratios: tuple[Ratio, ...]
    verdict: str
    remarks: tuple[str, ...]
    why_not: str


def went_with(found: Sequence[FactorAnswer], level: float, ended: str) -> WentWith:
    """Return what went with strips failing, or why nothing can be told.

    Parameters
    ----------
    found : sequence of FactorAnswer
    level : float
    ended : str
        How strips failed, in words.
    """
    ratios = tuple(_ratio(each, name) for each in found for name in each.factors)
    if not ratios:
        return WentWith((), "", (), _nothing(found))
    alone = [_ALONE] if len(found) > 1 and len(ratios) > 1 else []
    remarks = (*alone, NOT_CAUSE, *_units(found), *_rest(found))
    return WentWith(ratios, _verdict(ratios, level, ended), remarks, "")


def spoken(column: str) -> tuple[str, str]:
    """Return a column as it is spoken of, and its unit.

    Examples
    --------
    >>> spoken("air_temperature_f"), spoken("strip_lot"), spoken("height")
    (('air temperature', '°F'), ('strip lot', ''), ('height', ''))
    """
    for sheet in (RUNS, RESTRIPS):
        for known in sheet:
            if column in known.fields:
                kept = "" if known.quantity is None else known.quantity.kept
                return known.name, _SPOKEN.get(kept, kept)
    return column.replace("_", " "), ""


def compared(factor: Factor) -> tuple[str, str]:
    """Say what a hazard ratio compares: of what, and from where to where."""
    if factor.indicator is not None:
        told = factor.indicator
        return spoken(told.column)[0], f"{told.word}, not {told.base}"
    name, unit = spoken(factor.name)
    return name, f"{factor.step:.2g}{f' {unit}' if unit else ''} more"


def _ratio(found: FactorAnswer, name: str) -> Ratio:
    factor, behind = found.factors[name], found.behind[name]
    base: Behind | None = found.base.get(name)
    of, step = compared(factor)
    return Ratio(
        name=name,
        of=of,
        step=step,
        ratio=factor.ratio,
        lives=behind.lives,
        failures=behind.failures,
        runs=behind.runs,
        base="" if factor.indicator is None else factor.indicator.base,
        base_failures=None if base is None else base.failures,
        base_runs=None if base is None else base.runs,
        rests_on_prior=found.rests_on_prior != "",
    )


def _verdict(ratios: Iterable[Ratio], level: float, ended: str) -> str:
    told = [each for each in ratios if each.told]
    if not told:
        return (
            "Nothing on record can be told from no difference: every "
            f"{numbers.level(level)} interval holds 1."
        )
    sooner = [each.said for each in told if (each.ratio.low or 0.0) > 1]
    later = [each.said for each in told if each.said not in sooner]
    pairs = (("sooner", sooner), ("later", later))
    said = "; ".join(f"{when} with {_listed(names)}" for when, names in pairs if names)
    return f"Strips {ended} {said}."


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{'; '.join(words[:-1])}; and {words[-1]}"


def _named(found: Iterable[FactorAnswer]) -> str:
    return ", ".join(spoken(column)[0] for each in found for column in each.columns)


def _units(found: Sequence[FactorAnswer]) -> list[str]:
    """Say what became of differences between units."""
    fitted = [each for each in found if each.fit is not None and not each.rests_on_prior]
    looked = [each for each in fitted if each.fit is not None and each.fit.frailty != "none"]
    if not looked:
        return []
    seen = [each for each in looked if each.units_told]
    if not seen:
        return ["Differences between units were allowed for; none showed."]
    beside = "" if len(seen) == len(looked) else f" (beside {_named(seen)})"
    return [f"Differences between units showed and were allowed for{beside}."]


def _nothing(found: Sequence[FactorAnswer]) -> str:
    reasons = dict.fromkeys(each.why_not for each in found)
    if not reasons:
        return (
            "Nothing can be told: no overdrive, air temperature, strip lot or strip height is on "
            "record."
        )
    if len(reasons) == 1:
        return sentence(f"nothing can be told: {next(iter(reasons))}")
    return " ".join(_rest(found))


def _rest(found: Sequence[FactorAnswer]) -> list[str]:
    """Say what could not be told, what rests on a prior and which lives were left out."""
    said = []
    for each in found:
        name = _named([each])
        if each.why_not:
            said.append(sentence(f"{name} cannot be told: {each.why_not}"))
        if each.rests_on_prior:
            said.append(sentence(f"{name} rests on a prior: {each.rests_on_prior}"))
    return said + _left_out(found)


def _left_out(found: Sequence[FactorAnswer]) -> list[str]:
    by_life: dict[str, list[FactorAnswer]] = {}
    for each in found:
        for life, _ in each.left_out:
            by_life.setdefault(life, []).append(each)
    if not by_life:
        return []
    first, *others = (f"{life} ({_named(blank)})" for life, blank in by_life.items())
    more = f" and {cells.count(len(others), 'life', 'lives')} more" if others else ""
    return [f"Not on record throughout, and so left out: {first}{more}."]
