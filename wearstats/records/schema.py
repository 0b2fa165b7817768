"""What a record is, stated once.

The reader, the checks, the book's tables and the data dictionary are all derived from the
`Column` and `Sheet` values here. To add a column, add it here and nowhere else.
"""

from types import MappingProxyType

from wearstats.records.columns import Column, Kind, Sheet
from wearstats.records.common import (
    ASK_GAP,
    DATE,
    END,
    ENDS,
    GAP_LIMITS,
    HEIGHT_LIMITS,
    MESH,
    METAL,
    REMARK,
    STRIP_STATES,
    TIP,
    UNIT,
    gap,
    height,
    words,
)
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
)

__all__ = ["MODES", "READINGS", "RESTRIPS", "RUNS", "SHEETS", "UNITS", "Column", "Kind", "Sheet"]

MODES = ("burned", "pulled", "cut", "rubbed")
"""Ends of a strip that are failures; `burned` is burn-through."""

RUNS = Sheet(
    "runs",
    "One row for each use under load.",
    (
        DATE,
        UNIT,
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
            may_be_percent=True,
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
            # 0.4 may be a fraction, 1.4 the drive ratio: both mean 40.
            ask_below=2.0,
            ask_even_if_headed=True,
            hint="A drive ratio of 1.40 is 40 % over.",
            aliases=("od", "overdriven", "over"),
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
            ask_below=1.5,
            ask_even_if_headed=True,
            aliases=("rh", "relative humidity", "hum"),
        ),
        Column(
            "runs since restrip",
            Kind.NUMBER,
            "Runs on these outside strips, this one included.",
            limits=(0.0, 10_000.0),
            aliases=("runs on strips", "since restrip", "strip runs", "runs on the strips"),
        ),
        TIP,
        MESH,
        END,
        height(
            "strip height",
            "Strip above the rotor surface after this run; negative if it has sunk below.",
            "height",
            "strip",
        ),
        Column(
            "strips",
            Kind.CHOICE,
            "What the outside strips looked like after this run; blank means nobody looked.",
            choices=STRIP_STATES,
            aliases=("strip state", "strip condition", "strips found", "look"),
        ),
        REMARK,
    ),
    counted="run",
)

RESTRIPS = Sheet(
    "restrips",
    "One row for each fitting of new outside-diameter strips.",
    (
        DATE,
        UNIT,
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
            choices=ENDS,
            aliases=("why", "reason for restrip", "cause"),
        ),
        Column(
            "found",
            Kind.CHOICE,
            "What the old outside strips looked like when they came out.",
            choices=STRIP_STATES,
            aliases=("old strips", "strips found", "teardown"),
        ),
        Column("strip material", Kind.TEXT, "Material of the new strips.", aliases=("material",)),
        Column("strip lot", Kind.TEXT, "Lot of the new strips.", aliases=("lot", "batch")),
        height(
            "strip height", "New strip above the rotor surface after the final cut.", "cut height"
        ),
        METAL,
        TIP,
        MESH,
        END,
        Column(
            "case work",
            Kind.NUMBER,
            "Thickness removed from the case bore.",
            quantity=GAP,
            limits=GAP_LIMITS,
            ask_below=ASK_GAP,
            ask_even_if_headed=True,
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
            limits=(0.0, 10_000.0),
            aliases=("runs on the strips", "used runs"),
        ),
        REMARK,
    ),
)

UNITS = Sheet(
    "units",
    "One row for each supercharger.",
    (
        UNIT,
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
        METAL,
        Column(
            "service limit runs",
            Kind.NUMBER,
            "Runs on the strips that the sanctioning body or the maker allows at most.",
            limits=(1.0, 10_000.0),
            aliases=("service limit", "limit runs"),
        ),
        Column("taken in", Kind.DATE, "Day it joined.", aliases=("joined", "in service")),
        Column("retired", Kind.DATE, "Day it left.", aliases=("left", "out of service")),
        REMARK,
    ),
)

READINGS = Sheet(
    "readings",
    "One row for each feeler or height reading at one place.",
    (
        DATE,
        UNIT,
        Column(
            "rotor",
            Kind.CHOICE,
            "Which rotor.",
            choices=words(drive=("driver", "driving"), driven=("idler",)),
            key=True,
        ),
        Column("lobe", Kind.COUNT, "Which lobe.", limits=(1, 6), key=True),
        Column(
            "station",
            Kind.TEXT,
            "front, center, rear, or inches from the front.",
            folded=True,
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
            choices=words(
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
        height("go", "Thickest blade that enters.", "go blade"),
        height("no-go", "Thinnest blade that does not.", "no go blade"),
        gap(
            "value",
            "The reading, where it is one number or written as 3/4.",
            "reading",
            limits=HEIGHT_LIMITS,
        ),
        Column("gauge", Kind.TEXT, "What it was read with.", aliases=("tool",)),
        REMARK,
    ),
    counted="repeat",
)

SHEETS = MappingProxyType({sheet.name: sheet for sheet in (RUNS, RESTRIPS, UNITS, READINGS)})
