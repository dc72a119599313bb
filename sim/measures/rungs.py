"""Where does the next level of a subset simulation lie, and how surely do several levels multiply up?"""

from __future__ import annotations

from collections.abc import Sequence
from math import inf, sqrt

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def next_level(values: Floats, wanted: int) -> float:
    """Return the value at or below which samples found the next level.

    Parameters
    ----------
    values : (sample,) float64 [any]
        More than are wanted.
    wanted : int
        Founders.

    Returns
    -------
    float [any]

    Notes
    -----
    Just below the next smallest sample after the wanted ones, which itself is left out: given its value those
    nearer are distributed as the level wants, and their share is the level's without bias. With it among them
    each level adds about 1 / wanted to the estimate. Where many samples share that value there is nothing to
    leave out.

    References
    ----------
    C.-E. Brehier, M. Gazeau, L. Goudenege, T. Lelievre, M. Rousset, "Unbiasedness of some generalized
    adaptive multilevel splitting algorithms", Annals of Applied Probability 26 (2016) 3559-3601 (from
    memory).
    """
    edge = float(np.partition(values, wanted)[wanted])
    nearer = float(np.nextafter(edge, -inf))
    return nearer if np.count_nonzero(values <= nearer) > 0.5 * wanted else edge


def product_variation(terms: Sequence[float]) -> float:
    """Return the coefficient of variation of a product of independent factors.

    Parameters
    ----------
    terms : sequence of float [-]
        Squared coefficient of variation of each; what is not a number counts as none.

    Notes
    -----
    1 + variation^2 = prod (1 + term). Their sum, the first order, is too little where a term is not small.
    """
    return sqrt(float(np.expm1(np.sum(np.log1p(np.nan_to_num(np.asarray(terms)))))))
