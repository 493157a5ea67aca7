"""What is known of a piece, checked; what is usual for its kind, with where that comes from.

Whatever cannot be a piece of whole-muscle meat is refused with the range it should be in: a wrong number here
would otherwise become a confident wrong date.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

from chamberwatch.errors import FactRefused
from chamberwatch.model import PieceFacts, Shape

MEAT_KG_M3 = 1060.0
"""[kg/m³] Raw meat, for a first look at a piece's size; from memory."""
PER_CENT = 100.0


class KindPrior(NamedTuple):
    """What is usual for a kind: fat and target loss [% of green weight], shape, size [mm] with its spread."""

    fat_pct: float
    fat_spread_pct: float
    target_loss_pct: tuple[float, float]
    shape: Shape
    size_mm: float
    size_spread_mm: float


KINDS = {
    "neck": KindPrior(17.5, 4.0, (35.0, 38.0), Shape.ROUND, 108.0, 6.0),
    "loin": KindPrior(6.0, 2.0, (38.0, 42.0), Shape.ROUND, 85.0, 8.0),
    "tenderloin": KindPrior(3.5, 1.0, (38.0, 42.0), Shape.ROUND, 50.0, 6.0),
    "round": KindPrior(5.0, 1.5, (38.0, 42.0), Shape.ROUND, 110.0, 12.0),
    "belly": KindPrior(35.0, 7.0, (25.0, 30.0), Shape.SLAB, 45.0, 8.0),
    "jowl": KindPrior(45.0, 8.0, (25.0, 30.0), Shape.SLAB, 40.0, 8.0),
}
"""Fat: tables of food composition, from memory (pork; the neck as in the project's reference run). Target
losses and sizes: common practice, no source."""

FAT_WORDS = {"lean": -1.0, "medium": 0.0, "fatty": 1.0, "marbled": 1.0, "fat": 1.0}
"""How many spreads above the kind's usual fat a word means; our own reading."""
FERMENTED = ("sausage", "salami", "salame", "chorizo")
WIDEST_MM, LONGEST_MM = {Shape.ROUND: (15.0, 250.0), Shape.SLAB: (8.0, 150.0)}, 1500.0
GREEN_WEIGHT_G, SALT_PCT, TARGET_LOSS_PCT = (50.0, 20_000.0), (1.0, 8.0), (10.0, 55.0)
CURE_LOSS_MAX_PCT = 25.0
FAN_WORDS = ("unknown", "off", "timed", "always")


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece that may be given a date. Masses g, lengths mm, parts % of green weight; None = not known.

    `hung_g` is what it weighed when hung, without tare; `size_mm` the diameter of a round piece or the
    thickness of a flat one.
    """

    name: str
    kind: str
    shape: Shape
    green_weight_g: float
    hung_g: float | None
    size_mm: float | None
    casing: str
    salt_pct: float | None
    fat: str
    fan: str
    target_loss_pct: float

    @property
    def usual(self) -> KindPrior:
        """What is usual for its kind."""
        return KINDS[self.kind]


def piece(
    facts: PieceFacts, *, hung_g: float | None = None, fan: str = "unknown", bone_in: bool = False
) -> Piece:
    """Return the facts as a piece that can be dried in thought.

    Args: facts as the owner gave them; hung_g: weight when hung, without tare [g]; fan: off, timed, always or
    unknown.   Valid: what is said at each refusal -> else raises FactRefused: unknown kinds, fermented
    sausage, meat on the bone, sizes, weights, salt and targets no whole-muscle piece has, or that contradict
    one another.
    """
    kind = _kind(facts, bone_in=bone_in)
    usual = KINDS[kind]
    shape, size_mm = _size(facts, usual)
    _within(facts.name, "green weight", facts.green_weight_g, GREEN_WEIGHT_G, "g")
    _within(facts.name, "target loss", facts.target_loss_pct, TARGET_LOSS_PCT, "% of green weight")
    if facts.salt_pct is not None:
        _within(facts.name, "salt", facts.salt_pct, SALT_PCT, "% of green weight")
    if size_mm is not None:
        _plausible(facts, shape, size_mm)
    if hung_g is not None:
        lightest_g = facts.green_weight_g * (1.0 - CURE_LOSS_MAX_PCT / PER_CENT)
        _within(facts.name, "weight when hung", hung_g, (lightest_g, 1.1 * facts.green_weight_g), "g")
    _word(facts.name, "fat", facts.fat, tuple(FAT_WORDS))
    _word(facts.name, "fan", fan, FAN_WORDS)
    return Piece(
        facts.name, kind, shape, facts.green_weight_g, hung_g, size_mm, facts.casing.lower(), facts.salt_pct,
        facts.fat, fan, facts.target_loss_pct,
    )  # fmt: skip


def _kind(facts: PieceFacts, *, bone_in: bool) -> str:
    kind = facts.kind.strip().lower()
    if any(word in kind for word in FERMENTED):
        raise FactRefused(
            f"{facts.name}: a fermented sausage gets no date here, since its safety and drying hang on its "
            "acidity (pH), which nobody measures here; only whole-muscle pieces are forecast"
        )
    if bone_in or ("bone" in kind and "boneless" not in kind):
        raise FactRefused(
            f"{facts.name}: meat on the bone is not forecast: salt and water move differently around a "
            "bone, and "
            "spoilage there shows late; only boneless pieces are"
        )
    if kind not in KINDS:
        raise FactRefused(f"{facts.name}: kind {facts.kind!r} is not known; known are {', '.join(KINDS)}")
    return kind


def _size(facts: PieceFacts, usual: KindPrior) -> tuple[Shape, float | None]:
    """A diameter makes a piece round, a thickness flat; without either the kind says."""
    if facts.diameter_mm is not None and facts.thickness_mm is not None:
        raise FactRefused(f"{facts.name}: give a diameter (round) or a thickness (flat), not both")
    if facts.diameter_mm is not None:
        shape, size_mm = Shape.ROUND, facts.diameter_mm
    elif facts.thickness_mm is not None:
        shape, size_mm = Shape.SLAB, facts.thickness_mm
    elif usual.shape is Shape.ROUND and facts.length_mm is not None:
        shape, size_mm = Shape.ROUND, _diameter_mm(facts.green_weight_g, facts.length_mm)
    else:
        return usual.shape, None
    what = "diameter" if shape is Shape.ROUND else "thickness"
    _within(facts.name, what, size_mm, WIDEST_MM[shape], "mm")
    return shape, size_mm


def _diameter_mm(weight_g: float, length_mm: float) -> float:
    if not (math.isfinite(length_mm) and length_mm > 0):
        return math.nan
    return 1e3 * math.sqrt(4.0 * weight_g / 1e3 / (MEAT_KG_M3 * math.pi * length_mm / 1e3))


def _plausible(facts: PieceFacts, shape: Shape, size_mm: float) -> None:
    volume_mm3 = facts.green_weight_g / MEAT_KG_M3 * 1e6
    if shape is Shape.ROUND:
        long_mm = volume_mm3 / (math.pi / 4.0 * size_mm**2)
        text = f"a round piece of {facts.green_weight_g:g} g and {size_mm:g} mm diameter"
    else:
        long_mm = math.sqrt(volume_mm3 / size_mm)
        text = f"a flat piece of {facts.green_weight_g:g} g and {size_mm:g} mm thickness"
    if not 0.5 * size_mm <= long_mm <= LONGEST_MM:
        raise FactRefused(
            f"{facts.name}: {text} would be {long_mm:.0f} mm long, which is outside {0.5 * size_mm:.0f} to "
            f"{LONGEST_MM:.0f} mm; check weight, size and their units"
        )


def _within(name: str, what: str, value: float, bounds: tuple[float, float], unit: str) -> None:
    low, high = bounds
    if not low <= value <= high:
        raise FactRefused(
            f"{name}: the {what} is {value:g} {unit}; it must be from {low:g} to {high:g} {unit}"
        )


def _word(name: str, what: str, word: str, known: tuple[str, ...]) -> None:
    if word not in known:
        raise FactRefused(f"{name}: {what} {word!r} is not known; say {', '.join(known)}")
