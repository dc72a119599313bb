"""Which random number belongs to this key and counter: the counter-based generator inside the march.

No state: the same key and counter give the same number in any batch, order or fork.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from sim.kernels.aero import INLINE

M0, M1 = np.uint64(0xD2E7470EE14C6C93), np.uint64(0xCA5A826395121157)
W0, W1 = np.uint64(0x9E3779B97F4A7C15), np.uint64(0xBB67AE8584CAA73B)
LOW, HALF = np.uint64(0xFFFFFFFF), np.uint64(32)
UNIT, UNIT_32 = 1.0 / 9007199254740992.0, 1.0 / 4294967296.0


@njit(**INLINE)
def multiply_high(a, b):
    """Return the upper 64 bits of the 128-bit product of two uint64."""
    a0, a1, b0, b1 = a & LOW, a >> HALF, b & LOW, b >> HALF
    low = a0 * b0
    middle = a1 * b0 + (low >> HALF)
    other = a0 * b1 + (middle & LOW)
    return a1 * b1 + (middle >> HALF) + (other >> HALF)


@njit(**INLINE)
def philox(c0, c1, k0, k1):
    """Return four uint64 for the counter (c0, c1, 0, 0) and the key (k0, k1), ten rounds.

    References
    ----------
    Salmon, Moraes, Dror, Shaw, Parallel random numbers: as easy as 1, 2, 3, SC11, 2011: Philox 4x64-10.
    """
    c2, c3 = np.uint64(0), np.uint64(0)
    for _ in range(10):
        high0, low0 = multiply_high(M0, c0), M0 * c0
        high1, low1 = multiply_high(M1, c2), M1 * c2
        c0, c1, c2, c3 = high1 ^ c1 ^ k0, low1, high0 ^ c3 ^ k1, low0
        k0, k1 = k0 + W0, k1 + W1
    return c0, c1, c2, c3


@njit(**INLINE)
def normal_pair(a, b):
    """Return two standard normal numbers from two uint64.

    References
    ----------
    Box and Muller, A note on the generation of random normal deviates, Annals of Mathematical Statistics 29,
    1958.
    """
    radius = math.sqrt(-2.0 * math.log((np.float64(a >> np.uint64(11)) + 0.5) * UNIT))
    angle = 2.0 * math.pi * (np.float64(b >> np.uint64(11)) * UNIT)
    return radius * math.cos(angle), radius * math.sin(angle)


@njit(**INLINE)
def normal_quantile(share, table):
    """Return the standard normal number below which ``share`` of them lie.

    Parameters
    ----------
    share : float64 - within (2^-33, 1 - 2^-33)
    table : (n + 1, 2) float64 - quantiles of k/n and their slopes over share, times 1/n

    Notes
    -----
    The cubic through the table's values and slopes, right to 2e-6; in the outermost eight intervals of either
    side a rational function, right to 1e-7.

    References
    ----------
    Wichura, Algorithm AS 241: the percentage points of the normal distribution, Applied Statistics 37, 1988:
    PPND7 (coefficients from memory, checked against a library).
    """
    count = table.shape[0] - 1
    place = share * count
    k = int(place)
    if 8 <= k < count - 8:
        t = place - k
        rest = 1.0 - t
        low, high = table[k, 0] + t * (2.0 * table[k, 0] + table[k, 1]), table[k + 1, 0]
        high += rest * (2.0 * table[k + 1, 0] - table[k + 1, 1])
        return rest * rest * low + t * t * high
    r = math.sqrt(-math.log(min(share, 1.0 - share))) - 1.6
    far = ((1.7023821103e-1 * r + 1.3067284816) * r + 2.7568153900) * r + 1.4234372777
    far /= (1.2021132975e-1 * r + 7.3700164250e-1) * r + 1.0
    return -far if share < 0.5 else far


@njit(cache=True)
def uniforms(identity, tick, channel, purpose):
    """Return one number in [0, 1) for each (identity, tick, channel): (n,) float64."""
    values = np.empty(identity.shape[0])
    for n in range(identity.shape[0]):
        a, _, _, _ = philox(np.uint64(tick[n]), np.uint64(channel[n]), identity[n], purpose)
        values[n] = np.float64(a >> np.uint64(11)) * UNIT
    return values
