"""The group of commands, and the one place that turns an error into an exit code.

Nothing heavy is imported here: `wearstats --help` loads neither pandas nor matplotlib.
"""

import atexit
import gc
import importlib
import io
import os
import sys
from collections.abc import Sequence
from typing import NoReturn

import click

from wearstats import __version__
from wearstats.errors import UsageError, WearstatsError
from wearstats_cli.options import SCHEMA

_COMMANDS = {
    "sheet": "Write a workbook to type records into.",
    "log": "Take records into the book.",
    "aside": "List what was set aside, and write it out for mending.",
    "lives": "The strip lives, and what was left out and why.",
    "life": "Fit strip life: how long strips last.",
    "wear": "Clearance and strip height against runs, with forecasts.",
    "leak": "Boost lost to leakage by path, and what a thou is worth.",
    "cut": "Strip height to set, from metal-to-metal readings.",
    "trend": "Does a unit wear strips out faster than it did?",
    "plan": "Run, look first or restrip, per unit; when to restrip; the meet ahead.",
    "lookback": "Can these chances be believed: how past ones came out.",
    "season": "The season report: a page per unit and one for the fleet.",
    "demo": "Simulate a season, log its sheets, and do all of the above.",
}
"""What each command does, said here so that a list of them loads none."""

_SELDOM = 400_000, 20, 50
"""How many more objects there are before circles of them are looked for: loading libraries makes
many that stay, and a command does not live long."""

_ONE_THREAD = (
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
    "OMP_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
)
"""Linear algebra shared among threads adds up in another order: last digits would change with the
number of processors. Our matrices are too small to gain by it."""

_EPILOG = (
    "Start with a look around: wearstats demo DIR. Then your own sheets: "
    "wearstats log BOOK FILE..., wearstats plan BOOK. "
    "Exit codes: 0 done, 1 the data cannot answer, 2 wrong usage, 3 rows were set aside. "
    "Numbers here describe records, not the part in front of you: look at it."
)


class _Commands(click.Group):
    """Commands by name, each imported when it is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        return list(_COMMANDS)

    def get_command(
        self,
        ctx: click.Context,  # noqa: ARG002 - click's signature
        cmd_name: str,
    ) -> click.Command | None:
        if cmd_name not in _COMMANDS:
            return None
        module = importlib.import_module(f"wearstats_cli.commands.{cmd_name}")
        command: click.Command = module.command
        command.short_help = _COMMANDS[cmd_name]
        return command

    def format_commands(
        self,
        ctx: click.Context,  # noqa: ARG002 - click's signature
        formatter: click.HelpFormatter,
    ) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(_COMMANDS.items()))

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        try:
            return super().resolve_command(ctx, args)
        except click.UsageError as error:
            from difflib import get_close_matches

            close = get_close_matches(args[0], _COMMANDS, 1)
            if not close:
                raise
            message = f"{error.message} Did you mean {close[0]}?"
            raise click.UsageError(message, ctx) from None


@click.group(
    cls=_Commands,
    epilog=_EPILOG,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(__version__, prog_name="wearstats", message="%(prog)s %(version)s")
def group() -> None:
    """Strip life, clearance wear and leakage of Roots-type superchargers, from your own records."""


_WHAT_NEXT = "Log more records and ask again; what is on record: wearstats lives"


def _fail(error: WearstatsError, arguments: Sequence[str]) -> NoReturn:
    if not error.hint and error.exit_code == 1:
        error.hint = _WHAT_NEXT
    findings = [finding.as_dict() for finding in getattr(error, "findings", ())]
    if "--json" in arguments:
        import json

        command = next((word for word in arguments if word in _COMMANDS), "")
        body = {"message": str(error), "hint": error.hint, "findings": findings}
        click.echo(json.dumps({"schema": SCHEMA, "command": command, "error": body}))
    click.echo(f"wearstats: {error}", err=True)
    for finding in getattr(error, "findings", ()):
        if str(finding) not in str(error):
            click.echo(f"  {finding}", err=True)
    if error.hint:
        click.echo(f"  {error.hint}", err=True)
    sys.exit(error.exit_code)


def _as_ours(error: OSError | MemoryError) -> WearstatsError:
    if isinstance(error, MemoryError):
        return UsageError("there is not enough memory for this", hint="Give less at once.")
    said = error.strerror or str(error)
    name = "" if error.filename is None else f"{error.filename}: "
    return UsageError(f"{name}{said}", hint="Check the name, the folder and the room on the disk.")


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Call the command named in `arguments` and exit with its code.

    Parameters
    ----------
    arguments : sequence of str, optional
        Words after the program's name; those of the process where left out.
    """
    words = list(sys.argv[1:] if arguments is None else arguments)
    for stream in (sys.stdout, sys.stderr):
        # A name in letters the stream does not have is no reason to stop.
        if isinstance(stream, io.TextIOWrapper) and not stream.encoding.lower().startswith("utf"):
            stream.reconfigure(errors="replace")
    os.environ.update(dict.fromkeys(_ONE_THREAD, "1"))
    gc.set_threshold(*_SELDOM)
    # What is still there when the process ends goes with it: nothing is looked through once more.
    atexit.register(gc.freeze)
    try:
        code = group.main(args=words, prog_name="wearstats", standalone_mode=False)
    except click.exceptions.Abort:
        click.echo("wearstats: stopped", err=True)
        sys.exit(130)
    except click.ClickException as error:
        error.show()
        sys.exit(error.exit_code)
    except WearstatsError as error:
        _fail(error, words)
    except BrokenPipeError:
        # The reader of our output left (for example `| head`); that is no fault.
        sys.stderr.close()
        sys.exit(0)
    except (OSError, MemoryError) as error:
        # Nobody's fault here, and told nowhere closer: a full disk, a folder that is none.
        _fail(_as_ours(error), words)
    sys.exit(code if isinstance(code, int) else 0)
