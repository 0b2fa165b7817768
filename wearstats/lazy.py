"""Names loaded when they are asked for, so that a package costs nothing until it is used."""

from collections.abc import Callable, Mapping
from importlib import import_module


def on_demand(package: str, homes: Mapping[str, tuple[str, ...]]) -> Callable[[str], object]:
    """Return a module's `__getattr__` that finds each name in the module it lives in.

    Parameters
    ----------
    package : str
        The package that offers the names.
    homes : mapping of str to tuple of str
        Full name of a module to the names it holds.
    """
    where = {name: module for module, names in homes.items() for name in names}

    def find(name: str) -> object:
        if name not in where:
            message = f"module {package!r} has no attribute {name!r}"
            raise AttributeError(message)
        return getattr(import_module(where[name]), name)

    return find
