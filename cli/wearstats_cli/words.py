"""Words that several commands say alike."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from wearstats.lives import LeftOut, StripLives

ENDS = {
    "burned": "burned through",
    "pulled": "pulled out",
    "cut": "cut",
    "rubbed": "rubbed",
}
"""How a failure is spoken of."""


def left_out_as_dict(each: "LeftOut") -> dict[str, object]:
    """Return a build that was left out as plain data."""
    return {"unit": each.unit, "build": each.build, "code": each.code, "message": each.message}


def left_out_sentences(lives: "StripLives") -> list[str]:
    """Say what was left out and why; a fault that takes several builds along is said once."""
    builds: dict[tuple[str, str], list[int]] = {}
    for each in lives.left_out:
        builds.setdefault((each.unit, each.message), []).append(each.build)
    return [
        f"{unit} build{'s' if len(numbers) > 1 else ''} {_listed(numbers)}: {message}"
        for (unit, message), numbers in builds.items()
    ]


def _listed(numbers: list[int]) -> str:
    words = [str(number) for number in numbers]
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def lives_count(lives: "StripLives") -> dict[str, int]:
    """Count lives: all, ended in failure by mode, unfinished, left out."""
    usable = lives.usable
    failed = usable["mode"] != ""
    counts = {
        "builds": len(lives.frame),
        "lives": len(usable),
        "failed": int(failed.sum()),
        "unfinished": int((~failed).sum()),
        "left_out": len(lives.frame) - len(usable),
    }
    modes = usable.loc[failed, "mode"].value_counts()
    return counts | {str(mode): int(count) for mode, count in sorted(modes.items())}


def lives_sentence(lives: "StripLives", where: str = "") -> str:
    """Say how many lives there are and how they ended, and where to read of those left out."""
    from wearstats_reports.cells import count

    counts = lives_count(lives)
    ends = ", ".join(f"{counts[mode]} {said}" for mode, said in ENDS.items() if counts.get(mode))
    return (
        f"{count(counts['lives'], 'life', 'lives')}: {ends or 'no failure'}, "
        f"{counts['unfinished']} not failed when last seen. {counts['left_out']} left out"
        f"{where if counts['left_out'] else ''}."
    )
