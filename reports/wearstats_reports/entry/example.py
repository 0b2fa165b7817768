"""One filled row for each sheet, of an invented outfit; shown on the guide, never read."""

from collections.abc import Mapping, Sequence
from types import MappingProxyType

from wearstats.records.columns import Column, Sheet
from wearstats.records.values import cell_reader
from wearstats.units import Unit
from wearstats_reports.entry.filled import Filled, written

EXAMPLE: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        "runs": {
            "date": "2026-05-02",
            "unit": "K3",
            "run": "2",
            "meet": "Lake Quillowen",
            "engine": "boat A",
            "load": "1",
            "boost": "31.4",
            "overdrive": "38",
            "engine speed": "8200",
            "air temperature": "78",
            "barometer": "29.65",
            "humidity": "52",
            "runs since restrip": "7",
            "tip": "3/4",
            "mesh": "4",
            "end": "6",
            "strip height": "35",
            "strips": "sound",
            "remark": "looked at with a light",
        },
        "restrips": {
            "date": "2026-04-18",
            "unit": "K3",
            "after run": "0",
            "reason": "planned",
            "found": "hot",
            "strip material": "urethane",
            "strip lot": "L07",
            "strip height": "35.5",
            "metal": "38/39",
            "tip": "2/3",
            "mesh": "4",
            "end": "6",
            "case work": "0.5",
            "trial fits": "3",
            "hours": "5.5",
            "cost": "350",
            "runs already on the strips": "0",
            "remark": "tight at the rear",
        },
        "units": {
            "unit": "K3",
            "displacement": "500",
            "rotor length": "19",
            "rotor diameter": "5.8",
            "lobes": "3",
            "engine displacement": "500",
            "metal": "38/39",
            "service limit runs": "18",
            "taken in": "2026-03-01",
            "remark": "shared by boats A and B",
        },
        "readings": {
            "date": "2026-05-02",
            "unit": "K3",
            "rotor": "drive",
            "lobe": "1",
            "station": "front",
            "clock": "12",
            "what": "tip",
            "repeat": "1",
            "go": "3",
            "no-go": "4",
            "gauge": "feeler blades",
            "remark": "cold",
        },
    }
)
"""In the units the book keeps. Names and numbers are invented; a blank cell is left out."""


_DIGITS = 3
"""Of an example that is converted."""


def example(sheet: Sheet, column: Column, unit: Unit | None) -> Filled:
    """Return the example of a column in a unit, None where the example leaves it blank."""
    text = EXAMPLE[sheet.name].get(column.name)
    if text is None:
        return None
    kept = column.quantity.kept if column.quantity is not None else None
    read: Sequence[object] = cell_reader(column, headed=kept)(text)  # type: ignore[assignment]
    if unit is None or unit.name == kept:
        return written(column, read, unit)
    return written(column, read, unit, digits=_DIGITS)
