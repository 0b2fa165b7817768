"""Habits of every test: fixed hypothesis examples, no global randomness, no display."""

import os
import random
from collections.abc import Iterator

import numpy as np
import pytest
import rich.console  # noqa: F401 - draws a style's id once, when it is imported
from hypothesis import HealthCheck, settings

os.environ.setdefault("MPLBACKEND", "Agg")

settings.register_profile(
    "fixed",
    derandomize=True,
    deadline=None,
    print_blob=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
settings.register_profile("search", parent=settings.get_profile("fixed"), derandomize=False)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "fixed"))


@pytest.fixture(autouse=True)
def no_global_randomness() -> Iterator[None]:
    """Fail a test that draws from the global generators: answers must follow from a seed."""
    python_before = random.getstate()
    numpy_before = np.random.get_state(legacy=False)  # noqa: NPY002 - watched, not used
    yield
    numpy_after = np.random.get_state(legacy=False)  # noqa: NPY002 - watched, not used
    same_numpy = (
        np.array_equal(numpy_before["state"]["key"], numpy_after["state"]["key"])
        and numpy_before["state"]["pos"] == numpy_after["state"]["pos"]
    )
    same_python = python_before == random.getstate()
    random.setstate(python_before)
    np.random.set_state(numpy_before)  # noqa: NPY002 - put back as it was
    assert same_numpy, "something drew from numpy's global generator"
    assert same_python, "something drew from Python's global generator"
