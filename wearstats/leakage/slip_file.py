"""Slip tests as people write them down: one TOML file, one [[test]] each."""

from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field

from wearstats.leakage.slip import SlipTest
from wearstats.records.tomlfiles import read_toml


class _Test(BaseModel):
    model_config = ConfigDict(extra="forbid")

    unit: str
    slip_rpm: float = Field(gt=0.0)
    pressure_psi: float = Field(gt=0.0, le=30.0)
    tip_thou: float = Field(ge=0.0)
    mesh_thou: float = Field(ge=0.0)
    front_thou: float = Field(ge=0.0)
    rear_thou: float = Field(ge=0.0)
    air_temperature_f: float = 68.0
    barometer_inhg: float = Field(default=29.921, ge=20.0, le=31.5)


class _Tests(BaseModel):
    model_config = ConfigDict(extra="forbid")

    test: list[_Test] = Field(min_length=1)


def read_slip_tests(path: str | Path) -> tuple[SlipTest, ...]:
    """Read slip tests.

    Parameters
    ----------
    path : str or Path

    Raises
    ------
    RecordError
        The file cannot be read or a test is not as it must be.
    """
    found = read_toml(path, _Tests, "a file of slip tests")
    return tuple(SlipTest(**each.model_dump()) for each in found.test)
