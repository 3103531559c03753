"""Reorder point and safety stock.

Fixed lead time: stockpyl's lead-time demand distribution, of which the reorder point is the quantile
at the service level. Its newsvendor solution of the same case (whose periods are one more than its
lead time) is held against it here. stockpyl has no uncertain lead time: there the reorder point is
scipy's normal quantile with the mean and variance of an even mixture of the two lead times L - s and
L + s, taken from the moments of the mixed distributions.
"""

import math
import random

from scipy.stats import norm
from stockpyl.demand_source import DemandSource
from stockpyl.newsvendor import newsvendor_normal

import table

LEVELS = [50.0, 80.0, 90.0, 95.0, 97.0, 97.5, 98.0, 99.0, 99.5, 99.9]


def fixed(d, sd, lead, level):
    demand = DemandSource(type="N", mean=d, standard_deviation=sd)
    reorder = float(demand.lead_time_demand_distribution(lead).ppf(level))
    if lead >= 1:
        other, _ = newsvendor_normal(1 - level, level, d, sd, lead_time=lead - 1)
        assert math.isclose(reorder, other, rel_tol=1e-12)
    return reorder


def uncertain(d, sd, lead, lead_sd, level):
    parts = [norm(d * it, sd * math.sqrt(it)) for it in (lead - lead_sd, lead + lead_sd)]
    mean = sum(it.mean() for it in parts) / 2
    variance = sum(it.var() + (it.mean() - mean) ** 2 for it in parts) / 2
    return float(norm.ppf(level, mean, math.sqrt(variance)))


def rows():
    draw = random.Random(88)
    for number in range(420):
        d = round(10 ** draw.uniform(-1, 3), 2)
        sd = round(d * draw.uniform(0.05, 0.8), 3) or 0.001
        lead = round(10 ** draw.uniform(-0.3, 2), 1)
        level = draw.choice(LEVELS)
        if number % 2:
            lead_sd = round(lead * draw.uniform(0.02, 0.9), 2) or 0.01
            reorder = uncertain(d, sd, lead, lead_sd, level / 100)
            source = "scipy"
        else:
            lead_sd = 0.0
            reorder = fixed(d, sd, lead, level / 100)
            source = "stockpyl"
        yield source, d, sd, lead, lead_sd, level, float(norm.ppf(level / 100)), reorder - d * lead, reorder


table.write(
    "reorder_point.csv",
    "Continuous review, normal demand; source stockpyl: fixed lead time; source scipy: uncertain lead time.",
    ["stockpyl", "scipy"],
    [
        "source",
        "demand_per_day",
        "demand_sd_per_day",
        "lead_time_days",
        "lead_time_sd_days",
        "service_level_percent",
        "z",
        "safety_stock",
        "reorder_point",
    ],
    rows(),
)
