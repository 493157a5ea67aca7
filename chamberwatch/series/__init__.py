"""Sending the air and the events to a time-series server of the v2 write protocol.

Contract: the journal is the truth, the server a copy that may lag. Every row is written at least once, and
again later: a server's answer is not durability, and writing a row twice changes nothing there.
"""

from chamberwatch.series.lines import EventLike, RowLike
from chamberwatch.series.writer import SeriesPlan, SeriesStatus, SeriesWriter, TailLike

__all__ = ["EventLike", "RowLike", "SeriesPlan", "SeriesStatus", "SeriesWriter", "TailLike"]
