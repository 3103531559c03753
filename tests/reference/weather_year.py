"""Trims the typical year of Greensboro that comes with pvlib to the columns used here."""

import csv
from importlib.metadata import version
from pathlib import Path

import pvlib

COLUMNS = {
    "date": "Date (MM/DD/YYYY)",
    "time": "Time (HH:MM)",
    "extraterrestrial_w_m2": "ETR (W/m^2)",
    "dry_bulb_c": "Dry-bulb (C)",
    "dew_point_c": "Dew-point (C)",
    "relative_humidity_percent": "RHum (%)",
    "liquid_precipitation": "Lprecip depth (mm)",
}
SOURCE = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
TARGET = Path(__file__).parents[2] / "demo-data" / "weather" / "greensboro_typical_year.csv"

with open(SOURCE, newline="") as file:
    station = file.readline().strip()
    hours = list(csv.DictReader(file))
with open(TARGET, "w", newline="") as file:
    file.write(f"# Station line of the source: {station}\n")
    file.write(f"# Trimmed by tests/reference/weather_year.py from pvlib {version('pvlib')}, data/{SOURCE.name}.\n")
    out = csv.writer(file, lineterminator="\n")
    out.writerow(COLUMNS)
    out.writerows([hour[it] for it in COLUMNS.values()] for hour in hours)
print(TARGET.name, len(hours), "hours")
