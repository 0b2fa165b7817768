"""Strip height to set: metal-to-metal clearance less running clearance wanted, less growth."""

import math
from dataclasses import dataclass

import pandas as pd

from wearstats.cut.chances import ClearanceChances
from wearstats.cut.places import PLACE, metal_places, place_name, station_name
from wearstats.cut.sequence import Cut, cuts_to
from wearstats.errors import PlanError, UsageError
from wearstats.estimates import Estimate
from wearstats.feeler import FEEL_U_THOU
from wearstats.numbers import percent, quantity
from wearstats.shown import Column, Readable, Summary, counted, intervals

STEP_THOU = 0.1
"""A cutter is set to 0.0001 in (common practice, no source)."""

_SLACK = 1e-9


@dataclass(frozen=True, slots=True)
class StationHeight:
    """Height to set at one station of one rotor.

    Parameters
    ----------
    rotor, station : str
        Empty where the readings do not say.
    places : int
        Lobes or clock positions read there.
    metal_thou, widest_thou : float
        At the tightest of them and at the widest.
    height_thou : float
        Above the rotor, on the cutter's step.
    """

    rotor: str
    station: str
    places: int
    metal_thou: float
    widest_thou: float
    height_thou: float


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class CutAnswer(Readable):
    """What to cut to, and what follows from it.

    Parameters
    ----------
    heights : tuple of StationHeight
        By rotor, front to rear.
    one_setting : tuple of (str, float)
        Height for each rotor where it is cut in one setting from end to end: that of its tightest
        station.
    tightest, loosest : Estimate
        Running clearance there, thou; `tightest_at` and `loosest_at` say where.
    touching : float
        Chance that at least one place touches at running temperature.
    too_wide : float or None
        Chance that at least one place runs wider than the limit; None without a limit.
    cuts : tuple of (str, tuple of Cut)
        For each rotor, to the lowest of its heights, and the cuts in order.
    places : DataFrame
        As `metal_places`, with height_thou and running_thou.
    """

    heights: tuple[StationHeight, ...]
    one_setting: tuple[tuple[str, float], ...]
    tightest: Estimate
    tightest_at: str
    loosest: Estimate
    loosest_at: str
    touching: float
    too_wide: float | None
    cuts: tuple[tuple[str, tuple[Cut, ...]], ...]
    places: pd.DataFrame

    def summary(self) -> Summary:
        """Return the heights to set, and what runs tightest and loosest."""
        wide = self.too_wide
        wider = "" if wide is None else f" Wider than the limit: {percent(wide)}."
        return Summary(
            title="Strip height to set, thou above the rotor",
            basis=f"{counted(len(self.places), 'place')}; {intervals(self.tightest.level)}.",
            columns=(
                Column("rotor"),
                Column("station"),
                Column("places", "number"),
                Column("metal", "number"),
                Column("widest", "number"),
                Column("height", "number"),
            ),
            rows=tuple(
                (
                    each.rotor,
                    each.station,
                    each.places,
                    each.metal_thou,
                    each.widest_thou,
                    each.height_thou,
                )
                for each in self.heights
            ),
            notes=(
                f"Tightest running ({self.tightest_at}): {quantity(self.tightest)}.",
                f"Loosest running ({self.loosest_at}): {quantity(self.loosest)}.",
                f"Chance that some place touches: {percent(self.touching)}.{wider}",
            ),
        )


@dataclass(frozen=True, slots=True)
class StripCut:
    """What is wanted of the strips.

    Parameters
    ----------
    target_thou : float
        Running clearance wanted at the tightest lobe of each station.
    growth_thou, growth_u_thou : float
        How much less the clearance is running than cold, and its standard uncertainty.
    limit_thou : float or None
        Widest running clearance anywhere.
    stock_thou : float or None
        Height of the strips as fitted, above the rotor.
    step_thou : float
        Of the cutter.
    one_setting : bool
        Each rotor is cut in one setting from end to end.
    level : float
        Of the intervals.
    """

    target_thou: float
    growth_thou: float = 0.0
    growth_u_thou: float = 0.0
    limit_thou: float | None = None
    stock_thou: float | None = None
    step_thou: float = STEP_THOU
    one_setting: bool = False
    level: float = 0.9

    def __post_init__(self) -> None:
        """Refuse what no cut can mean."""
        numbers = (self.target_thou, self.growth_thou, self.growth_u_thou, self.step_thou)
        if not all(map(math.isfinite, numbers)):
            message = "target, growth and step must be numbers"
            raise UsageError(message)
        if self.target_thou < 0.0:
            message = f"a running clearance of {self.target_thou:g} thou is an interference"
            raise UsageError(message, hint="0 lets the tightest lobe just touch.")
        if self.step_thou <= 0.0 or self.growth_u_thou < 0.0:
            message = "the cutter's step must be above 0, and an uncertainty not below it"
            raise UsageError(message)
        if self.limit_thou is not None and self.limit_thou <= self.target_thou:
            message = (
                f"the widest clearance allowed, {self.limit_thou:g} thou, does not lie above the "
                f"target, {self.target_thou:g}"
            )
            raise UsageError(message)
        if not 0.0 < self.level < 1.0:
            message = f"a level lies between 0 and 1, not at {self.level}"
            raise UsageError(message)

    def plan(self, readings: pd.DataFrame) -> CutAnswer:
        """Work out the heights.

        Height = metal-to-metal clearance at the tightest lobe of the station - target - growth,
        rounded down to the cutter's step, so that no strip stands higher than asked.

        Parameters
        ----------
        readings : DataFrame
            As `metal_places`.

        Returns
        -------
        CutAnswer

        Raises
        ------
        ObservationError, TooFewError
            The readings give no number.
        PlanError
            No height gives what is asked; says where and why.
        """
        places = metal_places(readings)
        own = places.groupby(["rotor", "station"], sort=False)["thou"].transform("min")
        least = places.groupby("rotor", sort=False)["thou"].transform("min")
        places = places.assign(
            height_thou=[self._height(metal) for metal in (least if self.one_setting else own)]
        )
        self._refuse_no_room(places)
        running = places["thou"] - places["height_thou"] - self.growth_thou
        places = places.assign(running_thou=running)
        self._refuse_uneven(places)
        shared = math.hypot(FEEL_U_THOU, self.growth_u_thou)
        chances = ClearanceChances.of(running, places["u_thou"], shared)
        tight, loose = places.iloc[int(running.argmin())], places.iloc[int(running.argmax())]
        rotors = list(places.groupby("rotor", sort=False))
        return CutAnswer(
            heights=tuple(
                StationHeight(
                    rotor=str(rotor),
                    station=str(station),
                    places=len(rows),
                    metal_thou=float(rows["thou"].min()),
                    widest_thou=float(rows["thou"].max()),
                    height_thou=float(rows["height_thou"].iloc[0]),
                )
                for (rotor, station), rows in places.groupby(["rotor", "station"], sort=False)
            ),
            one_setting=tuple(
                (str(rotor), self._height(float(rows["thou"].min()))) for rotor, rows in rotors
            ),
            tightest=self._running(tight, shared),
            tightest_at=place_name(*(tight[name] for name in PLACE)),
            loosest=self._running(loose, shared),
            loosest_at=place_name(*(loose[name] for name in PLACE)),
            touching=chances.touches(),
            too_wide=None if self.limit_thou is None else chances.exceeds(self.limit_thou),
            cuts=tuple(
                (
                    str(rotor),
                    cuts_to(
                        float(rows["height_thou"].min()),
                        self.stock_thou,
                        step_thou=self.step_thou,
                    ),
                )
                for rotor, rows in rotors
            ),
            places=places,
        )

    def _height(self, metal_thou: float) -> float:
        exact = metal_thou - self.target_thou - self.growth_thou
        # Rounded again, so that 251 steps of 0.1 are 25.1 and no more.
        return round(math.floor(exact / self.step_thou + _SLACK) * self.step_thou, 6)

    def _running(self, place: pd.Series, shared_u: float) -> Estimate:
        from scipy.special import ndtri

        middle = float(place["running_thou"])
        half = float(ndtri(0.5 + self.level / 2.0)) * math.hypot(float(place["u_thou"]), shared_u)
        return Estimate(
            middle, max(middle - half, 0.0), max(middle + half, 0.0), self.level, "thou"
        )

    def _refuse_no_room(self, places: pd.DataFrame) -> None:
        flat = places.loc[places["height_thou"] <= 0.0]
        if flat.empty:
            return
        worst = flat.iloc[int(flat["thou"].argmin())]
        where = place_name(*(worst[name] for name in PLACE))
        message = (
            f"at {where} the bare rotor has {worst['thou']:.1f} thou, and the target of "
            f"{self.target_thou:g} with {self.growth_thou:.1f} of growth asks for "
            f"{self.target_thou + self.growth_thou:.1f}: no strip would stand above the rotor"
        )
        raise PlanError(
            message, hint="Look why it is tight there before a wider clearance is asked."
        )

    def _refuse_uneven(self, places: pd.DataFrame) -> None:
        limit = self.limit_thou
        if limit is None or float(places["running_thou"].max()) <= limit + _SLACK:
            return
        worst = places.iloc[int(places["running_thou"].argmax())]
        group = places["rotor"] == worst["rotor"]
        if not self.one_setting:
            group &= places["station"] == worst["station"]
        tight = float(places.loc[group, "running_thou"].min())
        where = place_name(*(worst[name] for name in PLACE))
        along = f"the {worst['rotor']} rotor".replace("the  rotor", "the rotor")
        if not self.one_setting and worst["station"]:
            along = f"{along}, {station_name(str(worst['station']))},"
        message = (
            f"{along} is uneven by {worst['running_thou'] - tight:.1f} thou in one setting: with "
            f"{tight:.1f} at its tightest {where} runs at {worst['running_thou']:.1f}, above the "
            f"limit of {limit:g}"
        )
        first = "Cut station by station" if self.one_setting else "Read it again"
        raise PlanError(message, hint=f"{first}, true the rotor, or allow more.")
