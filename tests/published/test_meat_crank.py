"""The shells' implicit step against pure mathematics: Crank's series for a cylinder and a sheet.

Crank, The Mathematics of Diffusion, 2nd ed. 1975, equations from memory; the numbers were computed from them by
others' hands than this project's code, and are computed again below with scipy's Bessel functions.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from meat_parts import reference
from scipy.special import j1, jn_zeros

from chamberwatch.errors import OutOfRange
from chamberwatch.meat.drying import course
from chamberwatch.meat.hours import planned
from chamberwatch.meat.shells import conductance_kg_s, frame, solids_shares, sweep
from chamberwatch.model import Shape

RADIUS_M, DIFFUSIVITY_M2_S, SOLIDS_KG_M3 = 0.0525, 5e-11, 400.0
# Fo, mean unaccomplished, centre unaccomplished of a cylinder with a constant surface.
CYLINDER = [
    (0.005, 0.84549, 1.0), (0.01, 0.78453, 1.0), (0.02, 0.70144, 1.0), (0.05, 0.54788, 0.98710), (0.10, 0.39418, 0.84836),
    (0.20, 0.21785, 0.50149), (0.30, 0.12203, 0.28249),
]  # fmt: skip


def unaccomplished(shape: Shape, fourier: float, shells: int, steps: int = 1500, outermost: float | None = None):
    """Mean and innermost X of a body at 1 whose surface is held at 0, not shrinking; steps grow with time."""
    shares = solids_shares(shape, shells, outermost)[:, None]
    stretch = np.array([1.0])
    volume = shares * (math.pi * RADIUS_M**2 if shape is Shape.ROUND else RADIUS_M)
    now = frame(shape, volume, stretch)
    even = np.ones_like(volume)
    conductance = conductance_kg_s(now, DIFFUSIVITY_M2_S * even, SOLIDS_KG_M3 * even)
    ends = fourier * RADIUS_M**2 / DIFFUSIVITY_M2_S * np.linspace(0.0, 1.0, steps + 1) ** 2
    x = even
    for step_s in np.diff(ends):
        x = sweep(x, SOLIDS_KG_M3 * volume, conductance, float(step_s)).close(np.zeros(1))
    return float((shares * x).sum()), float(x[0, 0])


def series(shape: Shape, fourier: float) -> float:
    """Crank's mean unaccomplished change."""
    if shape is Shape.ROUND:
        zeros = jn_zeros(0, 200)
        return float(np.sum(4.0 / zeros**2 * np.exp(-(zeros**2) * fourier)))
    odd = np.arange(1, 401, 2)
    return float(np.sum(8.0 / (odd * np.pi) ** 2 * np.exp(-((odd * np.pi) ** 2) * fourier / 4.0)))


@pytest.mark.parametrize(("fourier", "mean", "centre"), CYLINDER)
def test_cylinder(fourier, mean, centre):
    """24 shells of the usual grading: mean and centre within 0.5 % of what there was to lose."""
    found = unaccomplished(Shape.ROUND, fourier, 24, outermost=0.006)
    assert found == pytest.approx((mean, centre), abs=0.005)
    assert series(Shape.ROUND, fourier) == pytest.approx(mean, abs=2e-5)


@pytest.mark.parametrize("fourier", [0.01, 0.05, 0.1, 0.3, 0.5])
def test_sheet(fourier):
    """A slab of 24 shells: within 0.5 % of what there was to lose."""
    assert unaccomplished(Shape.SLAB, fourier, 24, outermost=0.006)[0] == pytest.approx(
        series(Shape.SLAB, fourier), abs=0.005
    )


@pytest.mark.parametrize("shape", list(Shape))
def test_the_grid_converges(shape):
    """Twice as many shells, a third of the error or less (second order), down to the steps' own error."""
    true = series(shape, 0.05)
    errors = [abs(unaccomplished(shape, 0.05, shells, 6000)[0] - true) for shells in (6, 12, 24)]
    assert errors[1] < errors[0] / 3.0
    assert errors[2] < errors[1] / 2.5


def test_the_centre_by_bessel_functions():
    """The tabled centre is Crank's: 2 Σ exp(-z² Fo) / (z J1(z)), by scipy."""
    zeros = jn_zeros(0, 50)
    assert float(np.sum(2.0 / (zeros * j1(zeros)) * np.exp(-(zeros**2) * 0.1))) == pytest.approx(0.84836, abs=1e-5)


def test_fewer_shells_dry_alike():
    """The ensemble's 14 shells lose within 0.3 % of the piece of what 48 lose, at 3, 14 and 42 days."""
    lost = {}
    for shells in (14, 48):
        members = reference(shells=shells, per_x=0.35)
        masses = {m.at_h: m.mass_kg[0] for m in course(members, planned(42 * 24, 12.5, 75.0))}
        lost[shells] = [100.0 * (1.0 - masses[day * 24] / members.hung_kg[0]) for day in (3, 14, 42)]
    assert lost[14] == pytest.approx(lost[48], abs=0.3)


@pytest.mark.parametrize(("shells", "outermost"), [(3, None), (401, None), (24, 0.05), (24, 0.0)])
def test_impossible_grids_are_refused(shells, outermost):
    """Too few, too many, or an outermost shell deeper than an even share."""
    with pytest.raises(OutOfRange, match="outside"):
        solids_shares(Shape.ROUND, shells, outermost)
