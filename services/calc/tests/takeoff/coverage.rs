//! Layers counted cell by cell on the unrolled cylinder, without any formula for layers.

use calc::{Wrap, wrap_takeoff};

use crate::given::{near, wrap};

const AROUND: u32 = 180;
const ALONG: u32 = 4000;

/// Layers over one point: one straight turn at each end, and every pass of the spiral whose
/// lower edge, rising by one pitch a turn, is under the point and its upper edge over it.
fn layers_at(length: f64, width: f64, pitch: f64, turn: f64, along: f64) -> u32 {
    let mut layers = u32::from(along < width) + u32::from(along >= length - width);
    let last = (length - width) / pitch;
    let mut turns = turn;
    while turns < last {
        let edge = turns * pitch;
        layers += u32::from(edge <= along && along < edge + width);
        turns += 1.0;
    }
    layers
}

struct Count {
    mean: f64,
    least_inside: u32,
    shares_inside: Vec<f64>,
}

fn count(it: &Wrap, pitch: f64) -> Count {
    let (length, width) = (it.wrapped_length.as_millimetres(), it.roll_width.as_millimetres());
    let (mut all, mut inside, mut seen) = (0_u32, 0_u32, [0_u32; 32]);
    for step in 0..ALONG {
        let along = (f64::from(step) + 0.5) / f64::from(ALONG) * length;
        for part in 0..AROUND {
            let turn = (f64::from(part) + 0.5) / f64::from(AROUND);
            let layers = layers_at(length, width, pitch, turn, along);
            all += layers;
            // Clear of the straight turns and of the wedges in which the spiral begins and ends.
            if along >= width + pitch && along < length - width - pitch {
                inside += 1;
                seen[usize::try_from(layers).unwrap()] += 1;
            }
        }
    }
    let shares_inside: Vec<_> = seen.iter().map(|it| f64::from(*it) / f64::from(inside)).collect();
    let least = shares_inside.iter().position(|it| *it > 0.0).unwrap();
    Count {
        mean: f64::from(all) / f64::from(ALONG * AROUND),
        least_inside: u32::try_from(least).unwrap(),
        shares_inside,
    }
}

#[test]
fn shares_and_area_are_what_a_count_of_cells_finds() {
    for it in [
        wrap(114.3, 50.0, 55.0, 400.0),
        wrap(323.8, 100.0, 55.0, 450.0),
        wrap(406.4, 100.0, 10.0, 500.0),
        wrap(610.0, 150.0, 55.0, 900.0),
        wrap(610.0, 100.0, 50.0, 900.0),
        wrap(610.0, 100.0, 70.0, 900.0),
    ] {
        let found = wrap_takeoff(&it).unwrap();
        let counted = count(&it, found.pitch_mm);
        assert_eq!(u64::from(counted.least_inside), found.layers_min, "{it:?}");
        let share = |layers: u64| counted.shares_inside[usize::try_from(layers).unwrap()];
        near(100.0 * share(found.layers_min + 1), found.share_one_more_percent, 0.6);
        near(share(found.layers_min) + share(found.layers_min + 1), 1.0, 1e-9);
        // Tape laid over surface; the take-off's turn is longer by the slant of the helix.
        near(counted.mean / found.area_ratio, 1.0, 0.006);
    }
}

#[test]
fn with_straight_turns_the_double_layer_begins_one_pitch_from_the_edge() {
    // At 55 %: derived by hand. One layer in the wedge at the edge, two from one pitch inwards.
    let (length, width, pitch) = (500.0, 150.0, 67.5);
    let least_at = |along: f64| {
        let parts = (0..AROUND).map(|it| f64::from(it) / f64::from(AROUND));
        parts.map(|turn| layers_at(length, width, pitch, turn, along)).min().unwrap()
    };
    assert_eq!(least_at(pitch - 1.0), 1);
    let mut along = pitch;
    while along < length - pitch {
        assert!(least_at(along) >= 2, "{along} mm from the edge");
        along += 0.5;
    }
}
