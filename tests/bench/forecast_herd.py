"""Simulated pieces for the forecast's benchmark: each dried by the simulator's own physics, in air with bad days."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

from simulator.meat import Drying, Meat

DAYS = 240
KINDS = {
    # kind: share, shape, size mm and its spread, length mm, fat share and its spread, target %, casings
    "neck": (0.4, "round", 108, 5, (250, 330), 0.175, 0.035, (35, 38), ("beef-bung", "natural", "collagen")),
    "loin": (0.2, "round", 85, 6, (280, 380), 0.06, 0.02, (38, 42), ("collagen", "natural", "none")),
    "round": (0.15, "round", 105, 8, (200, 280), 0.05, 0.015, (38, 42), ("natural", "beef-bung")),
    "tenderloin": (0.1, "round", 52, 5, (220, 300), 0.035, 0.01, (38, 42), ("none", "collagen")),
    "belly": (0.15, "slab", 45, 6, (250, 350), 0.35, 0.06, (25, 30), ("none", "net")),
}
CASINGS_S_M = {"none": (0, 5), "net": (5, 20), "collagen": (30, 100), "natural": (50, 160), "beef-bung": (60, 200)}
FANS_M_S = {"off": (1.5e-3, 2.8e-3), "timed": (2.4e-3, 4.2e-3), "always": (3.5e-3, 6e-3)}


@dataclass(frozen=True)
class Told:
    """What the owner tells of it."""

    kind: str
    green_g: float
    size_mm: float
    casing: str
    salt_pct: float
    target_pct: float


@dataclass
class Hang:
    """One piece's true course by the hour, what a probe showed of its air, and what the scale showed."""

    seed: int
    told: Told
    ready_h: int | None
    shown_c: list[float]
    shown_pct: list[float]
    weighed: list[tuple[float, float]]
    """Hours after the hang, grams less the tare as the owner has it."""


def hang(seed: int) -> Hang:
    """Return one piece's whole course, the same for the same seed."""
    rng = random.Random(seed)
    told, meat = _piece(rng)
    temps, rhs = _air(rng)
    drying = Drying(meat)
    masses = [meat.hung_kg]
    goal_kg = told.green_g / 1e3 * (1.0 - told.target_pct / 100.0)
    for temp_c, rh_pct in zip(temps, rhs, strict=True):
        drying.step(temp_c, rh_pct)
        masses.append(drying.mass_kg)
        if drying.mass_kg <= goal_kg:
            break
    ready_h = drying.hours if drying.mass_kg <= goal_kg else None
    bias_pct, bias_c = rng.uniform(-2.5, 2.5), rng.uniform(-0.3, 0.3)
    return Hang(
        seed,
        told,
        ready_h,
        [t + bias_c for t in temps],
        [min(100.0, h + bias_pct) for h in rhs],
        _weigh_ins(rng, masses),
    )


def _piece(rng: random.Random) -> tuple[Told, Meat]:
    kind = rng.choices(list(KINDS), [row[0] for row in KINDS.values()])[0]
    _, shape, size, size_spread, lengths, fat, fat_spread, targets, casings = KINDS[kind]
    size_mm = rng.gauss(size, size_spread)
    long_m, across_m = rng.uniform(*lengths) / 1e3, size_mm / 1e3
    area_m2 = math.pi / 4 * across_m**2 if shape == "round" else across_m * rng.uniform(0.16, 0.22)
    green_kg = 1060 * area_m2 * long_m
    fat_share = max(0.015, rng.gauss(fat, fat_spread))
    lean = (1 - fat_share) * (1 - rng.gauss(0.765, 0.008))
    dose = rng.uniform(2.4, 3.1)
    salt = dose / 100 * rng.uniform(0.88, 1.0)
    hung_kg = green_kg * (1 - rng.uniform(0.03, 0.08))
    water_kg = hung_kg - green_kg * (fat_share + lean + salt)
    casing = rng.choice(casings)
    # A lean muscle is hung whole, in its membrane, and takes longer than its fat alone would have it.
    membrane = (fat_share / 0.175) ** 0.2
    meat = Meat(
        shape,
        hung_kg,
        water_kg / hung_kg,
        green_kg * lean / hung_kg,
        green_kg * salt / hung_kg,
        across_m * (hung_kg / green_kg) ** 0.5,
        membrane * rng.lognormvariate(math.log(1.05e-10), 0.28),
        rng.uniform(0.35, 0.85),
        rng.gauss(27e3, 3e3),
        rng.uniform(*FANS_M_S[rng.choice(list(FANS_M_S))]),
        rng.uniform(*CASINGS_S_M[casing]),
        rng.uniform(0.05, 0.2),
    )
    told = Told(
        kind, round(green_kg * 1e3, -1), round(size_mm * rng.gauss(1, 0.02)), casing, round(dose, 2),
        round(rng.uniform(*targets), 1),
    )  # fmt: skip
    return told, meat


def _air(rng: random.Random) -> tuple[list[float], list[float]]:
    """Return the true air by the hour: a chamber's level, days that wander, spells too dry, damp or warm."""
    level_c, level_pct = rng.gauss(12.5, 0.7), rng.gauss(75, 2)
    temps, rhs, day_c, day_pct = [], [], 0.0, 0.0
    for hour in range(DAYS * 24):
        if hour % 24 == 0:
            day_c = 0.7 * day_c + rng.gauss(0, 0.3)
            day_pct = 0.7 * day_pct + rng.gauss(0, 1.0)
        temps.append(level_c + day_c + rng.gauss(0, 0.1))
        rhs.append(level_pct + day_pct + rng.gauss(0, 0.5))
    for _ in range(rng.randint(1, 4)):
        begin, hours = rng.randrange(0, 100 * 24), rng.randint(8, 72)
        warmer, damper = rng.choice([(0.0, -18.0), (0.0, 12.0), (5.0, -6.0), (3.0, 6.0)])
        for hour in range(begin, begin + hours):
            temps[hour] += warmer
            rhs[hour] = min(99.0, max(30.0, rhs[hour] + damper))
    return temps, rhs


def _weigh_ins(rng: random.Random, masses: list[float]) -> list[tuple[float, float]]:
    """Return weigh-ins at the hang, days 3 and 7, then weekly; ±5 g or ±1 %, a tare that is off."""
    tare_off_g = rng.gauss(0, 10)
    by_share = rng.random() < 0.5
    found = []
    for day in (0, 3, *range(7, DAYS, 7)):
        hour = day * 24 + (rng.randint(0, 8) if day else 0)
        if hour >= len(masses):
            break
        off_g = masses[hour] * 10 * rng.uniform(-1, 1) if by_share else rng.uniform(-5, 5)
        found.append((float(hour), masses[hour] * 1e3 + off_g + tare_off_g))
    return found
