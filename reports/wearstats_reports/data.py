"""The report as plain data for JSON: nothing computed, nothing rounded, nothing lost."""

import json
import math
from dataclasses import fields, is_dataclass
from datetime import date
from typing import Any

from wearstats.estimates import Estimate

SCHEMA = 1
"""Version of the JSON form; it grows when a key changes its meaning or goes."""


def plain(value: object) -> Any:
    """Turn a frozen report value into what JSON can say.

    An `Estimate` becomes its four stable keys, a day its ISO form, a number that is not finite
    becomes null.

    Raises
    ------
    TypeError
        For a value that has no place in a report.
    """
    if isinstance(value, Estimate):
        return value.as_dict()
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, tuple):
        return [plain(item) for item in value]
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in fields(value)}
    message = f"a report holds no {type(value).__name__}"
    raise TypeError(message)


def as_json(value: object) -> str:
    """Return the JSON text: sorted as declared, UTF-8, the same for the same report."""
    head = {"schema": SCHEMA, "command": "season"}
    return json.dumps({**head, **plain(value)}, indent=1, ensure_ascii=False, allow_nan=False)
