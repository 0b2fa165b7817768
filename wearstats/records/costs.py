"""What work and failures cost, read from a TOML file."""

from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from wearstats.records.tomlfiles import read_toml

_Money = Annotated[float, Field(ge=0.0, le=1e9, allow_inf_nan=False)]


class Costs(BaseModel):
    """What plans weigh against each other, all in one currency.

    Parameters
    ----------
    planned : float
        A planned restrip; `planned_restrip` in the file. Above zero.
    burn_through : float
        What a failure costs beyond a planned restrip.
    lost_psi_per_run : float
        What one psi of lost boost costs in one run.
    look : float or None
        What it costs to look at the strips; None where nobody says.
    currency : str
        Printed behind amounts, or empty.

    Examples
    --------
    >>> Costs(planned=400, burn_through=3000).lost_psi_per_run
    0.0
    """

    model_config = ConfigDict(
        frozen=True, extra="forbid", validate_by_name=True, validate_by_alias=True
    )

    planned: Annotated[float, Field(alias="planned_restrip", gt=0.0, le=1e9, allow_inf_nan=False)]
    burn_through: _Money
    lost_psi_per_run: _Money = 0.0
    look: _Money | None = None
    currency: Annotated[str, Field(max_length=12)] = ""


def read_costs(path: str | Path) -> Costs:
    """Read costs from a TOML file with the keys of `Costs` (`planned_restrip` for `planned`).

    Raises
    ------
    RecordError
        Unreadable, no TOML, or a key or value that is not taken.
    """
    return read_toml(path, Costs, "a table of costs")
