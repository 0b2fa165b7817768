"""TOML files people write by hand, checked by a model; errors name the key and what is wanted."""

import tomllib
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from wearstats.errors import RecordError
from wearstats.records.findings import Finding

M = TypeVar("M", bound=BaseModel)


def read_toml(path: str | Path, model: type[M], what: str) -> M:
    """Read a TOML file into a model.

    Parameters
    ----------
    path : str or Path
    model : type
        A pydantic model.
    what : str
        What the file is, for messages ("a column map").

    Raises
    ------
    RecordError
        The file cannot be read, is no TOML, or holds a key or value the model does not take;
        one finding for each.
    """
    path = Path(path)
    return checked(_loaded(path, what), model, what, file=path.name)


def checked(content: dict[str, Any], model: type[M], what: str, *, file: str) -> M:
    """Check content against a model.

    Raises
    ------
    RecordError
    """
    try:
        return model.model_validate(content)
    except ValidationError as error:
        findings = tuple(_finding(detail, file) for detail in error.errors())
        listed = "; ".join(str(finding) for finding in findings)
        message = f"{file} is not {what}: {listed}"
        raise RecordError(message, findings=findings) from None


def _loaded(path: Path, what: str) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    except OSError as error:
        problem = f"cannot be read ({error.strerror or error}); expected {what}, a TOML file"
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        problem = f"is not TOML ({error}); expected {what}"
    message = f"{path.name} {problem}"
    finding = Finding("file-unreadable", message, file=path.name, expected=what)
    raise RecordError(message, findings=(finding,))


def _finding(detail: ErrorDetails, file: str) -> Finding:
    key = ".".join(str(part) for part in detail["loc"])
    value = detail["input"]
    said = detail["msg"].removeprefix("Value error, ")
    if detail["type"] == "extra_forbidden":
        message = f"the key {key!r} is not known"
    elif detail["type"] == "missing":
        message = f"the key {key!r} is missing"
    else:
        message = f"{key}: {said[:1].lower()}{said[1:]}" if key else said
    return Finding(
        "setting",
        message,
        file=file,
        column=key or None,
        value=None if detail["type"] == "missing" else str(value),
        expected=said,
    )
