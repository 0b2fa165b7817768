"""What went with failing, as the terminal says it."""

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from wearstats.estimates import Estimate
    from wearstats.life import FactorAnswer
    from wearstats_reports.sections.went_with import Ratio


def show_factors(found: Sequence["FactorAnswer"], level: float, ended: str) -> None:
    """Print hazard ratios, what can be told of them, and what could not."""
    from wearstats_cli import show
    from wearstats_reports import numbers
    from wearstats_reports.sections.went_with import went_with

    if not found:
        return
    told = went_with(found, level, ended)
    show.heading(f"What went with strips {ended}")
    if told.why_not:
        show.line(told.why_not)
        return
    show.line(told.verdict)
    show.table(
        ("", "hazard", f"{numbers.level(level)} interval", "failed"),
        [_row(each) for each in told.ratios],
        right=("hazard",),
    )
    means = "hazard: how many times the chance to fail in a run."
    show.line(" ".join([means, *told.remarks]))
    for each in found:
        _show_rest(each)


def _row(each: "Ratio") -> tuple[str, str, str, str]:
    from wearstats_reports import numbers

    said = numbers.quantity(each.ratio)
    behind = f"{each.failures:g} in {numbers.number(each.runs, 'runs')} runs"
    if each.base_failures is not None:
        behind += (
            f"; {each.base} {each.base_failures:g} in {numbers.number(each.base_runs, 'runs')}"
        )
    return each.said, said.main or "", said.interval, behind


def _show_rest(each: "FactorAnswer") -> None:
    """Print what only `--with` asks for."""
    from wearstats_cli import show
    from wearstats_reports.sections.went_with import compared

    spread = each.variance
    if each.fit is not None and spread is not None:
        note = f"; {spread.note}" if spread.note else ""
        show.listed([f"Unit effects ({each.fit.frailty}): variance {show.bare(spread)}{note}."])
    elif each.no_units:
        show.listed([f"Unit effects left out: {each.no_units}."])
    if each.cox is None:
        return
    said = []
    for name, ratio in each.cox.hazard_ratios(each.level).items():
        factor = each.factors[name]
        said.append(f"{' '.join(compared(factor))} {show.bare(_raised(ratio, factor.step))}")
    second = f"Second opinion, Cox's regression without a law: {'; '.join(said)}."
    show.listed([second, each.cox.proportionality.sentence])


def _raised(ratio: "Estimate", step: float) -> "Estimate":
    """Return the hazard ratio of so much more."""
    parts = (ratio.estimate, ratio.low, ratio.high)
    value, low, high = (None if part is None else part**step for part in parts)
    return replace(ratio, estimate=value, low=low, high=high)
