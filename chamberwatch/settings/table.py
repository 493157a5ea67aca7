"""What every table of the settings has in common."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Table(BaseModel):
    """Any table: unknown keys and non-finite numbers are faults."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)
