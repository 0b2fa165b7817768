"""A season as files: three kinds of sheet from two hands, costs, and the truth beside them."""

import csv
import io
import json
import math
import re
import zipfile
from dataclasses import asdict, dataclass
from datetime import date, datetime
from functools import partial
from pathlib import Path
from typing import IO

import numpy as np
import pandas as pd
from openpyxl import Workbook

from wearstats.records.write import write_whole
from wearstats_synthetic.fleet import SIMULATED
from wearstats_synthetic.season import SimulatedSeason
from wearstats_synthetic.sheets import Cell, Draft, drafts
from wearstats_synthetic.spoil import Fault, spoil

TRUTH_FILE = "truth.json"
COSTS_FILE = "costs.toml"
_SPOIL_STREAM = 7_001
_ZIP_EPOCH = (1980, 1, 1, 0, 0, 0)
_STAMP = "2024-01-01T00:00:00Z"
_COSTS = f"""\
# {SIMULATED}: invented costs of the demo season, no source.
planned_restrip = 350.0
# What a burn-through costs beyond a planned restrip.
burn_through = 900.0
lost_psi_per_run = 6.0
currency = "USD"
"""


@dataclass(frozen=True, slots=True)
class WrittenSeason:
    """What was written.

    Parameters
    ----------
    files : tuple of Path
        The sheets, in the order runs, restrips, units, readings.
    costs_path : Path
    faults : tuple of Fault
        Every fault put in on purpose.
    truth_path : Path
    """

    files: tuple[Path, ...]
    costs_path: Path
    faults: tuple[Fault, ...]
    truth_path: Path


def write_sheets(season: SimulatedSeason, folder: Path, *, spoiled: bool = True) -> WrittenSeason:
    """Write a season's sheets as people write them, byte for byte the same for a seed.

    Parameters
    ----------
    season : SimulatedSeason
    folder : Path
        Made if it is not there; files of the same names are replaced.
    spoiled : bool
        Put in the known faults; False writes every row right.

    Returns
    -------
    WrittenSeason
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    sheets: list[Draft] = drafts(season)
    faults: tuple[Fault, ...] = ()
    if spoiled:
        seeds = np.random.SeedSequence([season.seed, _SPOIL_STREAM])
        sheets, faults = spoil(sheets, season, np.random.default_rng(seeds))
    files = []
    for draft in sheets:
        path = folder / draft.file
        content = _workbook(draft) if path.suffix == ".xlsx" else _csv(draft)
        write_whole(path, partial(_put, content))
        files.append(path)
    costs, truth = folder / COSTS_FILE, folder / TRUTH_FILE
    write_whole(costs, partial(_put, _COSTS.encode()))
    write_whole(truth, partial(_put, _truth(season, faults).encode()))
    return WrittenSeason(tuple(files), costs, faults, truth)


def _put(content: bytes, file: IO[bytes]) -> None:
    file.write(content)


def _csv(draft: Draft) -> bytes:
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(draft.headers)
    writer.writerows([_plain(cell) for cell in row] for row in draft.rows)
    return buffer.getvalue().encode()


def _plain(cell: Cell) -> str:
    if cell is None:
        return ""
    return cell.isoformat() if isinstance(cell, date) else str(cell)


def _workbook(draft: Draft) -> bytes:
    book = Workbook()
    page = book.active
    if page is None:  # a new workbook has a page
        page = book.create_sheet()
    page.title = "Runs"
    page.append(list(draft.headers))
    for number, row in enumerate(draft.rows, start=2):
        for place, value in enumerate(row, start=1):
            if value is None:
                continue
            cell = page.cell(number, place)
            if isinstance(value, date):
                cell.value = datetime(value.year, value.month, value.day)  # noqa: DTZ001 - a date cell has no zone
                cell.number_format = "yyyy-mm-dd"
            else:
                cell.value = value
                if isinstance(value, str):
                    cell.data_type = "s"  # text, never a formula
    raw = io.BytesIO()
    book.save(raw)
    return _without_clock(raw.getvalue())


def _without_clock(content: bytes) -> bytes:
    """Repack a workbook with fixed times, so that the same season gives the same bytes."""
    packed = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as old,
        zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for name in sorted(old.namelist()):
            part = old.read(name)
            if name == "docProps/core.xml":
                part = re.sub(
                    rb"(<dcterms:(created|modified)[^>]*>)[^<]*(</dcterms:)",
                    rb"\g<1>" + _STAMP.encode() + rb"\g<3>",
                    part,
                )
            new.writestr(zipfile.ZipInfo(name, _ZIP_EPOCH), part, zipfile.ZIP_DEFLATED)
    return packed.getvalue()


def _truth(season: SimulatedSeason, faults: tuple[Fault, ...]) -> str:
    builds = [
        {str(name): _json(value) for name, value in row.items()}
        for row in season.builds.to_dict("records")
    ]
    told = {
        "simulated": True,
        "note": f"{SIMULATED}: no real boats, meets or superchargers",
        "seed": season.seed,
        "truth": asdict(season.truth),
        "derived": asdict(season.derived),
        "counts": {name: len(frame) for name, frame in season.frames.items()},
        "builds": builds,
        "faults": [asdict(fault) for fault in faults],
    }
    return json.dumps(told, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _json(value: object) -> object:
    """Turn a cell of the truth into JSON: no day and no failure are null."""
    if isinstance(value, pd.Timestamp):
        return value.date().isoformat()
    if value is pd.NaT or (isinstance(value, float) and not math.isfinite(value)):
        return None
    return value
