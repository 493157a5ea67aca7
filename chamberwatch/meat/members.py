"""Pieces dried together: each member is one guess at piece, casing, air and scale."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING

from chamberwatch.errors import OutOfRange
from chamberwatch.meat.brine import meat_water_activity
from chamberwatch.meat.shells import SHELLS, solids_shares
from chamberwatch.model import Shape

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

WATER_KG_M3, FAT_KG_M3, LEAN_KG_M3, SALT_KG_M3 = 1000.0, 920.0, 1350.0, 2160.0
"""[kg/m³] Densities whose volumes add up (ideal shrinkage); from memory."""


@dataclass(frozen=True, slots=True)
class Members:
    """Arrays of one value a member, but for `shape` and `shells`, which they share.

    Masses when hung [kg]; `size_m` diameter or thickness when hung; diffusivity at 12.5 °C and the moisture
    it was hung with [m²/s], its rise with X [1 per kg/kg] and its activation energy [J/mol]; surface and
    casing [m/s, s/m]; the probe's bias [%RH, K]; how far the air of unmeasured hours was from the plan [%RH,
    K]; how much the tare is off [kg]. Valid: water, lean and size above 0, diffusivity and surface above 0,
    other quantities from 0 (biases any finite) -> else raises OutOfRange.
    """

    shape: Shape
    water_kg: Floats
    lean_kg: Floats
    fat_kg: Floats
    salt_kg: Floats
    size_m: Floats
    d_ref_m2_s: Floats
    d_per_x: Floats
    activation_j_mol: Floats
    surface_m_s: Floats
    casing_s_m: Floats
    rh_bias_pct: Floats
    temp_bias_c: Floats
    gap_rh_pct: Floats
    gap_temp_c: Floats
    tare_error_kg: Floats
    shells: int = SHELLS

    def __post_init__(self) -> None:
        import numpy as np

        for name in ("water_kg", "lean_kg", "size_m", "d_ref_m2_s", "surface_m_s"):
            if not np.all(getattr(self, name) > 0.0):
                raise OutOfRange(f"{name} must be above 0 for every member")
        for name in ("fat_kg", "salt_kg", "d_per_x", "activation_j_mol", "casing_s_m"):
            if not np.all(getattr(self, name) >= 0.0):
                raise OutOfRange(f"{name} must not be below 0 for any member")

    def __len__(self) -> int:
        return len(self.water_kg)

    @property
    def solids_kg(self) -> Floats:
        """All that never evaporates."""
        return self.lean_kg + self.fat_kg + self.salt_kg

    @property
    def hung_kg(self) -> Floats:
        """Mass when hung, without tare."""
        return self.water_kg + self.solids_kg

    @property
    def solids_m3(self) -> Floats:
        """Volume of what never evaporates."""
        return self.lean_kg / LEAN_KG_M3 + self.fat_kg / FAT_KG_M3 + self.salt_kg / SALT_KG_M3

    @property
    def stretch_m(self) -> Floats:
        """What does not shrink: a round piece's length [m], both faces of a slab together [m²]."""
        volume = self.water_kg / WATER_KG_M3 + self.solids_m3
        if self.shape is Shape.ROUND:
            return volume / (math.pi / 4.0 * self.size_m**2)
        return 2.0 * volume / self.size_m

    def shares(self) -> Floats:
        """Share of the dry solids in each shell."""
        return solids_shares(self.shape, self.shells)

    def picked(self, index: npt.NDArray[np.intp]) -> Members:
        """Return the members of these indices (some perhaps several times)."""
        names = [f.name for f in fields(self) if f.name not in {"shape", "shells"}]
        return replace(self, **{name: getattr(self, name)[index] for name in names})

    def equalised_water_activity(self, loss_pct: float, of_kg: Floats) -> Floats:
        """Water activity when `loss_pct` of `of_kg` is lost and what is left is spread evenly [1].

        Valid: losses that leave water -> else raises OutOfRange. Source and error: `meat_water_activity`.
        """
        water = of_kg * (1.0 - loss_pct / 100.0) - self.solids_kg
        return meat_water_activity(water, self.lean_kg, self.salt_kg)
