"""Logarithm and power as plain arithmetic, which the compiler turns into vector code; calls into libm it cannot.

Both are good to 1e-10, far beyond any wall law; for positive numbers in the normal range.
"""

from __future__ import annotations

import math

import numpy as np

from waveflow.compiled import bits_of, from_bits, kernel

_TWO_OVER_LN2 = 2.0 / math.log(2.0)
_L1, _L3, _L5, _L7, _L9, _L11 = (_TWO_OVER_LN2 / k for k in (1, 3, 5, 7, 9, 11))
_ROOT_HALF = np.int64(0x3FE6A09E667F3BCD)  # bits of sqrt(1/2)
_WHOLE = 1.5 * 2.0**52  # adding it rounds to a whole number, left in the lowest bits
_E1, _E2, _E3, _E4, _E5, _E6, _E7, _E8, _E9 = (math.log(2.0) ** k / math.factorial(k) for k in range(1, 10))


@kernel
def log2(x):
    """Logarithm to base 2: exponent of x, and of its mantissa m in sqrt(1/2)..sqrt(2) the series in (m - 1)/(m + 1)."""
    bits = bits_of(x)
    exponent = (bits - _ROOT_HALF) >> 52
    m = from_bits(bits - (exponent << 52))
    s = (m - 1.0) / (m + 1.0)
    z = s * s
    return exponent + s * (_L1 + z * (_L3 + z * (_L5 + z * (_L7 + z * (_L9 + z * _L11)))))


@kernel
def exp2(x):
    """2 to the power of x (-1000..1000): the whole part moves the exponent, the rest is a Taylor series."""
    rounded = min(max(x, -1000.0), 1000.0) + _WHOLE
    f = x - (rounded - _WHOLE)
    p = 1.0 + f * (_E1 + f * (_E2 + f * (_E3 + f * (_E4 + f * (_E5 + f * (_E6 + f * (_E7 + f * (_E8 + f * _E9))))))))
    return from_bits(bits_of(p) + (bits_of(rounded) << 52))
