"""Tape for one joint: what the geometry gives by numbers, not by the formulas.

- The length of an advancing turn is the arc length of a space curve, by quadrature over its chords'
  derivative; the straight turns are circles measured in the same way.
- Layers are counted: turns are laid side by side as bands, in exact fractions, and every stretch
  between two tape edges over one pitch is asked how many bands cover it.
- Rolls are cut and joined one after the other.
"""

import math
import random
from fractions import Fraction

from scipy.integrate import quad

import table

JOINTS_IN_A_ROW = 2000


def arc_length(diameter, advance_per_turn, turns):
    """Length of (r cos a, r sin a, advance a / 2 pi) over the given turns, derivative by differences."""

    def point(a):
        return (diameter / 2 * math.cos(a), diameter / 2 * math.sin(a), advance_per_turn * a / math.tau)

    def speed(a, step=1e-3):
        # Five-point differences: the error is of the order of step to the fourth.
        near = [p - q for p, q in zip(point(a + step), point(a - step), strict=True)]
        far = [p - q for p, q in zip(point(a + 2 * step), point(a - 2 * step), strict=True)]
        return math.hypot(*[(8 * n - f) / (12 * step) for n, f in zip(near, far, strict=True)])

    return quad(speed, 0, turns * math.tau, epsabs=1e-9, epsrel=1e-12, limit=200)[0] if turns > 0 else 0.0


def layers(width, overlap_percent):
    """Fewest layers, and the share of one pitch that has one more."""
    pitch = width * (1 - overlap_percent / 100)
    reach = math.ceil(width / pitch) + 1
    bands = [(it * pitch, it * pitch + width) for it in range(-reach, 2)]
    edges = sorted({min(max(it, 0), pitch) for band in bands for it in band} | {0, pitch})
    found = {}
    for low, high in zip(edges, edges[1:]):
        middle = (low + high) / 2
        count = sum(begin <= middle < end for begin, end in bands)
        found[count] = found.get(count, 0) + (high - low)
    fewest = min(found)
    return fewest, float(100 * found.get(fewest + 1, 0) / pitch), float(sum(n * it for n, it in found.items()) / pitch)


def rolls(roll_m, joint_m, lap_m):
    whole, left = 0, roll_m
    while left >= joint_m:
        left -= joint_m
        whole += 1
    opened, length = 1, roll_m
    while length < joint_m:
        opened += 1
        length += roll_m - lap_m
    remnant = left if whole else length - joint_m
    # Every remnant used up: one endless strip of rolls, each joined on with a lap.
    used, strip = 1, roll_m
    for _ in range(JOINTS_IN_A_ROW):
        while strip < joint_m:
            strip += roll_m - lap_m
            used += 1
        strip -= joint_m
    return whole, opened, remnant, (used - strip / (roll_m - lap_m)) / JOINTS_IN_A_ROW


def invent(draw):
    # A wrap without straight turns takes tape only where it is longer than the tape is wide.
    width = draw.choice([30, 50, 75, 100, 150, 200, 230, 300])
    beyond = draw.choice([0, draw.randint(1, 60), draw.randint(50, 900)])
    return {
        "outside_diameter_mm": draw.choice([60.3, 88.9, 114.3, 168.3, 219.1, 323.8, 406.4, 610.0, 914.0, 1219.0]),
        "wrapped_length_mm": float(width + beyond),
        "roll_width_mm": float(width),
        "roll_length_m": float(draw.choice([5, 10, 15, 20, 30, 60])),
        "overlap_percent": draw.choice([0.0, 10.0, 25.0, 50.0, 55.0, 60.0, 75.0, draw.randint(0, 85) + 0.5]),
        "tape_thickness_mm": draw.choice([0.0, 0.5, 0.8, 1.0, 2.0]),
        "build_below_mm": draw.choice([0.0, 0.0, 1.6, 3.0]),
        "straight_turns": draw.choice([0.0, 1.0, 2.0, 2.0]) if beyond else 2.0,
        "splice_lap_mm": draw.choice([0.0, 100.0, 150.0]),
        "waste_percent": draw.choice([0.0, 5.0, 10.0]),
    }


def answer(it):
    fraction = {name: Fraction(str(value)) for name, value in it.items()}
    width, overlap = fraction["roll_width_mm"], fraction["overlap_percent"]
    fewest, one_more, mean = layers(width, overlap)
    pitch = float(width * (1 - overlap / 100))
    wrap = it["outside_diameter_mm"] + 2 * it["build_below_mm"] + mean * it["tape_thickness_mm"]
    turn = arc_length(wrap, pitch, 1.0)
    advancing = (it["wrapped_length_mm"] - it["roll_width_mm"]) / pitch
    tape = (arc_length(wrap, 0.0, it["straight_turns"]) + arc_length(wrap, pitch, advancing)) / 1000
    wasted = tape + tape * it["waste_percent"] / 100
    ratio = it["roll_width_mm"] * tape * 1000 / (arc_length(it["outside_diameter_mm"], 0.0, 1.0) * it["wrapped_length_mm"])
    whole, opened, remnant, spliced = rolls(it["roll_length_m"], wasted, it["splice_lap_mm"] / 1000)
    return [pitch, mean, fewest, one_more, wrap, advancing, turn, tape, wasted, ratio, whole, opened, spliced, remnant]


def rows():
    draw = random.Random(5512)
    for _ in range(400):
        case = invent(draw)
        yield [*case.values(), *answer(case)]


table.write(
    "wrap_takeoff.csv",
    f"Tape for one joint by quadrature, counting and cutting; rolls_per_joint_spliced over {JOINTS_IN_A_ROW} joints.",
    ["scipy"],
    [
        *invent(random.Random(0)),
        "pitch_mm",
        "layers_mean",
        "layers_min",
        "share_one_more_percent",
        "wrap_diameter_mm",
        "helical_turns",
        "helix_turn_mm",
        "tape_m",
        "tape_with_waste_m",
        "area_ratio",
        "joints_per_roll",
        "rolls_per_joint_whole",
        "rolls_per_joint_spliced",
        "remnant_m",
    ],
    rows(),
)
