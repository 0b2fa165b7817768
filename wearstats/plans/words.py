"""Numbers as people say them, one rule for every sentence of a plan."""

from wearstats.estimates import Estimate

_WORDS = (
    "no",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
)
_HALF_PERCENT = 0.005
_MOST_DIGITS = 6


def runs_in_words(runs: float, *, more: bool = False) -> str:
    """Return a number of runs in words.

    Examples
    --------
    >>> runs_in_words(6), runs_in_words(1), runs_in_words(6.4), runs_in_words(30)
    ('six runs', 'one run', '6.4 runs', '30 runs')
    >>> runs_in_words(4, more=True)
    'four more runs'
    """
    if runs == int(runs) and 0 <= runs < len(_WORDS):
        number = _WORDS[int(runs)]
    else:
        number = f"{runs:.1f}".removesuffix(".0")
    counted = f"{number} more" if more else number
    return f"{counted} run" if runs == 1 else f"{counted} runs"


def percent_exactly(share: float) -> str:
    """Return a share that somebody chose, as chosen.

    Examples
    --------
    >>> percent_exactly(0.9), percent_exactly(0.995), percent_exactly(1 - 0.9)
    ('90 %', '99.5 %', '10 %')
    """
    return f"{100 * share:.6g} %"


def percent(chance: float, bound: float | None = None) -> str:
    """Return a chance in percent, never rounded to certainty.

    Parameters
    ----------
    chance : float
        0 to 1.
    bound : float, optional
        A chance under this is never rounded up to it.

    Examples
    --------
    >>> percent(0.934), percent(0.9999), percent(0.001), percent(0.896, 0.9)
    ('93 %', 'over 99 %', 'under 1 %', '89.6 %')
    """
    if chance >= 1 - _HALF_PERCENT:
        return "over 99 %"
    if chance <= _HALF_PERCENT:
        return "under 1 %"
    digits = 0
    if bound is not None and chance < bound:
        while round(100 * chance, digits) >= 100 * bound and digits < _MOST_DIGITS:
            digits += 1
    return f"{100 * chance:.{digits}f} %"


def percent_with_interval(chance: Estimate, bound: float | None = None) -> str:
    """Return a chance with its interval.

    Examples
    --------
    >>> percent_with_interval(Estimate(0.934, 0.88, 0.97, 0.9))
    '93 % (88 % to 97 %)'
    """
    if chance.estimate is None:
        return "not known"
    middle = percent(chance.estimate, bound)
    if chance.low is None or chance.high is None:
        return middle
    return f"{middle} ({percent(chance.low)} to {percent(chance.high)})"


def money(amount: float, currency: str) -> str:
    """Return a sum of money.

    Examples
    --------
    >>> money(83.267, "USD"), money(1234.5, "")
    ('83.27 USD', '1,234')
    """
    hundred = 100
    number = f"{amount:,.2f}" if abs(amount) < hundred else f"{amount:,.0f}"
    return f"{number} {currency}" if currency else number


def money_with_interval(amount: Estimate) -> str:
    """Return a sum of money with its interval; its unit is the currency.

    Examples
    --------
    >>> money_with_interval(Estimate(83.267, 71.4, 101.2, 0.9, "USD"))
    '83 USD (71 to 101)'
    """
    if amount.estimate is None:
        return "not known"
    whole = f"{amount.estimate:,.0f} {amount.unit}".rstrip()
    if amount.low is None or amount.high is None:
        return whole
    return f"{whole} ({amount.low:,.0f} to {amount.high:,.0f})"


def about_money(amount: float, currency: str) -> str:
    """Return an expected sum of money as finely as it is known: whole, in two figures.

    Examples
    --------
    >>> about_money(59.51, "USD"), about_money(1234.5, ""), about_money(3.2, "USD")
    ('about 60 USD', 'about 1,200', 'about 3 USD')
    """
    number = _two_figures(amount)
    return f"about {number} {currency}" if currency else f"about {number}"


def less_or_more(gain: Estimate) -> str:
    """Return the interval of what is gained, as what is spent less or more.

    Examples
    --------
    >>> less_or_more(Estimate(72, -21, 130, 0.9)), less_or_more(Estimate(-490, -912, -101, 0.9))
    ('21 more to 130 less', '100 to 910')
    """
    low, high = gain.low or 0.0, gain.high or 0.0
    if low < 0 < high:
        return f"{_two_figures(-low)} more to {_two_figures(high)} less"
    return " to ".join(_two_figures(end) for end in sorted((abs(low), abs(high))))


def _two_figures(amount: float) -> str:
    return f"{float(f'{amount:.2g}'):,.0f}"


def stretch(low: int, high: int | None) -> str:
    """Return a stretch of runs in words.

    Examples
    --------
    >>> stretch(6, 9), stretch(6, 6), stretch(6, None)
    ('6 to 9 runs', 'six runs', '6 runs and more')
    """
    if high is None:
        return f"{low} runs and more"
    return runs_in_words(low) if low == high else f"{low} to {high} runs"
