"""From a season's records to strip lives."""

import numpy as np
import pandas as pd

from wearstats.arrays import BoolArray, IntArray
from wearstats.lives.ages import Ages, count_ages
from wearstats.lives.builds import Builds, Fault, divide
from wearstats.lives.counter import LOAD_PARTS
from wearstats.lives.ends import Ends, read_ends
from wearstats.lives.restrips import OrderedRestrips, order_restrips
from wearstats.lives.service import Service, read_service, service_faults
from wearstats.lives.strip_lives import LeftOut, StripLives
from wearstats.lives.timeline import OrderedRuns, order_runs
from wearstats.records.schema import MODES, RUNS
from wearstats.records.season import Season

_MOST_NAMED = 12


def lives_of(season: Season) -> StripLives:
    """Turn a season's runs and restrips into strip lives, one for each build.

    Ages are load-weighted runs since restrip. A life found failed after age a and last found
    sound at age b lies in (b, a], b being the entry if nobody looked in between. Otherwise it
    is right-censored at the last age found sound. Records that contradict each other are
    never patched up: the build is left out, by name and with both readings.

    Parameters
    ----------
    season : Season
        Canonical rows in any order.

    Returns
    -------
    StripLives

    Raises
    ------
    ObservationError
        A row without unit or date.
    """
    names = {*season.runs["unit"].dropna().unique(), *season.restrips["unit"].dropna().unique()}
    runs = order_runs(season.runs, tuple(sorted(names)))
    restrips = order_restrips(season.restrips, runs)
    builds = divide(runs, restrips)
    ages = count_ages(runs, restrips, builds)
    ends = read_ends(runs, restrips, builds, ages)
    service = read_service(season.units, runs.units)
    faults = _faults(builds, ages, ends, service_faults(service, runs, restrips, builds))
    out = np.zeros(builds.count, dtype=bool)
    out[[fault.build for fault in faults]] = True
    frame = _lives_frame(runs, restrips, builds, ages, ends, service=service, out=out)
    return StripLives(
        frame=frame,
        runs=_runs_frame(runs, builds, ages),
        left_out=tuple(
            LeftOut(
                unit=runs.units[builds.unit[fault.build]],
                build=int(builds.number[fault.build]),
                code=fault.code,
                message=fault.message,
            )
            for fault in faults
        ),
        notes=_notes(frame, ends, builds, restrips),
    )


def _faults(builds: Builds, ages: Ages, ends: Ends, dated: list[Fault]) -> list[Fault]:
    """Gather the faults, the first of each code for each build.

    Where a boundary is in doubt, what follows from its provisional place is not reported.
    """
    boundary = builds.faults
    doubtful = {fault.build for fault in boundary}
    others = [fault for fault in (*ages.faults, *ends.faults) if fault.build not in doubtful]
    kept: dict[tuple[int, str], Fault] = {}
    for fault in (*boundary, *dated, *others):
        kept.setdefault((fault.build, fault.code), fault)
    return [kept[key] for key in sorted(kept)]


def _lives_frame(
    runs: OrderedRuns,
    restrips: OrderedRestrips,
    builds: Builds,
    ages: Ages,
    ends: Ends,
    *,
    service: Service,
    out: BoolArray,
) -> pd.DataFrame:
    last = np.ones(builds.count, dtype=bool)
    last[:-1] = builds.unit[1:] != builds.unit[:-1]
    retired = last & service.has_left(builds.unit)
    ended_by, begun_by = builds.ended_by, builds.begun_by
    # A unit that was sold has left, unless it ran again.
    sold = last & ~retired & (builds.runs == 0)
    sold &= _pick(restrips.frame["reason"], begun_by, "") == "sold"
    ending = _pick(restrips.frame["reason"], ended_by, "unknown")
    ending[last] = "in use"
    ending[retired] = "retired"
    ending[sold] = "sold"
    restrip_days = np.append(restrips.day.astype("datetime64[D]"), np.datetime64("NaT", "D"))
    ended = restrip_days[np.where(sold, begun_by, ended_by)]
    ended[retired] = service.retired[builds.unit[retired]].astype("datetime64[D]")
    mode = np.array([*MODES, ""], dtype=object)[np.where(out, -1, ends.mode)]
    looked = ~np.isnan(ends.last_look)
    look_day = np.full(builds.count, np.datetime64("NaT", "D"), dtype="datetime64[D]")
    look_day[looked] = ends.last_look_day[looked].astype("datetime64[D]")
    return pd.DataFrame(
        {
            "unit": np.array(runs.units, dtype=object)[builds.unit],
            "build": builds.number,
            "began": restrip_days[begun_by].astype("datetime64[ns]"),
            "ended": ended.astype("datetime64[ns]"),
            "entry": ages.entry,
            "lower": np.where(out, np.nan, ends.lower),
            "upper": np.where(out, np.nan, ends.upper),
            "mode": mode,
            "ending": ending,
            "runs": builds.runs,
            "age": ages.end,
            "last_look": ends.last_look,
            "last_look_date": look_day.astype("datetime64[ns]"),
            "open": last & ~retired & ~sold,
            "left_out": out,
            "strip_material": _pick(restrips.frame["strip_material"], begun_by, None),
            "strip_lot": _pick(restrips.frame["strip_lot"], begun_by, None),
            "strip_height_thou": np.append(
                restrips.frame["strip_height_thou"].to_numpy(dtype=np.float64, na_value=np.nan),
                np.nan,
            )[begun_by],
            "weight": np.ones(builds.count),
        }
    )


def _pick(words: pd.Series, row: IntArray, none: str | None) -> np.ndarray:
    """Take text by row, `none` where it is blank or the row is -1; shape (b,), object."""
    filled = np.append(words.to_numpy(dtype=object), np.array([None], dtype=object))
    filled[pd.isna(filled)] = none
    return filled[row]


def _runs_frame(runs: OrderedRuns, builds: Builds, ages: Ages) -> pd.DataFrame:
    load = runs.load_parts / LOAD_PARTS
    bad = runs.bad_load
    load[bad] = runs.frame["load"].to_numpy(dtype=np.float64)[bad]
    first = {
        "unit": runs.frame["unit"],
        "build": builds.number[builds.of_run],
        "date": runs.frame["date"],
        "run": runs.frame["run"],
        "load": load,
        "age_before": ages.before,
        "age_after": ages.after,
    }
    rest = {name: runs.frame[name] for name in RUNS.fields if name not in first}
    return pd.DataFrame(first | rest, copy=False)  # a million rows: do not gather the columns


def _notes(
    frame: pd.DataFrame, ends: Ends, builds: Builds, restrips: OrderedRestrips
) -> tuple[str, ...]:
    usable = ~frame["left_out"].to_numpy(dtype=bool)
    entry, lower = frame["entry"].to_numpy(), frame["lower"].to_numpy()
    silent = usable & (lower <= entry) & np.isinf(frame["upper"].to_numpy())
    notes = []
    if silent.any():
        rows = np.flatnonzero(silent).tolist()
        which = ", ".join(_named(frame, at) for at in rows[:_MOST_NAMED])
        if len(rows) > _MOST_NAMED:
            which += f" and {len(rows) - _MOST_NAMED} more"
        count = f"{silent.sum()} lives tell" if silent.sum() > 1 else "1 life tells"
        notes.append(f"{count} nothing, as nobody looked at the strips since: {which}")
    notes += [
        f"{_named(frame, at)} was first looked at when failed; taken as sound when it "
        f"joined with {entry[at]:g} runs on its strips"
        for at in np.flatnonzero(usable & ends.first_look_failed & (entry > 0)).tolist()
    ]
    opening = (builds.number == 1) & (builds.begun_by >= 0)
    for at in np.flatnonzero(opening).tolist():
        row = restrips.frame.iloc[builds.begun_by[at]]
        words = [word for word in (row["found"], row["reason"]) if word in MODES]
        if words:
            notes.append(
                f"{frame['unit'].iloc[at]}: the restrip of {row['date']:%Y-%m-%d} tells of "
                f"{words[0]} strips, but no run on them is recorded; no life comes of it"
            )
    return tuple(notes)


def _named(frame: pd.DataFrame, at: int) -> str:
    return f"{frame['unit'].iloc[at]} build {frame['build'].iloc[at]}"
