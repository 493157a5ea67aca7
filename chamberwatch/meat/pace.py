"""How much faster or slower a finished piece dried than was supposed of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from chamberwatch.meat import prior

if TYPE_CHECKING:
    from chamberwatch.meat.piece import Piece
    from chamberwatch.meat.posterior import Posterior

PACE_MAX = 1.0


def pace(piece: Piece, left: Posterior, seed: int) -> float:
    """Return by how much weigh-ins moved the diffusivity, to be supposed of the next piece.

    Equation: Σ w ln D - mean of ln D over the prior's draws, held to -1..1.
    Args: left: the members its weigh-ins left; seed: that of the prior, from 0.   Returns: [ln].
    Source: our own choice: what is faster about a chamber's air or casings counts as faster meat.
    Error: weigh-ins cannot tell these apart; unknown on real meat.
    """
    import numpy as np

    supposed = prior.members(piece, prior.draws(seed)).d_ref_m2_s
    shift = np.average(np.log(left.members.d_ref_m2_s), weights=left.weights) - np.mean(np.log(supposed))
    return float(np.clip(shift, -PACE_MAX, PACE_MAX))
