"""Units at the edge: what the book keeps in thou and psi, shown as `--in` asks."""

from dataclasses import dataclass

from wearstats.estimates import Estimate
from wearstats.units import BOOST, GAP, Quantity


@dataclass(frozen=True, slots=True)
class Scale:
    """A quantity as it is shown.

    Parameters
    ----------
    kept, name : str
        Unit kept and unit shown.
    factor : float
        Shown over kept.
    """

    kept: str
    name: str
    factor: float

    def estimate(self, value: Estimate) -> Estimate:
        """Return an estimate in the unit shown; "thou per run" becomes "mm per run"."""
        return value.scaled(self.factor, value.unit.replace(self.kept, self.name))

    def keep(self, shown: float) -> float:
        """Return a number in the unit kept."""
        return shown / self.factor


def _scale(quantity: Quantity, system: str) -> Scale:
    name = quantity.metric if system == "metric" else quantity.kept
    return Scale(quantity.kept, name, quantity.unit(name).show(1.0))


def gap(system: str) -> Scale:
    """Return how clearances and strip heights are shown ("inch" or "metric")."""
    return _scale(GAP, system)


def boost(system: str) -> Scale:
    """Return how boost is shown ("inch" or "metric")."""
    return _scale(BOOST, system)


def boost_per_gap(system: str) -> Scale:
    """Return how boost per clearance is shown."""
    over, under = boost(system), gap(system)
    return Scale("psi per thou", f"{over.name} per {under.name}", over.factor / under.factor)
