"""A piece cut into shells of fixed dry solids, and the implicit step of water between them.

Rules for this file: shells carry their solids with them, so that shrinking moves faces and no water; what
leaves one shell enters the next, to rounding; the surface's condition is left open, as one straight line, so
that any law of evaporation can close it without being linearised.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from chamberwatch.errors import OutOfRange
from chamberwatch.model import Shape

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

SHELLS = 24
OUTERMOST_SHARE = 0.006
"""Depth of the outermost shell as a share of radius or half thickness: 0.3 mm of a neck."""
SHELLS_MIN, SHELLS_MAX = 4, 400
_HALVINGS = 80


def solids_shares(shape: Shape, shells: int = SHELLS, outermost: float | None = OUTERMOST_SHARE) -> Floats:
    """Share of a piece's dry solids in each shell, inner first; they add up to 1.

    Depths grow inwards by one factor from `outermost` (a share of radius or half thickness); None makes all
    shells equally deep. Valid: 4..400 shells, 0 < outermost <= 1 / shells -> else raises OutOfRange.
    """
    import numpy as np

    if not SHELLS_MIN <= shells <= SHELLS_MAX:
        raise OutOfRange(f"{shells} shells are outside {SHELLS_MIN} to {SHELLS_MAX}")
    first = 1.0 / shells if outermost is None else outermost
    if not 0.0 < first <= 1.0 / shells:
        raise OutOfRange(f"outermost shell of {first:g} is outside 0 to 1/{shells} of the way in")
    depths = _factor(shells, first) ** np.arange(shells, dtype=np.float64)[::-1]
    faces = np.concatenate([[0.0], np.cumsum(depths)]) / np.sum(depths)
    return np.diff(faces**2) if shape is Shape.ROUND else np.diff(faces)


def _factor(shells: int, first: float) -> float:
    """The growth g of depths with first (1 + g + g² …) = 1, by bisection."""
    low, high = 1.0, 10.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        total = first * math.fsum(middle**n for n in range(shells))
        low, high = (middle, high) if total < 1.0 else (low, middle)
    return (low + high) / 2.0


class Frame(NamedTuple):
    """Where the shells' faces stand now: outer face of each [m², m], half depth of each [m]."""

    face_m2: Floats
    outer_m: Floats
    half_depth_m: Floats


def frame(shape: Shape, volume_m3: Floats, stretch_m: Floats) -> Frame:
    """Faces of shells of these volumes.

    Equation: round: r = √(ΣV / (π L)), A = 2 π r L;  slab: y = ΣV / A, A both faces together.
    Args: volume_m3: shells × members. stretch_m: what does not shrink: a round piece's length [m], a slab's
    two faces [m²].   Returns: `Frame`. Source: geometry; a round piece's ends are left out (common practice).
    """
    import numpy as np

    inside = np.cumsum(volume_m3, axis=0)
    if shape is Shape.ROUND:
        outer = np.sqrt(inside / (math.pi * stretch_m))
        face = 2.0 * math.pi * stretch_m * outer
    else:
        outer = inside / stretch_m
        face = np.broadcast_to(stretch_m, outer.shape)
    half = np.empty_like(outer)
    half[0] = outer[0] / 2.0
    np.subtract(outer[1:], outer[:-1], out=half[1:])
    half[1:] /= 2.0
    return Frame(face, outer, half)


def conductance_kg_s(now: Frame, diffusivity_m2_s: Floats, solids_kg_m3: Floats) -> Floats:
    """Water [kg/s] through each shell's outer face per unit of X; the last is the surface's half.

    Equation: G = A / (δ1/(D ρ)1 + δ2/(D ρ)2), δ the half depths on both sides.
    Args: shells × members: diffusivity [m²/s], dry solids per volume of meat [kg/m³].   Returns: [kg/s].
    Source: resistances in series, which keep the flux continuous between unequal shells.
    """
    resistance = now.half_depth_m / (diffusivity_m2_s * solids_kg_m3)
    resistance[:-1] += resistance[1:]
    result: Floats = now.face_m2 / resistance
    return result


class Swept(NamedTuple):
    """A half-done implicit step: X of each shell hangs on the next one outward, the last on the surface's."""

    constant: Floats
    on_next: Floats
    outflow: Floats
    """[kg/s] Out of the piece if the surface's X were 0 …"""
    outflow_per_x: Floats
    """… and how much less for each unit of it."""

    def close(self, surface_x: Floats) -> Floats:
        """Return X of all shells (shells × members), given the surface's."""
        import numpy as np

        x = np.empty_like(self.constant)
        outward = surface_x
        for shell in range(len(x) - 1, -1, -1):
            outward = np.multiply(self.on_next[shell], outward, out=x[shell])
            outward += self.constant[shell]
        return x


def sweep(x: Floats, solids_kg: Floats, conductance: Floats, step_s: float) -> Swept:
    """Eliminate an implicit (backward Euler) step from the core outwards.

    Equation: m (X' - X)/Δt = G(j-1) (X'(j-1) - X'(j)) - G(j) (X'(j) - X'(j+1)), X of the surface open.
    Args: x [kg/kg], solids_kg, conductance [kg/s]: shells × members. step_s: above 0 [s].   Returns: `Swept`.
    Source: Thomas' elimination, stable here since every row is diagonally dominant.
    Error: first order in the step; Crank's series within 0.5 % at 24 shells
    (`test_meat_crank.py`).
    """
    import numpy as np

    held = solids_kg / step_s
    constant, on_next = held * x, np.empty_like(x)
    from_inside = np.zeros_like(x[0])
    for shell in range(len(x)):
        whole = held[shell] + conductance[shell]
        whole += from_inside
        if shell:
            constant[shell] += conductance[shell - 1] * constant[shell - 1]
        constant[shell] /= whole
        np.divide(conductance[shell], whole, out=on_next[shell])
        # G (1 - G/(h + G + s)) = G (h + s)/(h + G + s), which cannot cancel
        from_inside = on_next[shell] * (held[shell] + from_inside)
    return Swept(constant, on_next, conductance[-1] * constant[-1], from_inside)
