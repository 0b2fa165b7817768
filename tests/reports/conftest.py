"""Seasons for the report's tests: one of ordinary size, one hostile, one nearly empty."""

from collections.abc import Callable
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from wearstats.records.costs import Costs
from wearstats.records.season import Season
from wearstats_reports import SeasonReport, WrittenReport, season_report, write_season

SCRIPT = "<script>alert(1)</script>"
FORMULA = "=cmd|' /C calc'!A0"
LONG = "N" * 198 + "\x07\x00"
RIGHT_TO_LEFT = "מגדש \u202e אדום"
HOSTILE_UNITS = (
    "../../x",
    "..\\..\\x",
    LONG,
    RIGHT_TO_LEFT,
    "🏁💥",
    "CON",
    "k1",
    "K1",
    "<b>K2</b>",
)

_Rows = list[dict[str, Any]]

# How many runs each build made, and how it ended; invented.
_BUILDS = {
    "K1": ((8, "burned"), (6, "planned"), (7, "burned"), (5, "")),
    "K2": ((9, "burned"), (7, "planned"), (3, "")),
    "K3": ((6, "planned"), (11, "burned"), (8, "burned"), (7, "burned"), (1, "")),
}


def _run_rows(
    name: str, rng: np.random.Generator
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    runs: list[dict[str, Any]] = []
    restrips: list[dict[str, Any]] = []
    day = pd.Timestamp("2026-04-04")
    for number, (made, ending) in enumerate(_BUILDS[name]):
        restrips.append(
            {
                "date": day,
                "unit": name,
                "reason": _BUILDS[name][number - 1][1] if number else "planned",
                "strip_lot": f"A{number}",
                "strip_height_thou": 21.0,
                "metal_low_thou": 24.0,
                "metal_high_thou": 25.0,
                "hours_h": 5.5,
                "remark": None,
            }
        )
        for k in range(1, made + 1):
            day += pd.Timedelta(days=2)
            tip = 4.0 + 0.3 * k + rng.normal(0, 0.2)
            last = k == made
            looked = "burned" if last and ending == "burned" else ("sound" if k % 2 else None)
            runs.append(
                {
                    "date": day,
                    "unit": name,
                    "run": 1,
                    "meet": f"Lake {number + 1}",
                    "engine": "A",
                    "load": 0.5 if k == 2 else 1.0,
                    "boost_psi": 42.0 - 0.3 * k + rng.normal(0, 0.4),
                    "overdrive_pct": 40.0,
                    "engine_speed_rpm": 8000.0,
                    "air_temperature_f": 80.0 + rng.normal(0, 8),
                    "barometer_inhg": 29.4 + rng.normal(0, 0.2),
                    "humidity_pct": 50.0,
                    "tip_low_thou": np.floor(tip) if k % 2 else np.nan,
                    "tip_high_thou": np.floor(tip) + 1 if k % 2 else np.nan,
                    "strip_height_thou": 21.0 - 0.3 * k if k % 3 == 0 else np.nan,
                    "strips": looked,
                }
            )
        day += pd.Timedelta(days=2)
    return runs, restrips


def _units(names: tuple[str, ...]) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "unit": list(names),
            "displacement_in3": 871.0,
            "rotor_length_in": 19.0,
            "rotor_diameter_in": 5.7,
            "lobes": 3.0,
            "engine_displacement_in3": 510.0,
        }
    )


@pytest.fixture(scope="session")
def season() -> Season:
    rng = np.random.default_rng(20260503)
    rows = [_run_rows(name, rng) for name in _BUILDS]
    return Season.from_frames(
        runs=pd.DataFrame([run for runs, _ in rows for run in runs]),
        restrips=pd.DataFrame([restrip for _, restrips in rows for restrip in restrips]),
        units=_units(tuple(_BUILDS)),
        costs=Costs(planned=400.0, burn_through=1500.0, lost_psi_per_run=8.0, currency="USD"),
        simulated=True,
    )


@pytest.fixture(scope="session")
def hostile_season() -> Season:
    rng = np.random.default_rng(7)
    rows = [_run_rows(name, rng) for name in ("K1", "K2")]
    runs = pd.DataFrame([run for made, _ in rows for run in made])
    restrips = pd.DataFrame([restrip for _, made in rows for restrip in made])
    called = dict(zip(_BUILDS, HOSTILE_UNITS, strict=False))
    runs["unit"] = runs["unit"].map(called)
    restrips["unit"] = restrips["unit"].map(called)
    runs["meet"] = FORMULA
    runs["remark"] = SCRIPT
    restrips["remark"] = f"{SCRIPT} {RIGHT_TO_LEFT} 💥"
    restrips["strip_lot"] = FORMULA
    restrips["strip_material"] = LONG
    return Season.from_frames(runs=runs, restrips=restrips, units=_units(HOSTILE_UNITS))


@pytest.fixture(scope="session")
def nearly_empty_season() -> Season:
    runs = pd.DataFrame({"date": [pd.Timestamp("2026-05-03")], "unit": ["K1"], "run": [1]})
    return Season.from_frames(runs=runs)


@pytest.fixture(scope="session")
def report(season: Season) -> SeasonReport:
    return season_report(season, level=0.9, seed=20260503, runs_ahead=4)


@pytest.fixture(scope="session")
def written(report: SeasonReport, tmp_path_factory: pytest.TempPathFactory) -> WrittenReport:
    return write_season(report, tmp_path_factory.mktemp("season"))


@pytest.fixture(scope="session")
def hostile(
    hostile_season: Season, tmp_path_factory: pytest.TempPathFactory
) -> tuple[SeasonReport, WrittenReport]:
    value = season_report(hostile_season, level=0.9, seed=20260503, runs_ahead=4)
    return value, write_season(value, tmp_path_factory.mktemp("hostile"))


@pytest.fixture(scope="session")
def nearly_empty(
    nearly_empty_season: Season, tmp_path_factory: pytest.TempPathFactory
) -> tuple[SeasonReport, WrittenReport]:
    value = season_report(nearly_empty_season, level=0.9, seed=20260503, runs_ahead=4)
    return value, write_season(value, tmp_path_factory.mktemp("empty"))


@pytest.fixture(scope="session")
def pages(
    written: WrittenReport,
    hostile: tuple[SeasonReport, WrittenReport],
    nearly_empty: tuple[SeasonReport, WrittenReport],
) -> tuple[Path, ...]:
    reports = (written, hostile[1], nearly_empty[1])
    return tuple(
        path for made in reports for path in (made.index, *(page for _, page in made.pages))
    )


class Element:
    """An element of a page, with what stands in it."""

    def __init__(self, tag: str, attributes: dict[str, str]) -> None:
        self.tag = tag
        self.attributes = attributes
        self.inside: list[Element | str] = []

    @property
    def text(self) -> str:
        return "".join(part if isinstance(part, str) else part.text for part in self.inside)

    def all(self, *tags: str) -> list["Element"]:
        found = []
        for part in self.inside:
            if isinstance(part, Element):
                found += [part] if not tags or part.tag in tags else []
                found += part.all(*tags)
        return found

    def classed(self, name: str) -> list["Element"]:
        return [e for e in self.all() if name in e.attributes.get("class", "").split()]

    def without(self, *tags: str) -> str:
        return "".join(
            part if isinstance(part, str) else "" if part.tag in tags else part.without(*tags)
            for part in self.inside
        )


class _Reader(HTMLParser):
    VOID = frozenset({"meta", "br", "link", "img", "hr", "input"})

    def __init__(self) -> None:
        super().__init__()
        self.root = Element("", {})
        self.open = [self.root]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        element = Element(tag, {name: value or "" for name, value in attrs})
        self.open[-1].inside.append(element)
        if tag not in self.VOID:
            self.open.append(element)

    def handle_endtag(self, tag: str) -> None:
        assert self.open[-1].tag == tag, f"</{tag}> closes <{self.open[-1].tag}>"
        self.open.pop()

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.open[-1].inside.append(Element(tag, {name: value or "" for name, value in attrs}))

    def handle_data(self, data: str) -> None:
        self.open[-1].inside.append(data)


@pytest.fixture(scope="session")
def parsed() -> Callable[[Path], Element]:
    """Read a page; an element that is not closed in its place fails."""

    @cache
    def read(path: Path) -> Element:
        reader = _Reader()
        reader.feed(path.read_text(encoding="utf-8"))
        assert len(reader.open) == 1, f"{reader.open[-1].tag} is never closed"
        return reader.root

    return read
