"""Nitrite and nitrate that go into a cure, their limits, and mistakes of a factor of ten.

Rules for this file: parts per million are of the green weight, never of the finished piece's; what a bag
holds is read off that bag, never assumed; home limits unless commercial ones are asked for.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from chamberwatch.errors import FactRefused

PPM = 1e6
NITRITE_ION_SHARE = 46.005 / 68.995
"""Nitrite ion in sodium nitrite by mass (molar masses)."""
HOME_NITRITE_PPM, HOME_NITRATE_PPM = 200.0, 500.0
"""21 CFR 172.170 and 172.175, home cure preparations (read). They speak of the finished product; held here
against what goes in, since nobody at home can measure what is left."""
COMMERCIAL_NITRITE_PPM, COMMERCIAL_NITRATE_PPM = 625.0, 2187.5
"""Ingoing, dry-cured whole muscle: nitrite from FSIS Directive 7620.3 (read second hand), 1 oz to 100 lb;
nitrate 3.5 oz to 100 lb from memory."""
BACON_NITRITE_PPM = 200.0
"""Ingoing, dry-cured bacon, same directive; nitrate is not used there."""
LEAST_NITRITE_PPM = 40.0
"""Below it nitrite has hardly any effect (read: 40 ppm has some)."""
USUAL_NITRITE_PPM = 120.0
"""The same directive's least for products kept cold (read)."""
STRONGEST_NITRITE_PCT, STRONGEST_NITRATE_PCT = 10.0, 10.0
CURE_MAX_PER_GREEN = 0.15
TENFOLD_LOW, TENFOLD_HIGH = 5.0, 20.0
PLAIN_NITRITE_PCT = 50.0


class Concern(StrEnum):
    """What may be wrong with a dose."""

    TOO_MUCH_NITRITE = "too much nitrite"
    TOO_MUCH_NITRATE = "too much nitrate"
    TOO_LITTLE_NITRITE = "too little nitrite"
    WEAK_NITRITE = "little nitrite"
    TENFOLD_TOO_MUCH = "perhaps ten times too much"
    TENFOLD_TOO_LITTLE = "perhaps ten times too little"
    NITRATE_IN_BACON = "nitrate in what is fried"


@dataclass(frozen=True, slots=True)
class Cure:
    """What a bag of curing salt says it holds, % by mass.

    Valid: sodium nitrite above 0, to 10 %; nitrate 0..10 % -> else raises FactRefused: pure or nearly pure
    nitrite is never used at home, and what holds none is no curing salt.
    """

    nitrite_pct: float
    nitrate_pct: float = 0.0

    def __post_init__(self) -> None:
        if self.nitrite_pct > PLAIN_NITRITE_PCT:
            raise FactRefused(
                f"{self.nitrite_pct:g} % nitrite is nearly pure nitrite, which kills in grams: never "
                "use it; take a "
                "curing salt of 0.4 to 6.25 %, and read its label"
            )
        if not 0.0 < self.nitrite_pct <= STRONGEST_NITRITE_PCT:
            raise FactRefused(
                f"nitrite on the label is {self.nitrite_pct:g} %; a curing salt has from above 0 to "
                f"{STRONGEST_NITRITE_PCT:g} % (table salt tinted pink has none, saltpetre is nitrate)"
            )
        if not 0.0 <= self.nitrate_pct <= STRONGEST_NITRATE_PCT:
            raise FactRefused(
                f"nitrate on the label is {self.nitrate_pct:g} %; it must be from 0 to "
                f"{STRONGEST_NITRATE_PCT:g} %"
            )


class Dose(NamedTuple):
    """What goes into the meat: parts per million of green weight [mg/kg], and what may be wrong with it."""

    nitrite_ppm: float
    nitrate_ppm: float
    salt_from_cure_pct: float
    """Plain salt that the curing salt brings along, % of green weight: taken off the salt that is added."""
    concerns: tuple[Concern, ...]


def ingoing_ppm(cure_g: float, part_pct: float, green_weight_g: float) -> float:
    """Parts per million that a curing salt brings into meat.

    Equation: ppm = grams × share × 1e6 / grams of green meat.
    Args: cure_g from 0, to 15 % of the green weight; part_pct, 0..100; green_weight_g, above 0.
    Returns: [mg/kg].   Valid: those ranges, outside and NaN -> raises FactRefused.
    Source: FSIS Directive 7620.3 (read second hand).   Error: none of its own; weigh to 0.1 g.
    """
    if not (math.isfinite(green_weight_g) and green_weight_g > 0):
        raise FactRefused(f"the green weight is {green_weight_g:g} g; it must be above 0 g")
    most_g = CURE_MAX_PER_GREEN * green_weight_g
    if not 0.0 <= cure_g <= most_g:
        raise FactRefused(
            f"{cure_g:g} g of curing salt on {green_weight_g:g} g of meat: it must be from 0 to {most_g:g} g"
        )
    if not 0.0 <= part_pct <= 100.0:  # noqa: PLR2004  per cent
        raise FactRefused(f"a part of {part_pct:g} % is outside 0 to 100 %")
    return cure_g * (part_pct / 100.0) * PPM / green_weight_g


def grams_for_ppm(nitrite_ppm: float, cure: Cure, green_weight_g: float) -> float:
    """Grams of a curing salt that bring a nitrite dose, the inverse of `ingoing_ppm`.

    Valid: dose above 0 to the home limit of 200 ppm, weight above 0 -> else raises FactRefused.
    """
    if not 0.0 < nitrite_ppm <= HOME_NITRITE_PPM:
        raise FactRefused(f"a dose of {nitrite_ppm:g} ppm nitrite is outside 0 to {HOME_NITRITE_PPM:g} ppm")
    if not (math.isfinite(green_weight_g) and green_weight_g > 0):
        raise FactRefused(f"the green weight is {green_weight_g:g} g; it must be above 0 g")
    return nitrite_ppm * green_weight_g / PPM / (cure.nitrite_pct / 100.0)


def dose(
    cure: Cure, cure_g: float, green_weight_g: float, *, commercial: bool = False, fried: bool = False
) -> Dose:
    """Return what a curing salt brings into meat, and what may be wrong with it.

    Args: fried: the piece is belly meant for frying, where nitrate is never used and nitrite held to 200 ppm;
    commercial: hold it against the figures for commercial dry cure instead of home use.
    Valid: as `ingoing_ppm` -> else raises FactRefused.   Source: see the constants.
    """
    nitrite = ingoing_ppm(cure_g, cure.nitrite_pct, green_weight_g)
    nitrate = ingoing_ppm(cure_g, cure.nitrate_pct, green_weight_g)
    plain_pct = 100.0 - cure.nitrite_pct - cure.nitrate_pct
    most_nitrite = COMMERCIAL_NITRITE_PPM if commercial else HOME_NITRITE_PPM
    most_nitrate = COMMERCIAL_NITRATE_PPM if commercial else HOME_NITRATE_PPM
    if fried:
        most_nitrite = min(most_nitrite, BACON_NITRITE_PPM)
    found = list(_of_nitrite(nitrite, most_nitrite))
    if nitrate > most_nitrate * (1.0 + 1e-9):
        found.append(Concern.TOO_MUCH_NITRATE)
    if fried and nitrate > 0.0:
        found.append(Concern.NITRATE_IN_BACON)
    return Dose(nitrite, nitrate, cure_g * plain_pct / green_weight_g, tuple(found))


def _of_nitrite(ppm: float, most_ppm: float) -> list[Concern]:
    """Too much and too little, and whether a tenth or ten times would have been a usual dose.

    A usual dose is USUAL_NITRITE_PPM to HOME_NITRITE_PPM; the curing salt used as all the salt, or a weak one
    dosed like a strong one, is out by such a factor.
    """
    found = []
    if ppm > most_ppm * (1.0 + 1e-9):
        found.append(Concern.TOO_MUCH_NITRITE)
        if USUAL_NITRITE_PPM * TENFOLD_LOW <= ppm <= HOME_NITRITE_PPM * TENFOLD_HIGH:
            found.append(Concern.TENFOLD_TOO_MUCH)
    elif ppm < LEAST_NITRITE_PPM:
        found.append(Concern.TOO_LITTLE_NITRITE)
        if USUAL_NITRITE_PPM / TENFOLD_HIGH <= ppm <= HOME_NITRITE_PPM / TENFOLD_LOW:
            found.append(Concern.TENFOLD_TOO_LITTLE)
    elif ppm < USUAL_NITRITE_PPM:
        found.append(Concern.WEAK_NITRITE)
    return found
