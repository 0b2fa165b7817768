"""Runs on the strips as tally strokes: solid where somebody has looked since, open where not."""

import math

from markupsafe import Markup

from wearstats_reports import numbers

_MOST = 100
_GATE = 5
_EPS = 1e-9


def strokes(age: float | None, last_look_age: float | None) -> tuple[tuple[float, bool], ...]:
    """Return one (length, seen) per stroke; the last is short where a run counted in part.

    Examples
    --------
    >>> strokes(2.5, 2.0)
    ((1.0, True), (1.0, True), (0.5, False))
    """
    if age is None or not math.isfinite(age) or age <= 0:
        return ()
    looked = last_look_age if last_look_age is not None and math.isfinite(last_look_age) else 0.0
    whole = math.ceil(age - _EPS)
    return tuple(
        (min(1.0, age - k), min(k + 1, age) <= looked + _EPS) for k in range(min(whole, _MOST))
    )


def _stroke(place: int, length: float, *, seen: bool) -> Markup:
    kind = "seen" if seen else "unseen"
    if place == _GATE - 1:
        across = 3 + 58 * length, 40 - 28 * length
        return Markup('<path class="{}" d="M3 40 L{:.1f} {:.1f}"/>').format(kind, *across)
    x = 9 + 15 * place
    return Markup('<path class="{}" d="M{} {:.1f} V48"/>').format(kind, x, 48 - 44 * length)


def tally(age: float | None, last_look_age: float | None) -> Markup:
    """Draw the strokes in gates of five, with a text alternative.

    Parameters
    ----------
    age, last_look_age : float or None
        Load-weighted runs on the strips, now and when somebody last looked.
    """
    marks = strokes(age, last_look_age)
    if not marks:
        return Markup("")
    gates = [marks[start : start + _GATE] for start in range(0, len(marks), _GATE)]
    drawn = Markup("").join(
        Markup(
            '<svg viewBox="0 0 64 52" width="64" height="52" aria-hidden="true" focusable="false">'
            "{}</svg>"
        ).format(
            Markup("").join(_stroke(k, length, seen=seen) for k, (length, seen) in enumerate(gate))
        )
        for gate in gates
    )
    unseen = sum(not seen for _, seen in marks)
    label = f"{numbers.age(age)} runs on the strips"
    label += f", {unseen} of them since anybody looked" if unseen else ", all of them looked at"
    return Markup('<div class="tally" role="img" aria-label="{}">{}</div>').format(label, drawn)
