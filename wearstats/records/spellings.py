"""Ids of units that may be one unit spelled twice: asked about, never joined in silence."""

import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from wearstats.records.cells import Fault


def spelling_key(text: str) -> str:
    """Return what is left of a text without case, spaces and punctuation.

    Examples
    --------
    >>> spelling_key("K 2"), spelling_key("k-2"), spelling_key("Burn-Through")
    ('k2', 'k2', 'burnthrough')
    """
    folded = unicodedata.normalize("NFKC", text).casefold()
    key = "".join(character for character in folded if character.isalnum())
    return key or folded.strip()


@dataclass(slots=True)
class UnitSpellings:
    """The ids known so far; it learns each new one, so one instance serves a whole import.

    Parameters
    ----------
    known : iterable of str
        Ids in the book, first seen first.
    joined : mapping of str to str
        Spellings that were said to be another id.
    apart : iterable of str
        Ids that were said to be units of their own.

    Examples
    --------
    >>> spellings = UnitSpellings(known=["K2"], joined={"k-2": "K2"})
    >>> spellings.settle("K2"), spellings.settle("k-2"), spellings.settle("K 2").code
    ('K2', 'K2', 'unit-spelling')
    """

    known: Iterable[str] = ()
    joined: Mapping[str, str] = field(default_factory=dict)
    apart: Iterable[str] = ()
    _first: dict[str, str] = field(init=False, default_factory=dict)
    _apart: frozenset[str] = field(init=False, default=frozenset())

    def __post_init__(self) -> None:
        """Learn the known ids."""
        self._apart = frozenset(self.apart)
        for unit in self.known:
            self._first.setdefault(spelling_key(unit), unit)

    def joining(self, joined: Mapping[str, str]) -> "UnitSpellings":
        """Return spellings that also join these, and go on learning together with this one."""
        if not joined:
            return self
        more = UnitSpellings((), {**self.joined, **joined}, self.apart)
        more._first = self._first
        return more

    def presumed(self, typed: str) -> str:
        """Return the id most likely meant: the first seen that is spelled alike."""
        unit = self.joined.get(typed, typed)
        return unit if unit in self._apart else self._first.setdefault(spelling_key(unit), unit)

    def settle(self, typed: str) -> str | Fault:
        """Return the id meant by a typed one, or the fault that asks."""
        first = self.presumed(typed)
        if first == self.joined.get(typed, typed):
            return first
        return Fault(
            "unit-spelling",
            f"{typed!r} may be {first!r} spelled another way. If it is, log again with "
            f"--join {_quoted(f'{typed}={first}')}; if it is a unit of its own, with "
            f"--apart {_quoted(typed)}",
            f"{first!r}, or a word that it is a unit of its own",
        )


def _quoted(text: str) -> str:
    return f'"{text}"' if " " in text else text
