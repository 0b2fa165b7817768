"""Numbers as people type them: decimal points and commas, signs, a unit behind."""

import re
from dataclasses import dataclass

_PLAIN = re.compile(r"(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_DECIMAL_COMMA = re.compile(r"([0-9]*),([0-9]+)")
_GROUPED_POINT = re.compile(r"[1-9][0-9]{0,2}(?:(?:,[0-9]{3})+\.[0-9]+|(?:,[0-9]{3}){2,})")
_GROUPED_COMMA = re.compile(r"[1-9][0-9]{0,2}(?:(?:\.[0-9]{3})+,[0-9]+|(?:\.[0-9]{3}){2,})")
_NUMERAL = r"(?:[0-9][0-9.,]*|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
_AMOUNT = re.compile(rf"(?P<sign>[+-]?)\s*(?P<numeral>{_NUMERAL})\s*(?P<unit>.*)", re.DOTALL)
_PAIR = re.compile(
    rf"(?P<low>[+-]?{_NUMERAL})\s*(?P<low_unit>[^0-9/<>\-]*?)\s*(?P<dash>/|-|to)\s*"
    rf"(?P<high>[+-]?{_NUMERAL})\s*(?P<high_unit>[^0-9/<>\-]*)"
)
_SIDE = re.compile(r"(?P<side><=|>=|<|>|≤|≥)\s*(?P<rest>.*)", re.DOTALL)
_SPACES = str.maketrans(dict.fromkeys("\u00a0\u2007\u2009\u202f", " "))
_DASHES = str.maketrans({"−": "-", "–": "-", "—": "-", "‐": "-", "‑": "-"})
_GROUP_DIGITS = 3


@dataclass(frozen=True, slots=True)
class Amount:
    """A typed number with the unit typed behind it.

    Parameters
    ----------
    meanings : tuple of float
        What the digits may mean: one number where they are clear, two where a comma may be a
        decimal or a thousands mark.
    unit : str
        As typed, or empty.
    """

    meanings: tuple[float, ...]
    unit: str


def tidy(text: str) -> str:
    """Return text with ordinary spaces and dashes, stripped."""
    return text.translate(_SPACES).translate(_DASHES).strip()


def meanings(numeral: str) -> tuple[float, ...]:
    """Return the numbers that unsigned digits may mean; none where they are no number.

    Examples
    --------
    >>> meanings("0,10"), meanings("8,200"), meanings("1.250,5"), meanings("1,2,3")
    ((0.1,), (8.2, 8200.0), (1250.5,), ())
    """
    if _PLAIN.fullmatch(numeral):
        return (float(numeral),)
    if match := _DECIMAL_COMMA.fullmatch(numeral):
        whole, part = match.groups()
        decimal = float(f"{whole or 0}.{part}")
        grouped = len(part) == _GROUP_DIGITS and re.fullmatch(r"[1-9][0-9]{0,2}", whole)
        return (decimal, float(whole + part)) if grouped else (decimal,)
    if _GROUPED_POINT.fullmatch(numeral):
        return (float(numeral.replace(",", "")),)
    if _GROUPED_COMMA.fullmatch(numeral):
        return (float(numeral.replace(".", "").replace(",", ".")),)
    return ()


def amount(text: str) -> Amount | None:
    """Read one number and what is typed behind it, or None.

    Examples
    --------
    >>> amount('.004"')
    Amount(meanings=(0.004,), unit='"')
    """
    match = _AMOUNT.fullmatch(text)
    if match is None:
        return None
    found = meanings(match["numeral"])
    if not found:
        return None
    sign = -1.0 if match["sign"] == "-" else 1.0
    return Amount(tuple(sign * value for value in found), match["unit"].strip())


def pair(text: str) -> tuple[Amount, Amount] | None:
    """Read `3/4`, `3-4` or `3 to 4`; a unit typed once holds for both.

    Examples
    --------
    >>> low, high = pair(".003/.004 in")
    >>> low.unit, high.meanings
    ('in', (0.004,))
    """
    match = _PAIR.fullmatch(text)
    if match is None or (match["high"].startswith("-") and match["dash"] == "-"):
        return None
    low, high = amount(match["low"]), amount(match["high"])
    if low is None or high is None:
        return None
    low_unit, high_unit = match["low_unit"].strip(), match["high_unit"].strip()
    return (
        Amount(low.meanings, low_unit or high_unit),
        Amount(high.meanings, high_unit or low_unit),
    )


def one_sided(text: str) -> tuple[str, str] | None:
    """Part `<2` into its side, `<` or `>`, and the rest; None where it is not one-sided."""
    match = _SIDE.fullmatch(text)
    if match is None:
        return None
    return ("<" if match["side"] in {"<", "<=", "≤"} else ">", match["rest"].strip())


def comma_may_part(text: str) -> bool:
    """Tell whether the comma in `3,4` may stand between two readings.

    Examples
    --------
    >>> comma_may_part("3,4"), comma_may_part("0,10 mm"), comma_may_part("3,0")
    (True, False, False)
    """
    match = re.match(r"\s*([1-9][0-9]*)\s*,\s*([1-9][0-9]*)(?![0-9.,])", text)
    return match is not None and int(match[2]) > int(match[1])
