"""File names that are safe on every system, whatever a unit is called."""

import hashlib
import re
import unicodedata
from collections.abc import Iterable

_LONGEST = 40
_SHORT = 12
_RESERVED = frozenset(
    {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))}
)

_ENDS_LIKE_A_MARK = re.compile(r"(^|-)[0-9a-f]{8}$")


def slug(text: str) -> str:
    """Return `text` in lower case with letters, digits and single hyphens only; may be empty.

    Examples
    --------
    >>> slug("K 2"), slug("../../x"), slug("Größe"), slug("🏁")
    ('k-2', 'x', 'grosse', '')
    """
    flat = unicodedata.normalize("NFKD", text.casefold())
    letters = "".join(c for c in flat if not unicodedata.combining(c))
    return re.sub(r"[^a-z0-9]+", "-", letters).strip("-")[:_LONGEST].strip("-")


def short_name(unit: str, most: int = _SHORT) -> str:
    """Return an id that fits beside a figure or in a list and holds nothing XML cannot.

    Examples
    --------
    >>> short_name("K1"), short_name("the red one at the back")
    ('K1', 'the red one…')
    """
    shown = "".join(c if c.isprintable() else "\ufffd" for c in unit)
    return shown if len(shown) <= most else f"{shown[: most - 1]}…"


def _mark(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:8]


def page_names(units: Iterable[str]) -> dict[str, str]:
    """Return a file name for each unit's page.

    A name that had to be changed by more than its case carries a short hash of the id, and so
    does every one of several ids that would share a file on a system that ignores case.

    Examples
    --------
    >>> page_names(["K1"])
    {'K1': 'unit-k1.html'}
    """
    slugs = {unit: slug(unit) for unit in units}
    counts: dict[str, int] = {}
    for name in slugs.values():
        counts[name] = counts.get(name, 0) + 1
    names = {}
    for unit, name in slugs.items():
        plain = name == unit.casefold() and name != "" and name not in _RESERVED
        # A name that ends as a mark does could be another unit's changed name.
        kept = plain and counts[name] == 1 and not _ENDS_LIKE_A_MARK.search(name)
        stem = name if kept else "-".join(part for part in (name, _mark(unit)) if part)
        names[unit] = f"unit-{stem}.html"
    return names
