"""What a record is, stated once.

The reader, the checks, the book's tables and the data dictionary are all derived from the
`Column` and `Sheet` values here. To add a column, add it here and nowhere else.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

from wearstats.units import (
    BAROMETER,
    BOOST,
    GAP,
    LENGTH,
    PERCENT,
    SPEED,
    TEMPERATURE,
    TIME,
    VOLUME,
    Quantity,
)

MODES = ("burned", "pulled", "cut", "rubbed")
"""Ends of a strip that are failures; `burned` is burn-through."""


class Kind(StrEnum):
    """How a cell is read."""

    DATE = "date"
    TEXT = "text"
    NUMBER = "number"
    COUNT = "count"
    GO_NO_GO = "reading"
    CHOICE = "choice"


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a sheet.

    Parameters
    ----------
    name : str
        As written in a header and in the data dictionary.
    kind : Kind
    meaning : str
        One plain sentence.
    quantity : Quantity or None
        What is measured; fixes the units a header or a cell may name.
    limits : (float, float) or None
        Least and greatest value taken, both included, in the unit the book keeps.
    ask_below : float or None
        A bare number above 0 and below this, in the kept unit, could mean two things and is
        set aside with a question, unless the cell itself or a column map names the unit.
    ask_even_if_headed : bool
        Ask even when the header names the unit (0.004 under a header in thou).
    has_default_unit : bool
        False where a bare number under a bare header is only taken if exactly one unit
        makes it plausible (85 must be Fahrenheit; 29 is asked about).
    choices : mapping of str to tuple of str
        The words kept, each with other spellings of it.
    aliases : tuple of str
        Other headers for this column.
    required, key : bool
        Must be filled; is part of what makes a row itself.
    """

    name: str
    kind: Kind
    meaning: str
    quantity: Quantity | None = None
    limits: tuple[float, float] | None = None
    ask_below: float | None = None
    ask_even_if_headed: bool = False
    has_default_unit: bool = True
    choices: MappingProxyType[str, tuple[str, ...]] | None = None
    aliases: tuple[str, ...] = ()
    required: bool = False
    key: bool = False

    @property
    def base(self) -> str:
        """The name as an identifier, without a unit."""
        return self.name.replace(" ", "_").replace("-", "_")

    @property
    def fields(self) -> tuple[str, ...]:
        """Names under which the book keeps it: two for a go / no-go reading, else one."""
        suffix = f"_{self.quantity.kept.lower()}" if self.quantity is not None else ""
        if self.kind is Kind.GO_NO_GO:
            return (f"{self.base}_low{suffix}", f"{self.base}_high{suffix}")
        return (f"{self.base}{suffix}",)


@dataclass(frozen=True, slots=True)
class Sheet:
    """One kind of record.

    Parameters
    ----------
    name : str
        "runs", "restrips", "units" or "readings".
    meaning : str
    columns : tuple of Column
    counted : str or None
        Name of the column that counts rows alike in every other key column; where it is left
        blank it is filled by the order in which the rows are written.
    """

    name: str
    meaning: str
    columns: tuple[Column, ...]
    counted: str | None = None

    def __iter__(self) -> Iterator[Column]:
        return iter(self.columns)

    def column(self, name: str) -> Column:
        """Return the column of that name."""
        for column in self.columns:
            if column.name == name:
                return column
        message = f"the {self.name} sheet has no column {name!r}"
        raise KeyError(message)

    @property
    def required(self) -> tuple[Column, ...]:
        """Columns that must be filled."""
        return tuple(column for column in self.columns if column.required)

    @property
    def key_fields(self) -> tuple[str, ...]:
        """Fields that make a row itself."""
        return tuple(field for column in self.columns if column.key for field in column.fields)

    @property
    def fields(self) -> tuple[str, ...]:
        """All fields, in order."""
        return tuple(field for column in self.columns for field in column.fields)


def _words(**words: tuple[str, ...]) -> MappingProxyType[str, tuple[str, ...]]:
    return MappingProxyType({word.replace("_", " "): also for word, also in words.items()})


_STRIP_STATES = _words(
    sound=("ok", "good", "fine", "okay"),
    hot=("warm", "discolored", "discoloured"),
    burned=("burnt", "burn", "burn-through", "burned through", "burnt through"),
    pulled=("pulled out", "out of groove"),
    cut=("nicked", "foreign object"),
    rubbed=("rub", "contact"),
)
_ENDS = _words(
    planned=("scheduled", "service", "routine"),
    burned=("burnt", "burn", "burn-through", "burned through", "burnt through"),
    pulled=("pulled out", "out of groove"),
    cut=("nicked", "foreign object"),
    rubbed=("rub", "contact"),
    crash=("crashed", "wreck", "accident"),
    sold=("traded",),
    other=(),
)
_GAP_LIMITS = (0.0, 120.0)
_ASK_GAP = 0.2

_DATE = Column(
    "date",
    Kind.DATE,
    "Day of the run or the work; 2026-05-03 is always understood.",
    aliases=("day", "when"),
    required=True,
    key=True,
)
_UNIT = Column(
    "unit",
    Kind.TEXT,
    "The supercharger's own id, which stays with case and rotor set.",
    aliases=("unit id", "blower", "supercharger", "unit no", "unit number", "blower no"),
    required=True,
    key=True,
)
_REMARK = Column(
    "remark",
    Kind.TEXT,
    "Anything else worth keeping.",
    aliases=("remarks", "note", "notes", "comment", "comments"),
)


def _gap(name: str, meaning: str, *aliases: str) -> Column:
    return Column(
        name,
        Kind.GO_NO_GO,
        meaning,
        quantity=GAP,
        limits=_GAP_LIMITS,
        ask_below=_ASK_GAP,
        ask_even_if_headed=True,
        aliases=aliases,
    )


def _height(name: str, meaning: str, *aliases: str) -> Column:
    return Column(
        name,
        Kind.NUMBER,
        meaning,
        quantity=GAP,
        # A strip sunk below the rotor surface reads negative.
        limits=(-60.0, 120.0),
        ask_below=_ASK_GAP,
        ask_even_if_headed=True,
        aliases=aliases,
    )


_TIP = _gap("tip", "Lobe tip to case bore, by feeler.", "tip clearance", "tip gap", "od clearance")
_MESH = _gap("mesh", "Lobe to the other rotor's root, by feeler.", "mesh clearance", "mesh gap")
_END = _gap("end", "Rotor end to end plate, by feeler.", "end clearance", "end gap")
_METAL = _gap(
    "metal",
    "Rotor without strip to case (metal to metal), by feeler.",
    "metal-to-metal clearance",
    "metal to metal",
    "metal clearance",
    "bare rotor clearance",
)

RUNS = Sheet(
    "runs",
    "One row for each use under load.",
    (
        _DATE,
        _UNIT,
        Column(
            "run",
            Kind.COUNT,
            "Order in the day; blank means as written in the sheet.",
            limits=(1, 99),
            aliases=("run no", "run number", "pass", "pass no", "round"),
            key=True,
        ),
        Column("meet", Kind.TEXT, "Where and when it ran, in your words.", aliases=("event",)),
        Column("engine", Kind.TEXT, "Engine or boat it ran on.", aliases=("boat", "car", "motor")),
        Column(
            "load",
            Kind.NUMBER,
            "Share of a full run, 0 to 1; blank means 1. A shut-off run counts as a fraction.",
            limits=(0.0, 1.0),
            aliases=("share", "load share"),
        ),
        Column(
            "boost",
            Kind.NUMBER,
            "Gauge pressure in the manifold at the same point of every run, from the logger.",
            quantity=BOOST,
            limits=(0.0, 100.0),
            ask_below=5.0,
            aliases=("boost pressure", "manifold boost"),
        ),
        Column(
            "overdrive",
            Kind.NUMBER,
            "Blower speed over engine speed, in percent over: 40 means 1.40 turns per turn.",
            quantity=PERCENT,
            limits=(-50.0, 150.0),
            aliases=("od", "over drive", "overdriven", "over"),
        ),
        Column(
            "engine speed",
            Kind.NUMBER,
            "Engine speed where the boost was read.",
            quantity=SPEED,
            limits=(500.0, 15_000.0),
            aliases=("engine rpm", "rpm", "revs"),
        ),
        Column(
            "air temperature",
            Kind.NUMBER,
            "Air at the inlet.",
            quantity=TEMPERATURE,
            limits=(-20.0, 130.0),
            has_default_unit=False,
            aliases=("air temp", "air", "temp", "temperature", "ambient"),
        ),
        Column(
            "barometer",
            Kind.NUMBER,
            "Station pressure at the track, not reduced to sea level.",
            quantity=BAROMETER,
            limits=(20.0, 31.5),
            has_default_unit=False,
            aliases=("baro", "station pressure", "air pressure", "pressure"),
        ),
        Column(
            "humidity",
            Kind.NUMBER,
            "Relative humidity.",
            quantity=PERCENT,
            limits=(0.0, 100.0),
            aliases=("rh", "relative humidity", "hum"),
        ),
        Column(
            "runs since restrip",
            Kind.NUMBER,
            "Runs on these outside strips, this one included.",
            limits=(0.0, 500.0),
            aliases=("runs on strips", "since restrip", "strip runs", "runs on the strips"),
        ),
        _TIP,
        _MESH,
        _END,
        _height(
            "strip height",
            "Strip above the rotor surface after this run; negative if it has sunk below.",
            "height",
            "strip",
        ),
        Column(
            "strips",
            Kind.CHOICE,
            "What the outside strips looked like after this run; blank means nobody looked.",
            choices=_STRIP_STATES,
            aliases=("strip state", "strip condition", "strips found", "look"),
        ),
        _REMARK,
    ),
    counted="run",
)

RESTRIPS = Sheet(
    "restrips",
    "One row for each fitting of new outside-diameter strips.",
    (
        _DATE,
        _UNIT,
        Column(
            "after run",
            Kind.COUNT,
            "The run of that day after which it was done, 0 for before the first; "
            "only needed on a day with runs.",
            limits=(0, 99),
            aliases=("after pass",),
            key=True,
        ),
        Column(
            "reason",
            Kind.CHOICE,
            "Why the last build ended.",
            choices=_ENDS,
            aliases=("why", "reason for restrip", "cause"),
        ),
        Column(
            "found",
            Kind.CHOICE,
            "What the old outside strips looked like when they came out.",
            choices=_STRIP_STATES,
            aliases=("old strips", "strips found", "teardown"),
        ),
        Column("strip material", Kind.TEXT, "Material of the new strips.", aliases=("material",)),
        Column("strip lot", Kind.TEXT, "Lot of the new strips.", aliases=("lot", "batch")),
        _height(
            "strip height", "New strip above the rotor surface after the final cut.", "cut height"
        ),
        _METAL,
        _TIP,
        _MESH,
        _END,
        Column(
            "case work",
            Kind.NUMBER,
            "Thickness removed from the case bore.",
            quantity=GAP,
            limits=(0.0, 120.0),
            aliases=("case", "case removed"),
        ),
        Column("trial fits", Kind.COUNT, "Trial fits it took.", limits=(0, 99), aliases=("fits",)),
        Column(
            "hours",
            Kind.NUMBER,
            "Bench time.",
            quantity=TIME,
            limits=(0.0, 500.0),
            aliases=("time", "labor", "labour"),
        ),
        Column("cost", Kind.NUMBER, "What it cost, in your money.", limits=(0.0, 1e6)),
        Column(
            "runs already on the strips",
            Kind.NUMBER,
            "Runs the fitted strips had seen before; blank means none.",
            limits=(0.0, 500.0),
            aliases=("runs on the strips", "used runs"),
        ),
        _REMARK,
    ),
)

UNITS = Sheet(
    "units",
    "One row for each supercharger.",
    (
        _UNIT,
        Column(
            "displacement",
            Kind.NUMBER,
            "Volume moved by one turn of the blower.",
            quantity=VOLUME,
            limits=(20.0, 1500.0),
            aliases=("displacement per revolution", "displacement per rev", "volume per rev"),
        ),
        Column(
            "rotor length",
            Kind.NUMBER,
            "Length of the rotors.",
            quantity=LENGTH,
            limits=(2.0, 40.0),
            aliases=("length",),
        ),
        Column(
            "rotor diameter",
            Kind.NUMBER,
            "Rotor outside diameter over the strips.",
            quantity=LENGTH,
            limits=(1.0, 12.0),
            aliases=("diameter", "rotor od"),
        ),
        Column("lobes", Kind.COUNT, "Lobes on a rotor.", limits=(2, 6)),
        Column(
            "engine displacement",
            Kind.NUMBER,
            "Displacement of the four-stroke engine it feeds.",
            quantity=VOLUME,
            limits=(20.0, 2000.0),
            aliases=("engine size", "engine volume"),
        ),
        _METAL,
        Column(
            "service limit runs",
            Kind.NUMBER,
            "Runs on the strips that the sanctioning body or the maker allows at most.",
            limits=(1.0, 500.0),
            aliases=("service limit", "limit runs"),
        ),
        Column("taken in", Kind.DATE, "Day it joined.", aliases=("joined", "in service")),
        Column("retired", Kind.DATE, "Day it left.", aliases=("left", "out of service")),
        _REMARK,
    ),
)

READINGS = Sheet(
    "readings",
    "One row for each feeler or height reading at one place.",
    (
        _DATE,
        _UNIT,
        Column(
            "rotor",
            Kind.CHOICE,
            "Which rotor.",
            choices=_words(drive=("driver", "driving"), driven=("idler",)),
            key=True,
        ),
        Column("lobe", Kind.COUNT, "Which lobe.", limits=(1, 6), key=True),
        Column(
            "station",
            Kind.TEXT,
            "front, center, rear, or inches from the front.",
            aliases=("place", "position"),
            key=True,
        ),
        Column(
            "clock",
            Kind.NUMBER,
            "Place around the bore as on a clock face seen from the front, 0 to 12.",
            limits=(0.0, 12.0),
            aliases=("clock position", "o'clock"),
            key=True,
        ),
        Column(
            "what",
            Kind.CHOICE,
            "What was read.",
            choices=_words(
                tip=("tip clearance",),
                mesh=("mesh clearance",),
                end=("end clearance",),
                strip_height=("height",),
                metal=("metal-to-metal", "metal to metal", "bare"),
            ),
            required=True,
            key=True,
        ),
        Column(
            "repeat",
            Kind.COUNT,
            "Which reading at this place that day; blank means as written in the sheet.",
            limits=(1, 99),
            key=True,
        ),
        _height("go", "Thickest blade that enters.", "go blade"),
        _height("no-go", "Thinnest blade that does not.", "nogo", "no go blade"),
        _gap("value", "The reading, where it is one number or written as 3/4.", "reading"),
        Column("gauge", Kind.TEXT, "What it was read with.", aliases=("tool",)),
        _REMARK,
    ),
    counted="repeat",
)

SHEETS = MappingProxyType({sheet.name: sheet for sheet in (RUNS, RESTRIPS, UNITS, READINGS)})
