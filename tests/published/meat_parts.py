"""The piece that the reference run of the check values dries: 2 kg of neck, made of members."""

from __future__ import annotations

import numpy as np

from chamberwatch.meat.members import Members
from chamberwatch.model import Shape

REFERENCE_KG = 2.0


def reference(
    *, size_m=0.105, diffusivity=5e-11, surface=4e-3, salt=0.0275, water=0.63, fat=0.175, shells=24, casing=0.0,
    shape=Shape.ROUND, per_x=0.0, activation=25e3, count=1,
):  # fmt: skip
    """Members like the reference piece; masses are shares of its raw weight."""

    def each(value: float):
        return np.full(count, float(value))

    return Members(
        shape,
        each(water * REFERENCE_KG),
        each((1.0 - water - fat) * REFERENCE_KG),
        each(fat * REFERENCE_KG),
        each(salt * REFERENCE_KG),
        each(size_m),
        each(diffusivity),
        each(per_x),
        each(activation),
        each(surface),
        each(casing),
        *(each(0.0) for _ in range(5)),
        shells=shells,
    )
