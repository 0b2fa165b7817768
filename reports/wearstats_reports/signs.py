"""Advice as word and shape, so that it reads without colour, in print and by ear."""

from markupsafe import Markup

from wearstats.plans.cautions import ADVICE_MEANS

WORDS = {
    "run": "Run",
    "look first": "Look first",
    "restrip": "Restrip",
    "not in service": "Not in service",
    "cannot tell": "Cannot tell",
}
"""The advice as it is written."""


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}."


MEANS = {
    **{advice: _sentence(words) for advice, words in ADVICE_MEANS.items()},
    "not in service": "No advice: the records say it has left.",
    "cannot tell": "No advice: the records do not carry one. Look at the part.",
}
"""What each advice says, and does not."""

URGENCY = ("restrip", "look first", "cannot tell", "run", "not in service")
"""What needs attention first comes first."""

_SHAPES = {
    "run": '<circle cx="24" cy="24" r="18" class="line"/>',
    "look first": (
        '<path d="M24 3 45 24 24 45 3 24Z" class="line"/><path d="M24 3V45L3 24Z" class="solid"/>'
    ),
    "restrip": '<path d="M4 4H44V44H4Z" class="solid"/>',
    "not in service": '<path d="M6 24H42" class="line"/>',
    "cannot tell": '<path d="M8 8 40 40M40 8 8 40" class="line"/>',
}


def sign(advice: str) -> Markup:
    """Draw the shape of an advice; its word stands beside it, so it is silent to a reader."""
    return Markup(
        '<svg class="sign" viewBox="0 0 48 48" width="48" height="48" aria-hidden="true" '
        'focusable="false">{}</svg>'
    ).format(Markup(_SHAPES[advice]))  # noqa: S704  our own constant
