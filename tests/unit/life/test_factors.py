"""What went with failing: chosen, counted and told, or said why not."""

from pathlib import Path

import pytest

from wearstats.errors import UsageError
from wearstats.life import HazardRegression, fit_factors, usual_factors
from wearstats.lives import histories_with, read_lives
from wearstats.lives.strip_lives import StripLives

DATA = Path(__file__).parents[2] / "reference" / "data"


@pytest.fixture(scope="module")
def remission(tmp_path_factory: pytest.TempPathFactory) -> StripLives:
    """The published remission times, the arms as words."""
    _, *rows = (DATA / "v14_remission_21_pairs.csv").read_text(encoding="utf-8").split()
    lines = ["unit,time,event,arm"]
    for row in rows:
        pair, treated, time, event = row.split(",")
        lines.append(f"P{pair},{time},{event},{'treated' if treated == '1' else 'control'}")
    path = tmp_path_factory.mktemp("lives") / "remission.csv"
    path.write_text("\n".join(lines), encoding="utf-8")
    return read_lives(path)


def table(folder: Path, *rows: str) -> StripLives:
    path = folder / "lives.csv"
    path.write_text("\n".join(["unit,lower,upper,lot,height", *rows]), encoding="utf-8")
    return read_lives(path)


def test_under_an_exponential_law_a_hazard_ratio_is_the_ratio_of_failures_over_time(
    remission: StripLives,
) -> None:
    # Freireich et al. 1963, rates as in Cox & Oakes 1984: 9/359 treated, 21/182 control (from
    # memory; recomputed from the data).
    found = fit_factors(remission, ["arm"], baseline="exponential", frailty="none")
    (name,) = found.factors
    factor = found.factors[name]
    assert factor.indicator is not None
    by_arm = {
        factor.indicator.word: found.behind[name],
        factor.indicator.base: found.base[name],
    }
    assert {arm: (each.lives, each.failures, each.runs) for arm, each in by_arm.items()} == {
        "treated": (21, 9, 359),
        "control": (21, 21, 182),
    }
    rates = {"treated": 9 / 359, "control": 21 / 182}
    ratio = rates[factor.indicator.word] / rates[factor.indicator.base]
    assert factor.ratio.estimate == pytest.approx(ratio, rel=1e-7)
    assert factor.step == 1.0


def test_unit_effects_stand_beside_the_columns_where_they_can_be_held(
    remission: StripLives,
) -> None:
    held = fit_factors(remission, ["arm"], second=True)  # 21 pairs
    assert held.fit is not None
    assert held.fit.frailty == "gamma"
    alone = HazardRegression("weibull", "gamma").fit(histories_with(remission, ["arm"]).histories)
    assert held.factors == alone.factors(0.9, held.criticals)
    assert held.variance == alone.frailty_variance(0.9)
    assert held.units_told is not alone.edge
    assert held.cox is not None


def test_one_unit_leaves_unit_effects_out_and_says_why(tmp_path: Path) -> None:
    rows = [f"K1,{n},{n + 1},{'AB'[n % 2]},{n * 7 % 5}" for n in range(3, 13)]
    found = fit_factors(table(tmp_path, *rows), ["height"])
    assert found.fit is not None
    assert found.fit.frailty == "none"
    assert "one unit" in found.no_units
    assert not found.units_told


def test_too_few_failures_are_said_and_nothing_is_told(tmp_path: Path) -> None:
    lives = table(tmp_path, "K1,3,4,A,1", "K2,5,6,B,2", "K3,6,,A,3", "K4,7,,B,1")
    found = fit_factors(lives, ["lot"])
    assert (found.fit, found.factors) == (None, {})
    assert "below three failures; there are 2" in found.why_not


def test_failures_told_apart_without_exception_rest_on_the_prior(tmp_path: Path) -> None:
    rows = [f"K{n},{n % 5 + 2},{n % 5 + 3},B,{n}" for n in range(8)]
    rows += [f"L{n},9,,A,{n}" for n in range(8)]
    found = fit_factors(table(tmp_path, *rows), ["lot"])
    assert "without bound" in found.rests_on_prior
    assert not found.units_told
    (factor,) = found.factors.values()
    assert factor.ratio.low is not None
    assert factor.ratio.low > 0


def test_the_usual_columns_are_those_on_record(remission: StripLives) -> None:
    assert usual_factors(remission) == ()
    with pytest.raises(UsageError, match="no column 'lot'"):
        fit_factors(remission, ["lot"])
