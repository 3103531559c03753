"""Quantiles of Student's t, from scipy."""

from scipy.stats import t

import table

DEGREES = [*range(1, 31), 40, 60, 99, 100, 120, 250, 500, 999, 1000, 1001, 2000, 10_000, 1_000_000]
PROBABILITIES = [0.005, 0.05, 0.3, 0.5, 0.75, 0.9, 0.95, 0.975, 0.99, 0.995, 0.9995]

table.write(
    "student_quantile.csv",
    "Quantile of Student's t by degrees of freedom: scipy.stats.t.ppf.",
    ["scipy"],
    ["degrees", "probability", "t"],
    ((degrees, it, float(t.ppf(it, degrees))) for degrees in DEGREES for it in PROBABILITIES),
)
