"""Outside diameters and walls of steel pipe by nominal size and schedule, as fluids holds them."""

from fluids.piping import schedule_lookup

import table

# ASME B36.10M carbon steel, then the S schedules of B36.19M.
SCHEDULES = ["STD", "XS", "XXS", "5", "10", "20", "30", "40", "60", "80", "100", "120", "140", "160"]
SCHEDULES += ["5S", "10S", "40S", "80S"]


def rows():
    for schedule in SCHEDULES:
        sizes, _, outside, walls = schedule_lookup[schedule][:4]
        for nps, od_mm, wall_mm in zip(sizes, outside, walls, strict=True):
            yield schedule, float(nps), float(od_mm), float(wall_mm)


table.write(
    "pipe_sizes.csv",
    "Steel pipe: nominal size in inches, outside diameter and wall in mm.",
    ["fluids"],
    ["schedule", "nps", "outside_diameter_mm", "wall_mm"],
    rows(),
)
