"""A dose of curing salt in words: what to weigh, what it brings, what may be wrong, how long it salts.

Pure. Home limits unless commercial ones were asked for; the cautions always.
"""

from __future__ import annotations

from typing import NamedTuple

from chamberwatch.meat.nitrite import (
    COMMERCIAL_NITRATE_PPM,
    COMMERCIAL_NITRITE_PPM,
    HOME_NITRATE_PPM,
    HOME_NITRITE_PPM,
    LEAST_NITRITE_PPM,
    USUAL_NITRITE_PPM,
    Concern,
    Cure,
    Dose,
)
from chamberwatch.words.cautions import DISCARD
from chamberwatch.words.units import show_mass

LIMITS = {
    False: (
        f"limits for home use: {HOME_NITRITE_PPM:g} and {HOME_NITRATE_PPM:g} ppm, 21 CFR 172.170 and 172.175"
    ),
    True: f"commercial dry cure: {COMMERCIAL_NITRITE_PPM:g} and {COMMERCIAL_NITRATE_PPM:g} ppm",
}
_DONT = "don't use this dose. If the meat has it already, discard it."
CONCERNS = {
    Concern.TOO_MUCH_NITRITE: f"TOO MUCH NITRITE: {_DONT}",
    Concern.TOO_MUCH_NITRATE: f"TOO MUCH NITRATE: {_DONT}",
    Concern.TOO_LITTLE_NITRITE: (
        f"TOO LITTLE NITRITE: below {LEAST_NITRITE_PPM:g} ppm it protects against nothing."
    ),
    Concern.WEAK_NITRITE: f"Little nitrite: {USUAL_NITRITE_PPM:g} to {HOME_NITRITE_PPM:g} ppm is usual.",
    Concern.TENFOLD_TOO_MUCH: (
        "Perhaps ten times too much: was this curing salt taken for all the salt, or a strong one dosed like "
        "a weak one? Read the label again."
    ),
    Concern.TENFOLD_TOO_LITTLE: (
        "Perhaps ten times too little: was a weak curing salt dosed like a strong one? Read the label again."
    ),
    Concern.NITRATE_IN_BACON: (
        "Nitrate does not belong in what will be fried: take a curing salt with nitrite only."
    ),
}
STOPS = frozenset(Concern) - {Concern.WEAK_NITRITE}
"""With one of these the dose is not to be used."""
WEIGHING = (
    "Read the percentages off this very bag; table salt tinted pink and saltpetre are not curing salt. "
    "Weigh to 0.1 g. Never use pure nitrite. Dosed twice, or not sure: discard."
)
PARASITES = (
    "Such a cure does not kill Trichinella or Toxoplasma: use tested pork, or freeze pork for 20 days at "
    "-15 °C or colder (pieces up to 15 cm). For game neither freezing nor curing is reliable: have it "
    "tested, or cook it. Whoever is pregnant, elderly, very young or of weak immunity should not eat it "
    "uncooked."
)


class Dosing(NamedTuple):
    """A dose and how long it salts; masses g, days, % of green weight. `days` None: no size was given."""

    green_weight_g: float
    cure: Cure
    cure_g: float
    salt_pct: float
    dose: Dose
    commercial: bool
    days: tuple[float, float] | None
    core_salt_pct: float | None

    @property
    def plain_salt_g(self) -> float:
        """What is added besides the curing salt, so that all salt together is as wanted."""
        return max(0.0, self.green_weight_g * (self.salt_pct - self.dose.salt_from_cure_pct) / 100.0)

    @property
    def stops(self) -> bool:
        """Whether the dose is not to be used."""
        return any(concern in STOPS for concern in self.dose.concerns)


def say_cure(told: Dosing) -> list[str]:
    """Return paragraphs: what is wrong first, then what to weigh, then the cautions."""
    brings = (
        f"That brings {told.dose.nitrite_ppm:.0f} ppm nitrite and {told.dose.nitrate_ppm:.0f} ppm nitrate "
        f"into the meat, as mg per kg of green weight ({LIMITS[told.commercial]})."
    )
    return [
        *(CONCERNS[concern] for concern in told.dose.concerns),
        _weigh(told),
        brings,
        _salting(told),
        WEIGHING,
        PARASITES,
        DISCARD,
    ]


def _weigh(told: Dosing) -> str:
    label = f"{told.cure.nitrite_pct:g} % nitrite"
    if told.cure.nitrate_pct:
        label += f" and {told.cure.nitrate_pct:g} % nitrate"
    green = f"{told.green_weight_g:.0f} g ({show_mass(told.green_weight_g, 'us')}) of meat"
    if told.dose.salt_from_cure_pct > told.salt_pct + 1e-9:
        return (
            f"For {green}: {told.cure_g:.1f} g of curing salt ({label}) alone is "
            f"{told.dose.salt_from_cure_pct:.2f} % salt, more than the {told.salt_pct:g} % you want."
        )
    return (
        f"For {green}: {told.cure_g:.1f} g of curing salt ({label}) and {told.plain_salt_g:.1f} g of plain "
        f"salt, {told.salt_pct:g} % salt in all."
    )


def _salting(told: Dosing) -> str:
    if told.days is None or told.core_salt_pct is None:
        return "Give --diameter or --thickness, and I say how long it salts."
    low, high = told.days
    return (
        f"In salt for {low:.0f} to {high:.0f} days at 2 to 4 °C, turned every 2 days: the trade's rule (a "
        "day per 6 to 7 mm, and 2), no more than a rule. By diffusion, an estimate known to a factor of two, "
        f"the centre then has {told.core_salt_pct:.1f} % salt; hang nothing warm before it had its time."
    )
