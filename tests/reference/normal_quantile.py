"""Quantiles of the standard normal distribution, from scipy."""

import numpy as np
from scipy.stats import norm

import table

COMMON = [0.5, 0.8, 0.9, 0.95, 0.97, 0.975, 0.98, 0.99, 0.995, 0.999, 0.9995, 0.9999, 0.99999]
TAILS = [10.0 ** -(it / 8) for it in range(8, 97)]
FAR = [1e-15, 1e-20, 1e-30, 1e-50, 1e-100, 1e-200, 1e-300]
EVEN = list(np.linspace(0.0025, 0.9975, 399))
probabilities = sorted({float(it) for it in [*COMMON, *FAR, *TAILS, *[1 - it for it in TAILS[:72]], *EVEN]})

table.write(
    "normal_quantile.csv",
    "Standard normal quantile of a probability: scipy.stats.norm.ppf.",
    ["scipy", "numpy"],
    ["probability", "z"],
    ((it, float(norm.ppf(it))) for it in probabilities),
)
