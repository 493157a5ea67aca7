"""Pieces that dry by physics of the simulator's own, so that a forecast is not tested against itself.

Differences from the monitor's model, on purpose: water *and salt* move, each by its own concentration; a
fixed grid in space that shrinks as a whole, stepped forward explicitly; diffusivity falls as a power of the
moisture; water is held by salt as a polynomial in molality and by protein as Oswin's equation; the surface
follows a wet-bulb-like chill and the casing gets tighter as it dries.

Figures are common practice or from memory, chosen so that a neck roll of 102-114 mm takes six to nine weeks.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

CELLS = 18
HOUR_S = 3600.0
STABLE_PART = 0.8
SALT_FASTER = 2.0
"""Salt moves faster than water (from memory)."""
KELVIN_AT_0_C = 273.15
GAS_J_MOL_K = 8.314
SALT_KG_MOL = 0.05844
SATURATED_MOLAL = 6.14
SATURATED_AW = 0.753
OSWIN_A, OSWIN_B = 0.0499, 0.887
"""Lean dry solids hold 0.35 kg/kg at a_w 0.90 and 0.60 at 0.943 (from memory)."""
DENSITY_KG_M3 = 1060.0


@dataclass(frozen=True, slots=True)
class Meat:
    """What a piece really is; nobody is told. Masses kg, lengths m, seconds."""

    shape: str
    """"round" or "slab"."""
    hung_kg: float
    water: float
    """Share of the hanging mass."""
    lean: float
    salt: float
    size_m: float
    diffusivity_m2_s: float
    """At 12.5 °C and the moisture hung with."""
    power: float
    """By which it falls with moisture."""
    activation_j_mol: float
    surface_m_s: float
    casing_s_m: float
    chill_c: float
    """How much colder than the air a wet surface is, per 0.1 of water activity above the air's humidity."""


class Drying:
    """One piece on its way. `step` lives through an hour."""

    def __init__(self, meat: Meat) -> None:
        import numpy as np

        self.meat = meat
        edges = np.linspace(0.0, 1.0, CELLS + 1)
        round_ = meat.shape == "round"
        self._edges = edges
        self._weights = np.diff(edges**2) if round_ else np.diff(edges)
        """Share of the volume in each cell, from the centre out."""
        solids = meat.hung_kg * (1.0 - meat.water)
        self._solids_kg = solids
        self._lean_kg = meat.hung_kg * meat.lean
        self.water: Floats = np.full(CELLS, meat.water * meat.hung_kg / solids)
        """kg water per kg dry matter in each cell."""
        self.salt: Floats = np.full(CELLS, meat.salt * meat.hung_kg / solids)
        self._first_x = float(self.water[0])
        self.surface_aw = 1.0
        self.hours = 0
        volume = meat.hung_kg / DENSITY_KG_M3
        self._across_m = meat.size_m / 2.0
        self._face_m2 = volume / self._across_m * (2.0 if round_ else 1.0)
        """Of the outside, both faces of a slab."""

    @property
    def mass_kg(self) -> float:
        """What a scale would show without casing and string."""
        return float((self._weights * self.water).sum() * self._solids_kg + self._solids_kg)

    def water_activity(self, water: Floats, salt: Floats) -> Floats:
        """Water activity by salt and by protein [1]."""
        import numpy as np

        molal = np.minimum(salt / SALT_KG_MOL / np.maximum(water, 1e-6), SATURATED_MOLAL)
        by_salt = np.where(
            molal >= SATURATED_MOLAL, SATURATED_AW, 1.0 - 0.0325 * molal - 0.00128 * molal * molal
        )
        lean = self._lean_kg / self._solids_kg
        held = (water / lean / OSWIN_A) ** (1.0 / OSWIN_B)
        return np.asarray(by_salt * held / (1.0 + held))

    def step(self, temp_c: float, rh_pct: float) -> None:
        """Live through an hour of steady air."""
        cell_m = self._across_m * self._shrunk() / CELLS
        fastest = SALT_FASTER * float(self._diffusivity(temp_c).max())
        parts = math.ceil(HOUR_S * 2.0 * fastest / (STABLE_PART * cell_m**2))
        for _ in range(parts):
            self._step(temp_c, rh_pct, HOUR_S / parts)
        self.hours += 1

    def _diffusivity(self, temp_c: float) -> Floats:
        import numpy as np

        inverse_k = 1.0 / (temp_c + KELVIN_AT_0_C) - 1.0 / (12.5 + KELVIN_AT_0_C)
        warm = math.exp(-self.meat.activation_j_mol / GAS_J_MOL_K * inverse_k)
        moist = (np.maximum(self.water, 0.05) / self._first_x) ** self.meat.power
        return np.asarray(self.meat.diffusivity_m2_s * warm * moist)

    def _step(self, temp_c: float, rh_pct: float, length_s: float) -> None:
        import numpy as np

        shrunk = self._shrunk()
        cell_m, face = self._across_m * shrunk / CELLS, self._face_m2 * shrunk
        diffusivity = self._diffusivity(temp_c)
        flow = self._flow(self.water, diffusivity, cell_m, face)
        salt_flow = self._flow(
            self.salt / np.maximum(self.water, 0.05), SALT_FASTER * diffusivity, cell_m, face
        )
        salt_flow *= 0.5 * (self.water[:-1] + self.water[1:])
        out = self._leaving((temp_c, rh_pct), diffusivity[-1], cell_m, face)
        kg = self._weights * self._solids_kg / length_s
        self.water[:-1] -= flow / kg[:-1]
        self.water[1:] += flow / kg[1:]
        self.water[-1] = max(self.water[-1] - out / kg[-1], 0.02)
        self.salt[:-1] -= salt_flow / kg[:-1]
        self.salt[1:] += salt_flow / kg[1:]

    def _shrunk(self) -> float:
        """Return the length scale against the hang's: it shrinks by the water's volume, a little less."""
        mean_x = float((self._weights * self.water).sum())
        gone = (self._first_x - mean_x) * self._solids_kg / 1000.0
        whole = self.meat.hung_kg / DENSITY_KG_M3
        return math.sqrt(max(1.0 - 0.92 * gone / whole, 0.2))

    def _flow(self, level: Floats, diffusivity: Floats, cell_m: float, face_m2: float) -> Floats:
        """Return what passes from cell to cell outward [kg/s]."""
        import numpy as np

        density = self._solids_kg / (self.meat.hung_kg / DENSITY_KG_M3 * self._shrunk() ** 2)
        area = face_m2 * self._edges[1:-1] if self.meat.shape == "round" else np.full(CELLS - 1, face_m2)
        between = 0.5 * (diffusivity[:-1] + diffusivity[1:])
        return np.asarray(between * density * area * (level[:-1] - level[1:]) / cell_m)

    def _leaving(
        self, air: tuple[float, float], diffusivity: float, cell_m: float, face_m2: float
    ) -> float:
        """Return the water that leaves [kg/s]; the surface's moisture is found by halving."""
        import numpy as np

        meat, (temp_c, rh_pct) = self.meat, air
        density = self._solids_kg / (self.meat.hung_kg / DENSITY_KG_M3 * self._shrunk() ** 2)
        inward = diffusivity * density / (cell_m / 2.0)
        tight = meat.casing_s_m * (1.0 + 1.5 * max(0.0, 0.85 - rh_pct / 100.0))
        pass_m_s = 1.0 / (1.0 / meat.surface_m_s + tight)
        vapour = rh_pct / 100.0 * _saturated_kg_m3(temp_c)
        low, high = 0.01, max(0.02, float(self.water[-1]) * 1.5)
        salt = self.salt[-1:]
        activity = gives = 0.0
        for _ in range(30):
            x = 0.5 * (low + high)
            activity = float(self.water_activity(np.array([x]), salt)[0])
            cold_c = temp_c - meat.chill_c * max(0.0, activity - rh_pct / 100.0) * 10.0
            wants = pass_m_s * (_saturated_kg_m3(cold_c) * activity - vapour)
            gives = inward * (float(self.water[-1]) - x)
            low, high = (x, high) if gives > wants else (low, x)
        self.surface_aw = activity
        return float(gives * face_m2)


def _saturated_kg_m3(temp_c: float) -> float:
    """Vapour density over water [kg/m³], by Tetens' equation (from memory)."""
    pascal = 610.78 * math.exp(17.27 * temp_c / (temp_c + 237.3))
    return pascal / (461.5 * (temp_c + 273.15))
