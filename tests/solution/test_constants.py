"""Equilibrium constants against published values and the table computed from the published coefficients."""

import pytest

from trialkit.solution.constants import Equilibrium, pk

# From the coefficients of Plummer & Busenberg 1982, Geochim. Cosmochim. Acta 46:1011-1040, to four decimals.
TABLE = [
    (5, 6.5163, 10.5544, 1.1921, 14.7322), (10, 6.4633, 10.4879, 1.2694, 14.5338),
    (15, 6.4188, 10.4284, 1.3408, 14.3461), (20, 6.3819, 10.3756, 1.4069, 14.1682),
    (25, 6.3519, 10.3289, 1.4679, 13.9995), (30, 6.3281, 10.2879, 1.5244, 13.8395),
    (35, 6.3102, 10.2523, 1.5766, 13.6875),
]  # fmt: skip


@pytest.mark.parametrize("row", TABLE)
def test_table_of_temperatures(row: tuple[float, ...]) -> None:
    """Each constant at each temperature, within half of the last digit."""
    temperature, *values = row
    names: tuple[Equilibrium, ...] = ("carbonic 1", "carbonic 2", "henry", "water")
    found = [float(pk(name, temperature)) for name in names]
    assert found == pytest.approx(values, abs=5e-4)


def test_textbook_constants() -> None:
    """Carbonic acid 6.35 and 10.33, water 14.00 at 25 degrees: general-chemistry appendix of dissociation constants."""
    assert float(pk("carbonic 1", 25)) == pytest.approx(6.35, abs=0.01)
    assert float(pk("carbonic 2", 25)) == pytest.approx(10.33, abs=0.01)
    assert float(pk("water", 25)) == pytest.approx(14.0, abs=0.01)
