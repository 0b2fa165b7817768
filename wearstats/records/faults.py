"""The faults of a chunk by row, and the wording of those that no single cell has."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from wearstats.records.cells import Cell, Fault, cell_text
from wearstats.records.columns import Column, Sheet
from wearstats.records.headers import ASIDE_HEADER, Heading
from wearstats.records.stretches import Stretch

NO_ASIDE_ID = Fault(
    "aside-number",
    f"the column {ASIDE_HEADER!r} holds the number of a row set aside before, or nothing",
    "a whole number such as 17, or blank",
)
_LONGEST_ID = 18


@dataclass(slots=True)
class Faults:
    """Faults of one chunk.

    Parameters
    ----------
    size : int
        Rows in the chunk.
    by_row : dict of int to list of (str, str, Fault)
        By the place of the row: the header and the text of the cell, empty where the fault is
        the whole row's, and the fault.
    """

    size: int
    by_row: dict[int, list[tuple[str, str, Fault]]] = field(default_factory=dict)

    def add(self, row: int, label: str, text: str, fault: Fault) -> None:
        """Note a fault."""
        self.by_row.setdefault(row, []).append((label, text, fault))

    def flags(self) -> npt.NDArray[np.bool_]:
        """Return which rows have a fault."""
        flags = np.zeros(self.size, dtype=bool)
        flags[list(self.by_row)] = True
        return flags


def written(cells: Sequence[Cell]) -> Iterator[tuple[int, str]]:
    """Yield the place and text of each cell with anything in it."""
    for row, cell in enumerate(cells):
        text = cell_text(cell).strip()
        if text:
            yield row, text


def note_stretch(stretch: Stretch, heading: Heading, faults: Faults) -> None:
    """Note the faults of a column that was read."""
    if not stretch.faults:
        return
    for row in np.flatnonzero(stretch.faulty()).tolist():
        place = int(stretch.places[row])
        faults.add(row, heading.label, stretch.texts[place], stretch.faults[place])


def note_unread(heading: Heading, cells: Sequence[Cell], faults: Faults) -> None:
    """Note what is written in a column that is not read, where it must not be passed over."""
    if heading.fault is not None:
        for row, text in written(cells):
            faults.add(row, heading.label, text, heading.fault)
    elif heading.role == "aside":
        for row, text in written(cells):
            if aside_id(text) is None:
                faults.add(row, heading.label, text, NO_ASIDE_ID)


def note_again(
    stretch: Stretch | None, heading: Heading, cells: Sequence[Cell], faults: Faults
) -> None:
    """Note the cells of a second column under the same name that say something else."""
    for row, text in written(cells):
        first = stretch.texts[int(stretch.places[row])].strip() if stretch is not None else ""
        if text != first:
            message = (
                f"another column of the same name says {first!r}"
                if first
                else ("another column of the same name is blank here")
            )
            faults.add(
                row, heading.label, text, Fault("column-twice", message, "one header for a column")
            )


def number_missing(sheet: Sheet, column: Column) -> Fault:
    """Return the fault of a row without a number among rows that have one."""
    return Fault(
        f"{sheet.counted}-number-missing",
        f"other rows of the same day and unit have a {column.name} number and this has none; "
        "number all of them, or none",
        f"a {column.name} number",
    )


def too_many(sheet: Sheet, most: float) -> Fault:
    """Return the fault of more like rows in a day than are taken."""
    return Fault(
        "value-range",
        f"it would be more than {most:.0f} {sheet.name} of one day and unit",
        f"at most {most:.0f}",
    )


def ragged(cells: int, headers: int) -> Fault:
    """Return the fault of a row that does not fit its headers."""
    return Fault(
        "row-ragged",
        f"the row has {cells} cells and there are {headers} headers, so that it cannot be told "
        "which cell belongs where",
        f"{headers} cells",
    )


def aside_id(text: str) -> int | None:
    """Return the number of a row set aside before, or None."""
    digits = text.strip()
    usable = digits.isascii() and digits.isdigit() and len(digits) <= _LONGEST_ID
    return int(digits) if usable else None


def cells_by_label(labels: Sequence[str], cells: Sequence[Cell]) -> dict[str, str]:
    """Return the text of the cells by header; those beyond the headers by their place."""
    by_label = {label: cell_text(cell) for label, cell in zip(labels, cells, strict=False)}
    for place in range(len(labels), len(cells)):
        label = f"column {place + 1}"
        while label in by_label:
            label += "'"
        by_label[label] = cell_text(cells[place])
    return by_label
