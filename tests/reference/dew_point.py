"""Dew point over air -40 to 60 degC and 1 to 100 % relative humidity.

psychrolib_c            psychrolib as it comes. At and below 0 degC this is the frost point.
psychrolib_over_water_c the same library with its switch to ice moved out of reach, so that its own
                        formula over water (Hyland and Wexler) is carried on below freezing.
wmo_c                   pvlib's inverse of the Magnus form with the WMO coefficients (WMO-No. 8).
"""

import psychrolib
from pvlib.atmosphere import tdew_from_rh

import table

psychrolib.SetUnitSystem(psychrolib.SI)
TRIPLE_POINT = psychrolib.TRIPLE_POINT_WATER_SI
HUMIDITIES = [1, 2, 5, 8, *range(10, 100, 5), 99, 100]


def over(switch_c, air_c, percent):
    psychrolib.TRIPLE_POINT_WATER_SI = switch_c
    return psychrolib.GetTDewPointFromRelHum(air_c, percent / 100)


def rows():
    for air in range(-80, 121, 5):
        for percent in HUMIDITIES:
            air_c = air / 2
            yield (
                air_c,
                percent,
                over(TRIPLE_POINT, air_c, percent),
                over(-1000.0, air_c, percent),
                float(tdew_from_rh(air_c, percent)),
            )


table.write(
    "dew_point.csv",
    "Dew point in degC: psychrolib, psychrolib over water throughout, Magnus form of the WMO.",
    ["psychrolib", "pvlib"],
    ["air_c", "relative_humidity_percent", "psychrolib_c", "psychrolib_over_water_c", "wmo_c"],
    rows(),
)
