//! Steel follows air with a lag: dT/dt = (air − T) / τ.

use units::Length;

/// The temperature of the steel after a step, air going in a straight line over the step.
///
/// `steel`, `air_before` and `air_after` in °C, `step_h` ≥ 0 and `lag_h` ≥ 0 in h; a lag of 0
/// follows the air. The answer lies between the least and the greatest of the three temperatures.
///
/// The closed form of the linear equation, derived by hand. With x = step/τ:
/// T = e⁻ˣ · steel + (φ − e⁻ˣ) · before + (1 − φ) · after, where φ = (1 − e⁻ˣ) / x.
/// The three weights are positive and add up to 1.
pub fn steel_after(steel: f64, air_before: f64, air_after: f64, step_h: f64, lag_h: f64) -> f64 {
    if lag_h <= 0.0 {
        return air_after;
    }
    let x = step_h / lag_h;
    let after = ramp_weight(x);
    let before = -(-x).exp_m1() - after;
    let moved = steel + before * (air_before - steel) + after * (air_after - steel);
    // Rounding alone could carry it past its neighbours.
    let low = steel.min(air_before).min(air_after);
    moved.clamp(low, steel.max(air_before).max(air_after))
}

/// 1 − (1 − e⁻ˣ)/x, for x ≥ 0. Below ½ by its Taylor series, where the difference would lose its
/// leading digits.
fn ramp_weight(x: f64) -> f64 {
    if x >= 0.5 {
        return 1.0 + (-x).exp_m1() / x;
    }
    let (mut sum, mut term, mut divisor) = (0.0, 1.0, 1.0);
    for _ in 0..16 {
        divisor += 1.0;
        term *= x / divisor;
        sum += term;
        term = -term;
    }
    sum
}

/// Density of carbon steel, kg/m³: from memory, unverified.
pub const STEEL_DENSITY_KG_PER_M3: f64 = 7850.0;

/// Specific heat of carbon steel near 20 °C, J/(kg K): from memory, unverified.
pub const STEEL_SPECIFIC_HEAT_J_PER_KG_K: f64 = 480.0;

/// Heat transfer from a pipe to slowly moving air, convection and radiation together, W/(m² K):
/// common practice, no source; 5 to 10 in still air, 30 and more in wind.
pub const HEAT_TRANSFER_W_PER_M2_K: f64 = 15.0;

/// An estimate of τ, in h, for a bare wall that exchanges heat on its outside only: ρ c s / h.
///
/// The wall is one lump of heat (the Biot number h s / k of a steel wall is far under 0.1; the
/// rule is from memory, unverified). None unless `heat_transfer_w_per_m2_k` is over 0 and finite.
/// Measured lags of the site come before this estimate.
pub fn steel_lag_of_wall_h(wall: Length, heat_transfer_w_per_m2_k: f64) -> Option<f64> {
    let heat = STEEL_DENSITY_KG_PER_M3 * STEEL_SPECIFIC_HEAT_J_PER_KG_K;
    let usable = heat_transfer_w_per_m2_k.is_finite() && heat_transfer_w_per_m2_k > 0.0;
    usable.then(|| heat * wall.as_millimetres() / 1000.0 / heat_transfer_w_per_m2_k / 3600.0)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const AIR: [f64; 7] = [5.0, 3.0, 2.0, 4.0, 9.0, 15.0, 18.0];

    /// The equation integrated numerically over the hours of `AIR` from 8 °C: scipy 1.17.1,
    /// `solve_ivp` with DOP853 and tolerances of 1e-12.
    const SCIPY: [(f64, [f64; 6]); 3] = [
        (
            0.3,
            [
                3.685_617_584,
                2.313_756_519,
                3.432_597_344,
                7.533_269_471,
                13.211_889_053,
                17.068_317_536,
            ],
        ),
        (
            2.0,
            [
                6.393_469_34,
                4.845_181_878,
                4.151_812_68,
                5.157_385_642,
                7.947_704_495,
                11.361_750_513,
            ],
        ),
        (
            12.0,
            [
                7.679_067_293,
                7.264_416_753,
                6.924_563_181,
                6.893_392_898,
                7.305_025_755,
                8.041_880_852,
            ],
        ),
    ];

    #[test]
    fn it_agrees_with_the_equation_integrated_numerically() {
        for (lag_h, expected) in SCIPY {
            let mut steel = 8.0;
            for (pair, expected) in AIR.windows(2).zip(expected) {
                steel = steel_after(steel, pair[0], pair[1], 1.0, lag_h);
                assert!((steel - expected).abs() < 2e-9, "τ {lag_h}: {steel} {expected}");
            }
        }
    }

    #[test]
    fn after_a_jump_63_2_percent_is_done_in_one_lag() {
        // 1 − 1/e = 0.632 120 558 8: the meaning of a time constant.
        let steel = steel_after(0.0, 1.0, 1.0, 2.5, 2.5);
        assert!((steel - 0.632_120_558_8).abs() < 1e-10);
    }

    #[test]
    fn a_huge_lag_keeps_the_leading_digits() {
        // After a ramp from 0 to 1 steel at 0 stands at x/2 − x²/6 + …, x = 1/τ: by hand.
        for lag_h in [1e6, 1e9, 1e12] {
            let x = 1.0 / lag_h;
            let found = steel_after(0.0, 0.0, 1.0, 1.0, lag_h);
            let expected = x / 2.0 - x * x / 6.0;
            assert!((found / expected - 1.0).abs() < 1e-12, "{lag_h}: {found}");
        }
    }

    #[test]
    fn a_wall_of_12_7_mm_lags_the_better_part_of_an_hour() {
        // 7850 · 480 · 0.0127 / 15 = 3190 s = 0.8862 h: arithmetic by hand, values from memory.
        let wall = Length::from_millimetres(12.7).unwrap();
        let lag = steel_lag_of_wall_h(wall, HEAT_TRANSFER_W_PER_M2_K).unwrap();
        assert!((lag - 0.8862).abs() < 1e-4, "{lag}");
        for unusable in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(steel_lag_of_wall_h(wall, unusable), None);
        }
    }

    proptest! {
        #[test]
        fn steel_stays_between_itself_and_the_air(
            steel in -40.0..80.0f64,
            before in -40.0..60.0f64,
            after in -40.0..60.0f64,
            step_h in 0.0..30.0f64,
            power in -12.0..12.0f64,
        ) {
            let found = steel_after(steel, before, after, step_h, 10_f64.powf(power));
            prop_assert!(found >= steel.min(before).min(after));
            prop_assert!(found <= steel.max(before).max(after));
        }

        #[test]
        fn a_tiny_lag_follows_the_air_and_a_huge_one_stands_still(
            steel in -40.0..80.0f64, before in -40.0..60.0f64, after in -40.0..60.0f64,
        ) {
            prop_assert!((steel_after(steel, before, after, 1.0, 0.0) - after).abs() < 1e-15);
            prop_assert!((steel_after(steel, before, after, 1.0, 1e-9) - after).abs() < 1e-6);
            prop_assert!((steel_after(steel, before, after, 1.0, 1e9) - steel).abs() < 1e-6);
        }

        /// A straight line cut in two is the same straight line.
        #[test]
        fn two_steps_are_one(
            steel in -40.0..80.0f64,
            before in -40.0..60.0f64,
            after in -40.0..60.0f64,
            cut in 0.0..1.0f64,
            power in -3.0..6.0f64,
        ) {
            let lag_h = 10_f64.powf(power);
            let between = before + (after - before) * cut;
            let halfway = steel_after(steel, before, between, cut, lag_h);
            let found = steel_after(halfway, between, after, 1.0 - cut, lag_h);
            prop_assert!((found - steel_after(steel, before, after, 1.0, lag_h)).abs() < 1e-11);
        }
    }
}
