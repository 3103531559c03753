"""Wilson score intervals, from scipy's binomial test."""

import random

from scipy.stats import binomtest

import table

CONFIDENCES = [50.0, 80.0, 90.0, 95.0, 97.5, 99.0, 99.9]


def rows():
    draw = random.Random(1927)
    edges = [(n, k) for n in (1, 2, 5, 10, 40, 1000, 100_000) for k in {0, 1, n - 1, n}]
    middle = []
    for _ in range(400):
        n = round(10 ** draw.uniform(0, 5.5))
        middle.append((n, draw.choice([draw.randint(0, n), draw.randint(0, max(1, n // 20))])))
    for n, k in edges + middle:
        percent = draw.choice(CONFIDENCES)
        found = binomtest(k, n).proportion_ci(percent / 100, method="wilson")
        yield n, k, percent, float(found.low), float(found.high)


table.write(
    "wilson.csv",
    "Wilson score interval without continuity correction: scipy.stats.binomtest, method wilson.",
    ["scipy"],
    ["inspected", "nonconforming", "confidence_percent", "low", "high"],
    rows(),
)
