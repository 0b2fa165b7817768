"""What a command said, as tests ask it."""

import json
from collections.abc import Callable
from typing import Any, NamedTuple


class Said(NamedTuple):
    """Exit code and what was printed."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> dict[str, Any]:
        """What was printed, read as strict JSON: NaN and Infinity are none."""
        answer: dict[str, Any] = json.loads(self.out, parse_constant=_refuse)
        return answer


def _refuse(word: str) -> None:
    message = f"{word} is not JSON"
    raise AssertionError(message)


Tell = Callable[..., Said]
"""The fixture `tell` of tests/cli: call the command line with these words."""
