"""Factors: 1 in = 25.4 mm exactly; psi, inHg as in NIST SP 811, appendix B."""

import pytest

from wearstats.units import QUANTITIES, TEMPERATURE, unit_key


@pytest.mark.parametrize(
    ("quantity", "unit", "written", "kept"),
    [
        ("gap", "mm", 0.0254, 1.0),
        ("gap", "in", 0.004, 4.0),
        ("gap", "um", 25.4, 1.0),
        ("length", "cm", 2.54, 1.0),
        ("boost", "kPa", 6.894757, 1.0),
        ("boost", "bar", 0.06894757, 1.0),
        ("barometer", "kPa", 3.386389, 1.0),
        ("barometer", "hPa", 1013.25, 29.9213),
        ("barometer", "mmHg", 760.0, 29.9213),
        ("barometer", "psi", 14.69595, 29.9213),
        ("temperature", "C", 100.0, 212.0),
        ("volume", "cm3", 16.387064, 1.0),
        ("volume", "L", 0.016387064, 1.0),
        ("time", "min", 90.0, 1.5),
        ("percent", "fraction", 0.4, 40.0),
    ],
)
def test_units_convert_to_the_kept_one(
    quantity: str, unit: str, written: float, kept: float
) -> None:
    # rel: the published factors have seven digits, the standard atmosphere six.
    assert QUANTITIES[quantity].unit(unit).keep(written) == pytest.approx(kept, rel=2e-6)


def test_every_unit_converts_back() -> None:
    for quantity in QUANTITIES.values():
        for unit in quantity.units:
            assert unit.show(unit.keep(12.5)) == pytest.approx(12.5)


def test_no_spelling_means_two_units_of_a_quantity() -> None:
    for quantity in QUANTITIES.values():
        keys = [
            key
            for unit in quantity.units
            for key in {unit_key(text) for text in (unit.name, *unit.spellings)}
        ]
        assert len(keys) == len(set(keys)), quantity.name
        for unit in quantity.units:
            assert quantity.spelled(unit.name) == unit


def test_an_unknown_unit() -> None:
    assert TEMPERATURE.spelled("kelvin") is None
    with pytest.raises(KeyError, match="temperature has no unit 'K'"):
        TEMPERATURE.unit("K")
