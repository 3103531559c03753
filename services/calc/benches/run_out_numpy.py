"""The simulation of benches/run_out.rs, written straightforwardly with numpy.

It is run by that bench, which hands it the materials on standard input as JSON:

    PYTHON=<a python that has numpy> cargo bench -p calc --bench run_out

Paths and lots are vectorised, days are a loop. It prints the seconds of the simulation alone
(reading the input is not counted) and, for each material, the paths that run out on each day.
"""

import json
import sys
import time

import numpy


def simulate(material):
    days, paths = material["days"], material["paths"]
    random = numpy.random.default_rng(material["seed"])

    # One row a lot or delivery: day of arrival, quantity, last day; first expired first.
    stock = [(0, quantity, last) for quantity, last in material["lots"]]
    stock += [tuple(delivery) for delivery in material["deliveries"]]
    stock = [(on, quantity, days if last < 0 else last) for on, quantity, last in stock]
    stock.sort(key=lambda row: row[2])
    on, quantity, last = (numpy.array(column) for column in zip(*stock))

    made = random.choice(material["production"], size=(paths, days))
    waste = random.choice(material["waste_factors"], size=(paths, days))
    share = numpy.array(material["working_share"])
    demand = made * waste * share * material["quantity_per_unit"]

    left = numpy.zeros((paths, len(stock)))
    run_out = numpy.full(paths, days)
    for day in range(days):
        arrived = on == day
        left[:, arrived] += quantity[arrived]
        alive = left[:, numpy.searchsorted(last, day):]
        asked = demand[:, day]
        before = numpy.cumsum(alive, axis=1) - alive
        taken = numpy.clip(asked[:, None] - before, 0.0, alive)
        alive -= taken
        short = asked - taken.sum(axis=1) > 1e-9 * asked
        run_out[short & (run_out == days)] = day
        if (run_out < days).all():
            break
    return numpy.bincount(run_out, minlength=days + 1)[:days]


def main():
    materials = json.load(sys.stdin)
    begun = time.perf_counter()
    counts = [simulate(material) for material in materials]
    print(time.perf_counter() - begun)
    for days in counts:
        print(*days)


main()
