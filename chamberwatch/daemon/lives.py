"""A piece's way so far, from the journal's record to the terms of `meat.stages`."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from chamberwatch.meat.stages import Life

if TYPE_CHECKING:
    from collections.abc import Sequence

    from chamberwatch.journal.pieces import Piece, Remark

RE_TIED = re.compile(r"\bre-?(?:tie|tied|net|netted)\b", re.IGNORECASE)


def life(piece: Piece, at_ms: int, remarks: Sequence[Remark] = ()) -> Life | None:
    """Return a piece's way as of a time [ms UTC]; None before it began.

    `remarks` are the owner's notes on it: one that says "re-tied" or "re-netted" ends that job, as the remark
    of a weigh-in does.
    """
    entered = piece.stage_at(at_ms)
    if entered is None:
        return None
    weighed = [w for w in piece.weigh_ins if w.at_ms <= at_ms]
    said = [(w.at_ms, w.remark) for w in weighed] + [(r.at_ms, r.text) for r in remarks if r.at_ms <= at_ms]
    hung = [stay for stay in piece.hangs if stay.from_ms <= at_ms]
    return Life(
        kind=piece.facts.kind,
        size_mm=piece.size_mm,
        stage=entered.stage,
        since_ms=entered.from_ms,
        hung_ms=hung[0].from_ms if hung else None,
        hanging=bool(hung) and hung[-1].covers(at_ms),
        weighed_ms=tuple(w.at_ms for w in weighed),
        re_tied_ms=max((ms for ms, text in said if RE_TIED.search(text)), default=None),
        loss_pct=piece.loss_pct(weighed[-1].whole_g) if weighed else None,
        target_loss_pct=piece.facts.target_loss_pct,
    )
