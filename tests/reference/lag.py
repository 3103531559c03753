"""Steel that lags behind the air, dT/dt = (T_air - T) / tau, by a general ODE solver.

The air is linear between its hourly values; the solver starts anew at each of its kinks.
"""

import random

from scipy.integrate import solve_ivp

import table


def scenario(draw):
    tau_h = 10 ** draw.uniform(-1, 1.30103)
    air = [draw.uniform(-20, 35)]
    while len(air) < 25:
        air.append(max(-40.0, min(60.0, air[-1] + draw.gauss(0, 2.5))))
    air = [round(it, 1) for it in air]
    return tau_h, round(air[0] + draw.uniform(-15, 15), 1), air


def rows():
    draw = random.Random(41)
    for number in range(40):
        tau_h, start_c, air = scenario(draw)
        steel = start_c
        yield number, tau_h, start_c, 0, air[0], steel
        for hour in range(24):
            low, high = air[hour], air[hour + 1]

            def slope(t, state, low=low, high=high):
                return [(low + (high - low) * t - state[0]) / tau_h]

            found = solve_ivp(slope, (0, 1), [steel], method="Radau", rtol=1e-12, atol=1e-12)
            assert found.success
            steel = float(found.y[0, -1])
            yield number, tau_h, start_c, hour + 1, high, steel


table.write(
    "lag.csv",
    "Steel behind the air by a first-order lag: scipy.integrate.solve_ivp, Radau, tolerances 1e-12.",
    ["scipy", "numpy"],
    ["scenario", "tau_h", "steel_start_c", "hour", "air_c", "steel_c"],
    rows(),
)
