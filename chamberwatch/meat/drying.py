"""Drying of pieces in changing air: shells of dry solids, shrinking, implicit, closed by evaporation.

What is left out, and said so: salt moves with its solids (in truth it evens out inwards); the ends of a round
piece; the mold's own resistance; fat as a barrier beyond the diffusivity that was chosen for the kind.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from chamberwatch.meat.brine import activity_and_slope
from chamberwatch.meat.hours import Air, Block, blocks, saturated_kg_m3
from chamberwatch.meat.members import WATER_KG_M3, Members
from chamberwatch.meat.shells import Frame, conductance_kg_s, frame, sweep

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy as np
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

GAS_J_MOL_K = 8.314462618
KELVIN_AT_0_C = 273.15
REF_TEMP_C = 12.5
"""[°C] Diffusivities are given at it."""
LEWIS_J_M3_K = 1.235 * 1006.0 * 0.865 ** (2.0 / 3.0)
"""[J/(m³ K)] Heat over mass transfer of a surface, ρ cp Le^(2/3) of air at 12 °C (Chilton-Colburn, from
memory)."""
RADIATION_W_M2_K = 5.0
"""[W/(m² K)] Heat that a piece also gets from walls near the air's temperature: 4 σ T³ at 12.5 °C × 0.95."""
LATENT_J_KG = 2.47e6
"""[J/kg] Heat of evaporation near 12 °C (from memory)."""
WATER_J_KG_K, SOLIDS_J_KG_K = 4180.0, 1900.0
"""[J/(kg K)] Heat capacities (from memory)."""
_LEAST_X = 1e-6
_NEWTON_STEPS = 40
_NEWTON_CLOSE = 1e-7


class State(NamedTuple):
    """Where drying stands: water per dry solids of shells (× members) and surface [kg/kg], warmth [°C]."""

    x: Floats
    surface_x: Floats
    temp_c: Floats


class Moment(NamedTuple):
    """The end of a step: hours since the hang, state, mass left [kg], water leaving [kg/(m² s)].

    `coat_aw` is the relative humidity [1] at the casing's outer side, where mold lives, at the piece's
    warmth.
    """

    at_h: float
    step_h: float
    state: State
    mass_kg: Floats
    flux_kg_m2_s: Floats
    coat_aw: Floats


class Body(NamedTuple):
    """What stays the same while members dry."""

    solids_kg: Floats
    solids_m3: Floats
    stretch_m: Floats
    x_hung: Floats
    lean_per_solids: Floats
    salt_per_solids: Floats
    passed_m_s: Floats
    """Surface and casing in series."""


def body(members: Members) -> Body:
    """Return what stays the same while these members dry.

    Equation: 1/K = 1/h_m + R_casing.   Source: resistances in series; no published permeance of a wet beef
    bung could be found, R is a guess.
    """
    shares, solids = members.shares()[:, None], members.solids_kg
    return Body(
        shares * solids,
        shares * members.solids_m3,
        members.stretch_m,
        members.water_kg / solids,
        members.lean_kg / solids,
        members.salt_kg / solids,
        1.0 / (1.0 / members.surface_m_s + members.casing_s_m),
    )


def hung(members: Members, temp_c: float = REF_TEMP_C) -> State:
    """Return the state at the hang: evenly moist, at `temp_c` throughout."""
    import numpy as np

    x = members.water_kg / members.solids_kg
    return State(np.tile(x, (members.shells, 1)), x.copy(), np.full(len(members), temp_c))


def frame_of(members: Members, fixed: Body, x: Floats) -> Frame:
    """Return where the shells' faces stand.

    Equation: V = W/1000 + fat/920 + lean/1350 + salt/2160 (ideal shrinkage, length or face fixed).
    Source: from memory.   Error: pieces shorten a little too; not measured.
    """
    return frame(members.shape, fixed.solids_m3 + fixed.solids_kg * x / WATER_KG_M3, fixed.stretch_m)


def diffusivity_m2_s(members: Members, fixed: Body, state: State) -> Floats:
    """Diffusivity of water in each shell.

    Equation: D = Dref exp(k (X - X_hung)) exp(-Ea/R (1/T - 1/T_ref)), T_ref 12.5 °C.
    Valid: 0..30 °C by its sources; used as it stands beyond.   Returns: [m²/s].
    Source: D 2.4e-11..6.6e-11 of small pork pieces at 75 %RH (read, a Norwegian drying project); Ea 31.86
    kJ/mol of pork across the fibre (read, Gómez et al., J. Food Eng. 214 (2017) 69), usually 20..35 (from
    memory); falling with moisture: read without numbers, k is our guess.
    Error: published values for meat spread over a factor of ten and more: the ensemble's reason.
    """
    import numpy as np

    inverse_k = 1.0 / (state.temp_c + KELVIN_AT_0_C) - 1.0 / (REF_TEMP_C + KELVIN_AT_0_C)
    warmth = members.d_ref_m2_s * np.exp(-members.activation_j_mol / GAS_J_MOL_K * inverse_k)
    moist: Floats = np.exp(members.d_per_x * (state.x - fixed.x_hung))
    moist *= warmth
    return moist


def advance(members: Members, fixed: Body, state: State, air: Block) -> Moment:
    """Return the end of one step of steady air.

    Equation: implicit step of `shells.sweep`, closed by J = K (c_sat(Ts) a_w(Xs) - c_air) at the new Xs; then
    C dT/dt = A {(h + h_r)(Ta - T) - L J}, h = h_m ρ cp Le^(2/3), implicit.
    Source: Lewis' relation between heat and mass transfer (from memory); see `shells` and `brine`.
    Error: water is conserved to rounding; first order in the step (`test_meat_integrator.py`).
    """
    now = frame_of(members, fixed, state.x)
    conductance = conductance_kg_s(
        now,
        diffusivity_m2_s(members, fixed, state),
        fixed.solids_kg / (fixed.solids_m3 + fixed.solids_kg * state.x / WATER_KG_M3),
    )
    swept = sweep(state.x, fixed.solids_kg, conductance, air.length_s)
    skin = _skin(members, fixed, now.face_m2[-1], state, air)
    surface_x, activity = _close(swept.outflow, swept.outflow_per_x, skin, fixed, state.surface_x)
    outflow_kg_s = swept.outflow - swept.outflow_per_x * surface_x
    x = swept.close(surface_x)
    flux = outflow_kg_s / now.face_m2[-1]
    temp_c = _warmed(members, fixed, state, skin, flux, activity, air)
    mass = (fixed.solids_kg * x).sum(axis=0) + members.solids_kg
    coat = (skin.air_kg_m3 + flux / members.surface_m_s) / skin.saturated_kg_m3
    return Moment(
        air.end_h, air.end_h - air.begin_h, State(x, surface_x, temp_c), mass, flux, coat.clip(0.0, 1.0)
    )


class _Skin(NamedTuple):
    """How easily vapour passes [m³/s], its density saturated at the piece's warmth and in the air [kg/m³]."""

    pass_m3_s: Floats
    saturated_kg_m3: Floats
    air_kg_m3: Floats
    air_temp_c: Floats
    per_k: float


def _skin(members: Members, fixed: Body, face_m2: Floats, state: State, air: Block) -> _Skin:
    import numpy as np

    unknown = 1.0 - air.known
    temp_c = air.temp_c + air.known * members.temp_bias_c + unknown * members.gap_temp_c
    rh_pct = air.rh_pct + air.known * members.rh_bias_pct + unknown * members.gap_rh_pct
    saturated, per_k = saturated_kg_m3(air.temp_c)
    in_air = saturated * np.exp(per_k * (temp_c - air.temp_c)) * rh_pct.clip(1.0, 100.0) / 100.0
    at_piece = saturated * np.exp(per_k * (state.temp_c - air.temp_c))
    return _Skin(face_m2 * fixed.passed_m_s, at_piece, in_air, temp_c, per_k)


def _close(
    constant: Floats, per_x: Floats, skin: _Skin, fixed: Body, start_x: Floats
) -> tuple[Floats, Floats]:
    """Solve constant - per_x X = pass (c_sat a_w(X) - c_air) by Newton's method kept between two bounds."""
    import numpy as np

    wet, gain = skin.pass_m3_s * skin.saturated_kg_m3, skin.pass_m3_s * skin.air_kg_m3
    low, high = np.full_like(start_x, _LEAST_X), (constant + gain) / per_x
    x = np.clip(start_x, low, high)
    for _ in range(_NEWTON_STEPS):
        activity, slope = activity_and_slope(x, fixed.lean_per_solids, fixed.salt_per_solids)
        excess = constant - per_x * x - wet * activity + gain
        above = excess > 0.0
        low, high = np.where(above, x, low), np.where(above, high, x)
        nearer = x + excess / (per_x + wet * slope)
        nearer = np.where((nearer >= low) & (nearer <= high), nearer, (low + high) / 2.0)
        step, x = np.abs(nearer - x), nearer
        if np.all(step <= _NEWTON_CLOSE * x):
            break
    activity, _ = activity_and_slope(x, fixed.lean_per_solids, fixed.salt_per_solids)
    return x, activity


def _warmed(
    members: Members, fixed: Body, state: State, skin: _Skin, flux: Floats, activity: Floats, air: Block
) -> Floats:
    water_kg = (fixed.solids_kg * state.x).sum(axis=0)
    capacity_j_k = water_kg * WATER_J_KG_K + members.solids_kg * SOLIDS_J_KG_K
    heat_w_m2_k = members.surface_m_s * LEWIS_J_M3_K + RADIATION_W_M2_K
    face_m2 = skin.pass_m3_s / fixed.passed_m_s
    speed = air.length_s * heat_w_m2_k * face_m2 / capacity_j_k
    chill = LATENT_J_KG / heat_w_m2_k
    # evaporation grows with the piece's own warmth: taken along, or a thin piece would swing about
    damping = chill * fixed.passed_m_s * skin.saturated_kg_m3 * activity * skin.per_k
    settled = skin.air_temp_c - chill * flux + damping * state.temp_c
    result: Floats = (state.temp_c + speed * settled) / (1.0 + speed * (1.0 + damping))
    return result


def course(members: Members, air: Air, start: Moment | None = None) -> Iterator[Moment]:
    """Yield the end of every step of the air, from the hang or from an earlier moment of the same course.

    Args: air from the hang on [hourly]; start: None, or a moment whose hour is a step's end.
    """
    fixed = body(members)
    state = hung(members, float(air.temp_c[0])) if start is None and len(air.temp_c) else None
    if start is not None:
        state = start.state
    if state is None:
        return
    for block in blocks(air, 0 if start is None else round(start.at_h)):
        moment = advance(members, fixed, state, block)
        state = moment.state
        yield moment


def masses_kg(members: Members, air: Air, at_h: npt.ArrayLike) -> Floats:
    """Masses without tare at hours after the hang (hours × members), straight between the ends of steps.

    Hours before the hang give the mass when hung, hours after the air's end the last mass.
    """
    import numpy as np

    wanted = np.atleast_1d(np.asarray(at_h, dtype=np.float64))
    ends, masses = [0.0], [members.hung_kg]
    for moment in course(members, air):
        ends.append(moment.at_h)
        masses.append(moment.mass_kg)
    after = np.clip(np.searchsorted(ends, wanted), 1, max(len(ends) - 1, 1))
    if len(ends) == 1:
        return np.tile(masses[0], (len(wanted), 1))
    times, table = np.asarray(ends), np.asarray(masses)
    share = np.clip((wanted - times[after - 1]) / (times[after] - times[after - 1]), 0.0, 1.0)[:, None]
    result: Floats = table[after - 1] * (1.0 - share) + table[after] * share
    return result
