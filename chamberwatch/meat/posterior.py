"""What weigh-ins say of a piece: members weighed by them all at once, redrawn where too few still fit.

Rules for this file: the same piece, air, weigh-ins and seed give the same answer, whenever and in whatever
order they became known; weigh-ins that contradict one another or the model widen the answer, never break it.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from chamberwatch.errors import OutOfRange
from chamberwatch.meat import prior
from chamberwatch.meat.drying import masses_kg

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    import numpy.typing as npt

    from chamberwatch.meat.hours import Air
    from chamberwatch.meat.members import Members
    from chamberwatch.meat.piece import Piece

    Floats = npt.NDArray[np.float64]

MODEL_ERROR = 0.0075
"""Spread of the model itself, as a share of green weight; to be tuned until intervals hold what they
claim."""
SCALE_ERROR_G = 5.0
"""A kitchen scale and the hand that reads it; common practice, no source."""
EFFECTIVE_SHARE = 0.15
"""Fewer effective members than this share of all are redrawn: the median date of 1000 then moves by less
than a day with the seed, where it moved by three with sixty effective ones."""
ROUNDS = 3
STRETCH = 1.15
"""By how much wider than the fit redraws are spread, so that their weights stay even."""
FROM_PRIOR = 0.1
"""Share of redraws that still come from the prior: no weight can then exceed ten times its likelihood."""
MISFIT_MAX = 4.0
"""Mean square of the best members' misfits, in spreads, above which weigh-ins count as contradicting."""
_BISECTIONS = 40
_ANOTHER = 7919


class WeighedAt(NamedTuple):
    """A weigh-in: hours since the hang, and the scale's grams less the tare."""

    at_h: float
    net_g: float


class Posterior(NamedTuple):
    """Members with weights that add up to 1.

    `effective` is the effective number of members, `widened` by how much the spreads of weigh-ins were
    stretched until they fitted at all (1 when they do), `prior_effective` how many of the first draws fitted.
    """

    members: Members
    weights: Floats
    effective: float
    prior_effective: float
    widened: float


def effective_number(weights: Floats) -> float:
    """Effective number of members.

    Equation: (Σw)² / Σw².   Args: weights from 0, not all 0.   Source: Kong's measure of importance
    sampling, from memory.   Error: none of its own; it says nothing of members that were never drawn.
    """
    total = float(weights.sum())
    return total * total / float((weights * weights).sum())


def posterior(
    piece: Piece,
    air: Air,
    weighed: Sequence[WeighedAt],
    *,
    seed: int,
    count: int = prior.MEMBERS,
    scale_error_g: float = SCALE_ERROR_G,
    pace: float = 0.0,
) -> Posterior:
    """Return the members that the weigh-ins leave, dried in the air so far.

    Equation: w ∝ p(z) / q(z) exp(-½ Σ (m_net - m - tare error)² / (scale² + (0.0075 green)²)).
    Args: air by the hour from the hang; weighed: in any order, all from the hang on; seed from 0;
    scale_error_g above 0 [g]; pace as in `prior.members`.   Valid: those, finite masses -> else raises
    OutOfRange.
    Source: importance sampling, a defensive mixture for redraws (from memory).
    Error: coverage of its intervals is measured against simulated pieces only, never yet on real meat.
    """
    _check(weighed, scale_error_g)
    inquiry = _Inquiry(piece, air, sorted(weighed), scale_error_g / 1e3, pace)
    drawn = prior.draws(seed, count)
    misfits = inquiry.misfits(drawn)
    widened = _widening(misfits)
    logs = _log_fit(misfits, widened)
    first = effective_number(_weights(logs))
    for turn in range(ROUNDS):
        if effective_number(_weights(logs)) >= EFFECTIVE_SHARE * count:
            break
        drawn, ratio = _redrawn(drawn, misfits / widened, logs, seed + _ANOTHER * (turn + 1))
        misfits = inquiry.misfits(drawn)
        widened = min(widened, _widening(misfits))
        logs = ratio + _log_fit(misfits, widened)
    weights = _weights(logs)
    return Posterior(inquiry.members(drawn), weights, effective_number(weights), first, widened)


class _Inquiry(NamedTuple):
    piece: Piece
    air: Air
    weighed: list[WeighedAt]
    scale_kg: float
    pace: float

    def members(self, drawn: Floats) -> Members:
        return prior.members(self.piece, drawn, pace=self.pace)

    def misfits(self, drawn: Floats) -> Floats:
        """By how many spreads each member misses each weigh-in (weigh-ins × members)."""
        import numpy as np

        if not self.weighed:
            return np.zeros((0, len(drawn)))
        tried = self.members(drawn)
        until_h = math.ceil(self.weighed[-1].at_h)
        hours = [w.at_h for w in self.weighed]
        shown = masses_kg(tried, _until(self.air, until_h), hours) + tried.tare_error_kg
        observed = np.array([w.net_g / 1e3 for w in self.weighed])[:, None]
        spread = math.hypot(self.scale_kg, MODEL_ERROR * self.piece.green_weight_g / 1e3)
        result: Floats = (observed - shown) / spread
        return result


def _until(air: Air, hours: int) -> Air:
    """The air up to the end of the step in which hour `hours` lies."""
    from chamberwatch.meat.hours import COARSE_HOURS, Air

    end = -(-hours // COARSE_HOURS) * COARSE_HOURS
    return Air(*(column[:end] for column in air))


def _check(weighed: Sequence[WeighedAt], scale_error_g: float) -> None:
    if not (math.isfinite(scale_error_g) and scale_error_g > 0):
        raise OutOfRange(f"a scale's error of {scale_error_g:g} g is not above 0 g")
    for weigh_in in weighed:
        if not (math.isfinite(weigh_in.net_g) and weigh_in.net_g > 0 and weigh_in.at_h >= 0):
            raise OutOfRange(
                f"a weigh-in of {weigh_in.net_g:g} g, {weigh_in.at_h:g} h after the hang, is none: it "
                "needs a weight "
                "above 0 g and a time not before the hang"
            )


def _widening(misfits: Floats) -> float:
    """By how much spreads must be stretched for the best members to fit: 1 unless weigh-ins contradict."""
    if not len(misfits):
        return 1.0
    return max(1.0, math.sqrt(float((misfits**2).mean(axis=0).min()) / MISFIT_MAX))


def _log_fit(misfits: Floats, widened: float) -> Floats:
    result: Floats = -0.5 * ((misfits / widened) ** 2).sum(axis=0)
    return result


def _weights(logs: Floats) -> Floats:
    import numpy as np

    weights = np.exp(logs - logs.max())
    return np.asarray(weights / weights.sum())


def _tempered(logs: Floats) -> Floats:
    """Weights of logs × β, with the greatest β up to 1 that leaves a quarter of the members effective."""
    wanted = len(logs) / 4
    low, high = 0.0, 1.0
    if effective_number(_weights(logs)) >= wanted:
        return _weights(logs)
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2.0
        low, high = (middle, high) if effective_number(_weights(middle * logs)) >= wanted else (low, middle)
    return _weights(low * logs)


def _redrawn(drawn: Floats, misfits: Floats, logs: Floats, seed: int) -> tuple[Floats, Floats]:
    """Draws around those that should fit, and ln p(z) - ln q(z) for each.

    Misfits are nearly straight in z: r ≈ a + B z by least squares over all draws, near ones before far ones.
    Were they straight, the posterior would be normal with covariance (1 + BᵀB)⁻¹ and mean -(1 + BᵀB)⁻¹ Bᵀ a.
    Draws come from that, a little stretched, and their weights put right what is not straight.
    """
    import numpy as np

    weights, axes = _tempered(logs), drawn.shape[1]
    root_w = np.sqrt(weights)[:, None]
    design = root_w * np.column_stack([np.ones(len(drawn)), drawn])
    solved = np.linalg.lstsq(design, root_w * misfits.T, rcond=None)[0]
    offset, slope = solved[0], solved[1:]
    covariance = np.linalg.inv(np.eye(axes) + slope @ slope.T)
    centre = -covariance @ (slope @ offset)
    root = STRETCH * np.linalg.cholesky(covariance)
    fresh = prior.draws(seed, len(drawn))
    cut = round(FROM_PRIOR * len(drawn))
    z = np.concatenate([fresh[:cut], centre + fresh[cut:] @ root.T])
    log_p = -0.5 * (z**2).sum(axis=1)
    scaled = np.linalg.solve(root, (z - centre).T)
    log_q = -0.5 * (scaled**2).sum(axis=0) - float(np.log(np.diag(root)).sum())
    mixture = np.logaddexp(math.log(FROM_PRIOR) + log_p, math.log(1.0 - FROM_PRIOR) + log_q)
    return z, log_p - mixture
