"""Unit conversions against their exact definitions.

Source: NIST Special Publication 811 (2008), Appendix B: 1 lb (avoirdupois) = 0.453 592 37 kg exactly,
1 in = 2.54 cm exactly, t/°F = 1.8 t/°C + 32. Quoted from memory; the definitions of 1959 and of the
Fahrenheit scale are exact and common knowledge.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from chamberwatch.words import units


@pytest.mark.parametrize(
    ("text", "exact_g"),
    [
        ("1lb", Fraction("453.59237")),
        ("1oz", Fraction("453.59237") / 16),
        ("16oz", Fraction("453.59237")),
        ("4lb 12oz", Fraction("453.59237") * 76 / 16),
        ("1kg", Fraction(1000)),
    ],
)
def test_masses_follow_the_definition_of_the_pound(text, exact_g):
    """A pound is 453.59237 g and has sixteen ounces; the error is float rounding alone."""
    assert units.parse_mass_g(text) == pytest.approx(float(exact_g), rel=4e-16)


@pytest.mark.parametrize(("text", "exact_mm"), [("1in", 25.4), ("4.25in", 107.95), ("1cm", 10.0)])
def test_lengths_follow_the_definition_of_the_inch(text, exact_mm):
    """An inch is 25.4 mm; the error is float rounding alone."""
    assert units.parse_length_mm(text) == pytest.approx(exact_mm, rel=4e-16)


@pytest.mark.parametrize(("temp_c", "temp_f"), [(-40.0, -40.0), (0.0, 32.0), (100.0, 212.0), (15.0, 59.0)])
def test_temperatures_follow_the_definition_of_the_fahrenheit_degree(temp_c, temp_f):
    """The two scales meet at -40, water freezes at 32 °F and boils at 212 °F."""
    assert units.temp_number(temp_c, "us") == pytest.approx(temp_f, abs=1e-12)
    assert units.temp_number(temp_c, "metric") == temp_c
