"""Facts of a piece: what is taken, what is refused and with which words."""

from __future__ import annotations

import math

import pytest

from chamberwatch.errors import FactRefused
from chamberwatch.meat.piece import KINDS, piece
from chamberwatch.model import PieceFacts, Shape


def facts(**changed) -> PieceFacts:
    """A neck of 2.1 kg and 108 mm, with what a test changes."""
    usual = {"name": "Neck 1", "kind": "neck", "green_weight_g": 2100.0, "diameter_mm": 108.0, "salt_pct": 2.75}
    return PieceFacts(**{**usual, **changed})


def test_a_usual_neck_is_taken():
    """Round, by its diameter, with what is usual for its kind."""
    neck = piece(facts(casing="Beef-Bung"), hung_g=2010.0, fan="timed")
    assert (neck.shape, neck.size_mm, neck.casing, neck.fan) == (Shape.ROUND, 108.0, "beef-bung", "timed")
    assert neck.usual.target_loss_pct == (35.0, 38.0)


@pytest.mark.parametrize("kind", list(KINDS))
def test_every_kind_is_taken_without_a_size(kind):
    """Then its shape is the kind's own, and its size stays unknown."""
    found = piece(facts(kind=kind, diameter_mm=None))
    assert (found.shape, found.size_mm) == (KINDS[kind].shape, None)


def test_a_flat_loin_is_a_slab():
    """A thickness makes any piece flat."""
    loin = piece(facts(kind="loin", diameter_mm=None, thickness_mm=60.0))
    assert (loin.shape, loin.size_mm) == (Shape.SLAB, 60.0)


def test_length_and_weight_give_a_diameter():
    """2.1 kg, 250 mm long: 100 mm through, by volume."""
    found = piece(facts(diameter_mm=None, length_mm=250.0)).size_mm
    assert found == pytest.approx(2000 * math.sqrt(2.1 / 1060 / (math.pi * 0.25)))
    assert found == pytest.approx(100.4, abs=0.2)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"salt_pct": 30.0}, "Neck 1: the salt is 30 % of green weight; it must be from 1 to 8 %"),
        ({"salt_pct": float("nan")}, "the salt is nan"),
        ({"diameter_mm": 2000.0}, "the diameter is 2000 mm; it must be from 15 to 250 mm"),
        ({"diameter_mm": None, "thickness_mm": 300.0}, "the thickness is 300 mm; it must be from 8 to 150 mm"),
        ({"diameter_mm": 108.0, "thickness_mm": 40.0}, "not both"),
        ({"diameter_mm": None, "length_mm": float("inf")}, "the diameter is nan mm"),
        ({"diameter_mm": None, "length_mm": -5.0}, "the diameter is nan mm"),
        ({"target_loss_pct": 90.0}, "the target loss is 90 % of green weight; it must be from 10 to 55 %"),
        ({"green_weight_g": 0.0}, "the green weight is 0 g; it must be from 50 to 20000 g"),
        ({"green_weight_g": 2100.0, "diameter_mm": 30.0}, "would be 2803 mm long"),
        ({"green_weight_g": 200.0, "diameter_mm": 200.0}, "check weight, size and their units"),
        ({"diameter_mm": None, "thickness_mm": 150.0, "green_weight_g": 300.0}, "a flat piece of 300 g"),
        ({"kind": "bone-in round"}, "meat on the bone is not forecast"),
        ({"kind": "Salami"}, "a fermented sausage gets no date"),
        ({"kind": "venison"}, "kind 'venison' is not known; known are neck, loin"),
        ({"fat": "very"}, "fat 'very' is not known; say lean, medium, fatty"),
    ],
)
def test_impossible_pieces_are_refused(changed, said):
    """What, where, the allowed range and its unit."""
    with pytest.raises(FactRefused) as caught:
        piece(facts(**changed))
    assert said in str(caught.value)


@pytest.mark.parametrize("hung_g", [1000.0, 2600.0, float("nan")])
def test_a_hanging_weight_far_from_green_is_refused(hung_g):
    """A piece does not lose a quarter in the fridge, nor gain a quarter."""
    with pytest.raises(FactRefused, match=r"weight when hung is .* it must be from 1575 to 2310 g"):
        piece(facts(), hung_g=hung_g)


def test_bone_and_fan_are_said_apart():
    """A bone said beside the kind is refused too, and a fan's word must be known."""
    with pytest.raises(FactRefused, match="on the bone"):
        piece(facts(), bone_in=True)
    with pytest.raises(FactRefused, match="fan 'sometimes' is not known; say unknown, off, timed, always"):
        piece(facts(), fan="sometimes")
