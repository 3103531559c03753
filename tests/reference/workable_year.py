"""Workable hours of each month of the typical year, counted apart from the Rust code.

The steel is carried from hour to hour by a matrix exponential of (steel, air, slope of the air), the
dew point is pvlib's Magnus form with the WMO coefficients. As that differs from other over-water
formulas by a few hundredths of a kelvin, each month has a least and a greatest count: with the
margin limit moved 0.05 K up and down.
"""

import csv
from pathlib import Path

import numpy as np
from pvlib.atmosphere import tdew_from_rh
from scipy.linalg import expm

import table

LAG_H = 2.0
YEAR = Path(__file__).parents[2] / "demo-data" / "weather" / "greensboro_typical_year.csv"
with open(YEAR, newline="") as file:
    hours = list(csv.DictReader(it for it in file if not it.startswith("#")))

air = np.array([float(it["dry_bulb_c"]) for it in hours])
humidity = np.array([float(it["relative_humidity_percent"]) for it in hours])
dry = np.array([float(it["liquid_precipitation"]) == 0 for it in hours])
light = np.array([float(it["extraterrestrial_w_m2"]) > 0 for it in hours])
month = np.array([int(it["date"][:2]) for it in hours])

step = expm(np.array([[-1 / LAG_H, 1 / LAG_H, 0], [0, 0, 1], [0, 0, 0]]))
steel = [air[0]]
for before, after in zip(air, air[1:]):
    steel.append((step @ np.array([steel[-1], before, after - before]))[0])
steel = np.array(steel)
margin = steel - tdew_from_rh(air, humidity)
rest = dry & (humidity <= 85) & (steel >= 5) & (steel <= 60) & (air >= 5)


def rows():
    for number in range(1, 13):
        here = month == number
        least, greatest = rest & here & (margin >= 3.05), rest & here & (margin >= 2.95)
        counts = [here, here & light, least, greatest, least & light, greatest & light]
        yield [number, *(int(it.sum()) for it in counts)]


table.write(
    "workable_year.csv",
    "Workable hours of a typical year; steel 2 h behind the air; limits as in the test that reads this.",
    ["scipy", "numpy", "pvlib"],
    ["month", "hours", "daylight_hours", "least", "greatest", "daylight_least", "daylight_greatest"],
    rows(),
)
