"""What people type for weights, lengths, percentages and durations, and what they are shown."""

from __future__ import annotations

import pytest

from chamberwatch.words import units


@pytest.mark.parametrize(
    ("text", "mass_g"),
    [
        ("2150g", 2150.0),
        ("2150 g", 2150.0),
        ("2.15kg", 2150.0),
        ("2.15 KG", 2150.0),
        (".5kg", 500.0),
        ("4lb 12oz", 4.75 * 453.59237),
        ("4lb12oz", 4.75 * 453.59237),
        ("4.75lb", 4.75 * 453.59237),
        ("4.75 lbs", 4.75 * 453.59237),
        ("76oz", 76 * 453.59237 / 16),
        ("1kg 200g", 1200.0),
    ],
)
def test_masses_are_taken_in_the_units_people_use(text, mass_g):
    """Grams, kilograms, pounds and ounces, with or without blanks, become grams."""
    assert units.parse_mass_g(text) == pytest.approx(mass_g, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "length_mm"), [("108mm", 108.0), ("10.8cm", 108.0), ("4.25in", 107.95), ('4.25"', 107.95)]
)
def test_lengths_are_taken_in_the_units_people_use(text, length_mm):
    """Millimetres, centimetres and inches become millimetres."""
    assert units.parse_length_mm(text) == pytest.approx(length_mm, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "span_ms"),
    [("90s", 90_000), ("30min", 1_800_000), ("2h", 7_200_000), ("1h 30min", 5_400_000), ("3d", 259_200_000)],
)
def test_durations_are_taken(text, span_ms):
    """Seconds to days become milliseconds."""
    assert units.parse_duration_ms(text) == span_ms


def test_percentages_are_taken():
    """A percentage keeps its number, blank before the sign or not."""
    assert units.parse_percent("2.75%") == 2.75
    assert units.parse_percent("35 %") == 35.0


@pytest.mark.parametrize(
    ("parse", "text", "fault"),
    [
        (units.parse_mass_g, "1830", "1830 has no unit"),
        (units.parse_mass_g, "4lb 12", "12 has no unit"),
        (units.parse_mass_g, "-5g", "it is negative"),
        (units.parse_mass_g, "\N{MINUS SIGN}5g", "it is negative"),
        (units.parse_mass_g, "0g", "it must be above 0 and at most 100 kg"),
        (units.parse_mass_g, "101kg", "it must be above 0 and at most 100 kg"),
        (units.parse_mass_g, "2,15kg", "a comma could mean two things"),
        (units.parse_mass_g, "12oz 4lb", "units must come largest first"),
        (units.parse_mass_g, "1kg 1kg", "units must come largest first"),
        (units.parse_mass_g, "5stone", "'stone' is not a unit I take here"),
        (units.parse_mass_g, "108mm", "'mm' is not a unit I take here"),
        (units.parse_mass_g, "heavy", "this is not a mass"),
        (units.parse_mass_g, "2kg!", "this is not a mass"),
        (units.parse_mass_g, "nan", "this is not a mass"),
        (units.parse_mass_g, "1e3g", "'e' is not a unit I take here"),
        (units.parse_mass_g, "   ", "nothing is written"),
        (units.parse_length_mm, "108", "108 has no unit"),
        (units.parse_length_mm, "4m", "'m' is not a unit I take here"),
        (units.parse_length_mm, "301cm", "it must be above 0 and at most 3000 mm"),
        (units.parse_percent, "2.75", "2.75 has no unit"),
        (units.parse_percent, "275%", "it must be above 0 and at most 100 %"),
        (units.parse_duration_ms, "soon", "this is not a duration"),
        (units.parse_duration_ms, "500d", "it must be above 0 and at most 400 d"),
        (units.parse_duration_ms, "0h", "it must be above 0"),
    ],
)
def test_bad_quantities_are_refused_and_say_what_is_taken(parse, text, fault):
    """The message shows what was typed, what is wrong with it and how to write it."""
    with pytest.raises(ValueError, match="write a") as caught:
        parse(text)
    assert fault in str(caught.value)
    assert repr(text) in str(caught.value)


def test_a_tare_may_be_nothing():
    """A piece that hangs by nothing has a tare of 0 g."""
    assert units.parse_mass_g("0g", zero_ok=True) == 0.0


def test_a_novel_typed_as_a_weight_is_not_quoted_whole():
    """A message stays readable whatever was pasted in."""
    with pytest.raises(ValueError, match="write a mass") as caught:
        units.parse_mass_g("x" * 10_000)
    assert len(str(caught.value)) < 200


def test_a_limit_of_its_own_is_named():
    """A caller with a tighter range has it told."""
    with pytest.raises(ValueError, match="at most 60 %"):
        units.parse_percent("61%", most_pct=60.0)


@pytest.mark.parametrize(
    ("shown", "expected"),
    [
        (units.show_mass(2150.4), "2150 g"),
        (units.show_mass(2154.564, "us"), "4 lb 12 oz"),
        (units.show_mass(453.59, "us"), "1 lb 0 oz"),  # 15.9999 oz is a pound, never "16 oz"
        (units.show_mass(70.0, "us"), "2.5 oz"),
        (units.show_mass(-70.0, "us"), "-2.5 oz"),
        (units.show_length(108.0), "108 mm"),
        (units.show_length(107.95, "us"), "4.25 in"),
        (units.show_temp(13.06), "13.1 °C"),
        (units.show_temp(13.0, "us"), "55.4 °F"),
        (units.show_temp(15.02, beside_c=15.0), "15.02 °C"),
        (units.show_temp(15.3, beside_c=15.0), "15.3 °C"),
        (units.show_temp(15.0, beside_c=15.0), "15.0 °C"),
        (units.show_rh(76.4), "76 %"),
        (units.show_rh(80.3, beside_pct=80.0), "80.3 %"),
        (units.show_rh(80.02, beside_pct=80.0), "80.02 %"),
        (units.show_rh(88.0, beside_pct=80.0), "88 %"),
    ],
)
def test_figures_are_shown_as_a_person_reads_them(shown, expected):
    """Rounded to what matters, and never rounded onto the limit it passed."""
    assert shown == expected


@pytest.mark.parametrize(
    ("span_ms", "expected"),
    [
        (-5_000, "0 s"),
        (40_000, "40 s"),
        (119_000, "119 s"),
        (120_000, "2 min"),
        (65 * 60_000, "65 min"),
        (190 * 60_000, "3 h 10 min"),
        (19 * 3_600_000, "19 h"),
        (52 * 3_600_000, "2 d 4 h"),
        (48 * 3_600_000, "2 d"),
    ],
)
def test_spans_are_said_as_one_says_them(span_ms, expected):
    """The two largest parts are enough."""
    assert units.show_span(span_ms) == expected


def test_a_difference_of_temperatures_has_no_zero_point():
    """1 °C apart is 1.8 °F apart, not 33.8 (exact by definition of °F)."""
    assert units.show_temp_gap(1.0, "us") == "1.8 °F"
    assert units.show_temp_gap(0.0, "us") == "0.0 °F"
    assert units.show_temp_gap(0.74) == "0.7 °C"
