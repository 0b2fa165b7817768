"""Columns and words that more than one sheet shares."""

from types import MappingProxyType

from wearstats.records.columns import Column, Kind
from wearstats.units import GAP


def words(**also: tuple[str, ...]) -> MappingProxyType[str, tuple[str, ...]]:
    """Return choice words, each with its other spellings; `_` stands for a space."""
    return MappingProxyType({word.replace("_", " "): tuple(more) for word, more in also.items()})


STRIP_STATES = words(
    sound=("ok", "good", "fine", "okay"),
    hot=("warm", "discolored", "discoloured"),
    burned=("burnt", "burn", "burn-through", "burned through", "burnt through"),
    pulled=("pulled out", "out of groove"),
    cut=("nicked", "foreign object"),
    rubbed=("rub", "contact"),
)
ENDS = words(
    planned=("scheduled", "service", "routine"),
    burned=("burnt", "burn", "burn-through", "burned through", "burnt through"),
    pulled=("pulled out", "out of groove"),
    cut=("nicked", "foreign object"),
    rubbed=("rub", "contact"),
    crash=("crashed", "wreck", "accident"),
    sold=("traded",),
    other=(),
)
GAP_LIMITS = (0.0, 120.0)
HEIGHT_LIMITS = (-60.0, 120.0)
"""A strip sunk below the rotor surface reads negative."""

ASK_GAP = 0.2
"""A bare reading below this many thou was hardly meant in thou."""

DATE = Column(
    "date",
    Kind.DATE,
    "Day of the run or the work; 2026-05-03 is always understood.",
    aliases=("day", "when"),
    required=True,
    key=True,
)
UNIT = Column(
    "unit",
    Kind.TEXT,
    "The supercharger's own id, which stays with case and rotor set.",
    aliases=("unit id", "blower", "supercharger", "unit no", "unit number", "blower no"),
    required=True,
    key=True,
)
REMARK = Column(
    "remark",
    Kind.TEXT,
    "Anything else worth keeping.",
    aliases=("remarks", "note", "notes", "comment", "comments"),
)


def gap(name: str, meaning: str, *aliases: str, limits: tuple[float, float] = GAP_LIMITS) -> Column:
    """Return a column of clearances read by feeler."""
    return Column(
        name,
        Kind.GO_NO_GO,
        meaning,
        quantity=GAP,
        limits=limits,
        ask_below=ASK_GAP,
        ask_even_if_headed=True,
        aliases=aliases,
    )


def height(name: str, meaning: str, *aliases: str) -> Column:
    """Return a column of heights, which may be negative."""
    return Column(
        name,
        Kind.NUMBER,
        meaning,
        quantity=GAP,
        limits=HEIGHT_LIMITS,
        ask_below=ASK_GAP,
        ask_even_if_headed=True,
        aliases=aliases,
    )


TIP = gap("tip", "Lobe tip to case bore, by feeler.", "tip clearance", "tip gap", "od clearance")
MESH = gap("mesh", "Lobe to the other rotor's root, by feeler.", "mesh clearance", "mesh gap")
END = gap("end", "Rotor end to end plate, by feeler.", "end clearance", "end gap")
METAL = gap(
    "metal",
    "Rotor without strip to case (metal to metal), by feeler.",
    "metal-to-metal clearance",
    "metal to metal",
    "metal clearance",
    "bare rotor clearance",
)
