"""The prior: what a piece could be like before it was ever weighed, as seeded standard normal draws.

Rules for this file: a draw is a row of independent standard normal numbers, one for each of `AXES`; `members`
turns draws into members and is the only place that knows what an axis means. So a posterior can move draws
about and still weigh them by the normal density, whatever the quantities behind them look like.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from chamberwatch.errors import OutOfRange
from chamberwatch.meat.members import Members
from chamberwatch.meat.piece import FAT_WORDS, PER_CENT, Piece

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

AXES = (
    "diffusivity", "falling", "activation", "airflow", "casing", "fat", "water", "salt", "cure_loss", "size",
    "humidity_bias", "temperature_bias", "gap_humidity", "gap_temperature", "tare",
)  # fmt: skip
MEMBERS = 1000
ENSEMBLE_SHELLS = 14
"""Fewer than the solver's usual 24: losses within 0.3 % of the piece (`test_meat_crank.py`)."""
DRAWS_MAX = 1_000_000

DIFFUSIVITY_M2_S, DIFFUSIVITY_SPREAD = 8.6e-11, 0.42
"""Lognormal, at 12.5 °C and the moisture hung with, whence it falls by a third or so: published
2.4e-11..6.6e-11 for small pieces of pork at 75 %RH (read), without saying at what moisture. The median was
picked so that a neck roll takes as long as the trade says, which is therefore no proof of it;
it lies above those published values."""
SLOWED_BY_FAT, FAT_OF_MEDIAN = 1.6, 0.175
"""By how much the logarithm of the diffusivity falls per share of fat, and the share for which the median
above holds: pepperoni of 13.3, 17.4 and 25.1 % fat had 5.7, 5.6 and 4.7e-11 m²/s (read; J. Food Sci. 42
(1977) 1029)."""
FALLING_PER_X, FALLING_SPREAD = 0.35, 0.4
"""Lognormal: our guess, 0.3..0.6 suggested beside the reference run."""
ACTIVATION_J_MOL, ACTIVATION_SPREAD = 27e3, 3e3
"""31.86 kJ/mol across the fibre (read), 20..35 usual (from memory)."""
AIRFLOW_M_S = {"off": (2.0e-3, 0.3), "timed": (3.2e-3, 0.3), "always": (4.6e-3, 0.3),
               "unknown": (3.2e-3, 0.42)}  # fmt: skip
"""Median h_m [m/s] and lognormal spread by fan: cylinder in cross flow of 0.05, 0.15 and 0.25 m/s
(computed with Churchill and Bernstein's equation, from memory); which of them a chamber has is a guess."""
CASINGS_S_M = {"none": (0.0, 0.0), "net": (10.0, 0.5), "collagen": (60.0, 0.6), "natural": (90.0, 0.6),
               "beef-bung": (110.0, 0.6)}  # fmt: skip
CASING_UNKNOWN_S_M = (70.0, 0.9)
"""Median resistance [s/m] and lognormal spread: guesses within 0..500, no permeance of a wet bung was
found."""
LEAN_WATER_SHARE, LEAN_WATER_SPREAD = 0.765, 0.008
"""Water in meat without its fat; food tables, from memory."""
SALT_PCT, SALT_SPREAD_PCT = 2.75, 0.35
"""Of green weight, when the owner does not say; common practice."""
SALT_UPTAKE, SALT_UPTAKE_SPREAD = 0.95, 0.04
"""How much of the dose stays in the meat after rinsing; a guess."""
CURE_LOSS, CURE_LOSS_SPREAD = 0.05, 0.017
"""Lost before the hang: 3 to 8 % (common practice, no source)."""
SIZE_KNOWN_SPREAD = 0.03
"""A tape round an uneven piece; a guess."""
HUMIDITY_BIAS_PCT, TEMPERATURE_BIAS_C = 2.0, 0.3
"""A household probe's accuracy."""
GAP_RH_PCT, GAP_TEMP_C = 6.0, 1.5
"""How far the air may have been from the plan while nobody measured; a guess."""
TARE_ERROR_KG = 0.012
"""A casing dries from 60..100 g to less; common practice, no source."""


def draws(seed: int, count: int = MEMBERS) -> Floats:
    """Return draws (count × axes), the same for the same seed.

    Valid: seeds from 0, 1..1,000,000 draws -> else raises OutOfRange.
    """
    import numpy as np

    if seed < 0 or not 1 <= count <= DRAWS_MAX:
        raise OutOfRange(f"{count} draws with seed {seed}: draws are 1 to {DRAWS_MAX}, a seed 0 or more")
    return np.random.default_rng(seed).standard_normal((count, len(AXES)))


def members(piece: Piece, drawn: Floats, *, shells: int = ENSEMBLE_SHELLS, pace: float = 0.0) -> Members:
    """Return the members that draws (count × axes) stand for.

    Args: piece; drawn; shells; pace: by how much finished pieces of this chamber moved the diffusivity, as a
    natural logarithm, -1..1 (0: none did).   Valid: those -> else raises OutOfRange.
    """
    import numpy as np

    if drawn.ndim != 2 or drawn.shape[1] != len(AXES):  # noqa: PLR2004  members and axes
        raise OutOfRange(f"draws of shape {drawn.shape} have not {len(AXES)} axes")
    if not -1.0 <= pace <= 1.0:
        raise OutOfRange(f"a pace of {pace:g} is outside -1 to 1")
    z = dict(zip(AXES, np.ascontiguousarray(drawn.T), strict=True))
    masses = _masses_kg(piece, z)
    slowed = SLOWED_BY_FAT * (masses[2] / (piece.green_weight_g / 1e3) - FAT_OF_MEDIAN)
    airflow, airflow_spread = AIRFLOW_M_S[piece.fan]
    casing, casing_spread = CASINGS_S_M.get(piece.casing, CASING_UNKNOWN_S_M)
    return Members(
        piece.shape,
        *masses,
        size_m=_size_m(piece, z["size"]),
        d_ref_m2_s=DIFFUSIVITY_M2_S * np.exp(DIFFUSIVITY_SPREAD * z["diffusivity"] + pace - slowed),
        d_per_x=FALLING_PER_X * np.exp(FALLING_SPREAD * z["falling"]),
        activation_j_mol=np.maximum(ACTIVATION_J_MOL + ACTIVATION_SPREAD * z["activation"], 1e4),
        surface_m_s=airflow * np.exp(airflow_spread * z["airflow"]),
        casing_s_m=casing * np.exp(casing_spread * z["casing"]),
        rh_bias_pct=HUMIDITY_BIAS_PCT * z["humidity_bias"],
        temp_bias_c=TEMPERATURE_BIAS_C * z["temperature_bias"],
        gap_rh_pct=GAP_RH_PCT * z["gap_humidity"],
        gap_temp_c=GAP_TEMP_C * z["gap_temperature"],
        tare_error_kg=_tare_error_kg(piece, z["tare"]),
        shells=shells,
    )


def _masses_kg(piece: Piece, z: dict[str, Floats]) -> tuple[Floats, Floats, Floats, Floats]:
    """Water, lean solids, fat and salt at the hang, of members whose masses add up to what hung."""
    import numpy as np

    green, usual = piece.green_weight_g / 1e3, piece.usual
    fat_pct = usual.fat_pct + usual.fat_spread_pct * (FAT_WORDS[piece.fat] + z["fat"])
    fat = green * np.clip(fat_pct, 1.0, 85.0) / PER_CENT
    lean = (green - fat) * np.clip(1.0 - LEAN_WATER_SHARE - LEAN_WATER_SPREAD * z["water"], 0.19, 0.28)
    salt = green * np.maximum(_salt_pct(piece, z["salt"]), 0.3) / PER_CENT
    if piece.hung_g is None:
        hung = green * (1.0 - np.clip(CURE_LOSS + CURE_LOSS_SPREAD * z["cure_loss"], 0.0, 0.15))
    else:
        hung = piece.hung_g / 1e3 - _tare_error_kg(piece, z["tare"])
    water = np.maximum(hung - lean - fat - salt, 0.3 * lean)
    return water, lean, fat, salt


def _tare_error_kg(piece: Piece, z: Floats) -> Floats:
    """How much heavier the scale shows the piece than it is; at most 2 % of green weight each spread."""
    return min(TARE_ERROR_KG, 0.02 * piece.green_weight_g / 1e3) * z


def _salt_pct(piece: Piece, z: Floats) -> Floats:
    if piece.salt_pct is None:
        return SALT_UPTAKE * (SALT_PCT + SALT_SPREAD_PCT * z)
    return piece.salt_pct * (SALT_UPTAKE + SALT_UPTAKE_SPREAD * z)


def _size_m(piece: Piece, z: Floats) -> Floats:
    import numpy as np

    usual = piece.usual
    if piece.size_mm is not None:
        return piece.size_mm / 1e3 * np.exp(SIZE_KNOWN_SPREAD * z)
    return usual.size_mm / 1e3 * np.exp(usual.size_spread_mm / usual.size_mm * z)
