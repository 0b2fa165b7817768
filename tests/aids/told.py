"""What a command said, as tests ask it."""

import json
from collections.abc import Callable
from typing import Any, NamedTuple

from click.testing import CliRunner

from wearstats_cli.main import main


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


def called(words: list[str]) -> Said:
    """Call the command line in this process, away from this terminal."""
    with CliRunner().isolation() as (out, err, _both):
        try:
            main(words)
        except SystemExit as ended:
            code = ended.code
    return Said(int(str(code)), out.getvalue().decode(), err.getvalue().decode())
