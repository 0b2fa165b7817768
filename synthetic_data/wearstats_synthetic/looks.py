"""What an inspection sees and misses: feelers that cut a value into an interval, heights."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from wearstats.arrays import BoolArray, FloatArray
from wearstats_synthetic.hands import Hand
from wearstats_synthetic.truth import Truth


@dataclass(frozen=True, slots=True)
class Feelers:
    """Go / no-go readings in the unit the book keeps.

    Parameters
    ----------
    low, high : ndarray, thou
        Thickest blade that enters, thinnest that does not; NaN where there is none: a gap
        below the thinnest blade has no low, one above the thickest no high, and where nobody
        measured both are NaN.
    """

    low: FloatArray
    high: FloatArray


def feeler(measured_thou: ArrayLike, hand: Hand) -> Feelers:
    """Cut measured gaps into intervals with the blades of one hand.

    Parameters
    ----------
    measured_thou : array_like, thou
        NaN where nobody measured.
    hand : Hand

    Returns
    -------
    Feelers
        The interval [low, high) contains the measured value.
    """
    scale = hand.blades
    measured = np.asarray(measured_thou, float)
    shown = (measured - scale.unit.offset) / scale.unit.factor
    go = np.floor(shown / scale.step) * scale.step
    low = np.where(shown < hand.smallest, np.nan, np.minimum(go, hand.largest))
    high = np.where(shown < hand.smallest, hand.smallest, go + scale.step)
    high = np.where(shown >= hand.largest, np.nan, high)
    high = np.where(np.isnan(measured), np.nan, high)
    return Feelers(*(_keep(edge, hand) for edge in (low, high)))


def read_gap(
    true_thou: FloatArray,
    measured: BoolArray,
    hand: Hand,
    truth: Truth,
    rng: np.random.Generator,
) -> Feelers:
    """Read true gaps with feelers where `measured`; the error is drawn for every gap."""
    error = truth.feeler_sd_thou * rng.standard_normal(true_thou.shape)
    return feeler(np.where(measured, np.maximum(true_thou + error, 0.0), np.nan), hand)


def read_height(
    true_thou: FloatArray,
    measured: BoolArray,
    hand: Hand,
    truth: Truth,
    rng: np.random.Generator,
) -> FloatArray:
    """Read true strip heights where `measured`, rounded to what the hand can read; thou."""
    error = truth.height_sd_thou * rng.standard_normal(true_thou.shape)
    return hand.height.rounded(np.where(measured, true_thou + error, np.nan))


def _keep(edge: FloatArray, hand: Hand) -> FloatArray:
    written = np.round(edge, hand.blades.decimals)
    return np.asarray(written * hand.blades.unit.factor + hand.blades.unit.offset)
