//! Primer, mastic, padding.

use std::f64::consts::PI;

use calc::{
    Band, Fillet, MasticProfile, Trench, fillet_volume, least_lap, mastic_quantity, padding,
    primer_quantity, wrapped_length,
};
use proptest::prelude::*;
use units::{Density, Length, Percent, SpreadingRate};

use crate::given::{mm, near, percent};

fn rate(square_metres_per_litre: f64) -> SpreadingRate {
    SpreadingRate::from_square_metres_per_litre(square_metres_per_litre).unwrap()
}

#[test]
fn area_and_primer_of_a_mile_of_6_inch_pipe() {
    // Pipeline Rules of Thumb Handbook, p. 227 (published): 6 5/8 in pipe has 1.73442 ft²/ft and
    // 9157 ft² a mile; the page prints both 0.001047 and 0.001074 gal/ft², so 9.59 to 9.84 gal.
    const FOOT_MM: f64 = 304.8;
    const SQUARE_FOOT_M2: f64 = 0.092_903_04;
    const GALLON_L: f64 = 3.785_411_784;
    let pipe = Length::from_inches(6.625).unwrap();
    let area = |feet: f64| {
        let found = primer_quantity(pipe, mm(feet * FOOT_MM), rate(10.0), Percent::ZERO).unwrap();
        found.area.as_square_metres() / SQUARE_FOOT_M2
    };
    near(area(1.0), 1.734_42, 0.000_01);
    near(area(5280.0), 9157.7, 0.1);
    for gallons_per_square_foot in [0.001_047, 0.001_074] {
        let spread = SQUARE_FOOT_M2 / (gallons_per_square_foot * GALLON_L);
        let mile = primer_quantity(pipe, mm(5280.0 * FOOT_MM), rate(spread), Percent::ZERO);
        let gallons = mile.unwrap().volume.as_litres() / GALLON_L;
        assert!((9.58..9.84).contains(&gallons), "{gallons}");
    }
}

#[test]
fn primer_of_one_joint() {
    // π D Lp / rate, derived by hand; rates are planning values, common practice, no source.
    for (diameter, primed, square_metres, spread, millilitres) in [
        (114.3, 400.0, 0.14363, 8.0, 18.0),
        (610.0, 600.0, 1.14982, 8.0, 143.7),
        (610.0, 600.0, 1.14982, 5.0, 230.0),
        (1219.0, 700.0, 2.68072, 8.0, 335.1),
    ] {
        let check = |loss: f64, expected: f64| {
            let found =
                primer_quantity(mm(diameter), mm(primed), rate(spread), percent(loss)).unwrap();
            near(found.area.as_square_metres(), square_metres, 0.000_01);
            near(found.volume.as_litres() * 1000.0, expected, 0.06);
        };
        check(0.0, millilitres);
        check(10.0, millilitres * 1.1);
    }
}

#[test]
fn the_wrapped_length_of_a_joint() {
    // 300 mm bare and laps of 50 mm are 400 mm: derived by hand.
    let band = Band { cutback: mm(149.0), root_gap: mm(2.0), lap: mm(50.0) };
    near(wrapped_length(&band).unwrap().as_millimetres(), 400.0, 1e-9);
    assert!(wrapped_length(&Band { cutback: mm(6000.0), ..band }).is_err());
}

#[test]
fn the_least_lap_for_a_double_layer_on_all_steel() {
    // One pitch from the edge: 45 mm with 100 mm tape at 55 %, 67.5 mm with 150 mm tape.
    near(least_lap(mm(50.0), Some(mm(45.0))).as_millimetres(), 50.0, 0.0);
    near(least_lap(mm(50.0), Some(mm(67.5))).as_millimetres(), 67.5, 0.0);
    near(least_lap(mm(50.0), None).as_millimetres(), 50.0, 0.0);
}

fn fillet(height: f64, run: f64) -> Fillet {
    Fillet { height: mm(height), run: mm(run) }
}

#[test]
fn mastic_of_a_24_inch_joint() {
    // Pappus, derived by hand: edges 2 × 43 259.7 mm³, cap 38 411 mm³, together 124.9 cm³, 162 g
    // at an assumed 1.3 g/cm³; seam on both sides 11.25 cm³.
    let edge = fillet(3.0, 15.0);
    near(fillet_volume(mm(610.0), edge).unwrap().as_cubic_millimetres(), 43_259.7, 0.1);
    let density = Density::from_grams_per_cubic_centimetre(1.3).unwrap();
    let cap = fillet(2.0, 10.0);
    let mut profile = MasticProfile { around: vec![edge, edge, cap, cap], along: Vec::new() };
    let found = mastic_quantity(mm(610.0), &profile, density, Percent::ZERO).unwrap();
    near(found.volume.as_cubic_centimetres(), 124.9, 0.05);
    near(found.mass.as_kilograms() * 1000.0, 162.0, 0.5);

    let seam = (fillet(2.5, 15.0), mm(300.0));
    profile.along = vec![seam, seam];
    let with_seam = mastic_quantity(mm(610.0), &profile, density, Percent::ZERO).unwrap();
    let more = with_seam.volume.as_cubic_centimetres() - found.volume.as_cubic_centimetres();
    near(more, 11.25, 0.001);
    let with_loss = mastic_quantity(mm(610.0), &profile, density, percent(20.0)).unwrap();
    near(with_loss.mass.as_kilograms(), 1.2 * with_seam.mass.as_kilograms(), 1e-9);
}

#[test]
fn mastic_at_the_edges_of_a_12_inch_joint() {
    // Two edges of 3 mm with 15 mm ramps on 323.8 mm: 46.06 cm³, derived by hand.
    let volume = fillet_volume(mm(323.8), fillet(3.0, 15.0)).unwrap();
    near(2.0 * volume.as_cubic_centimetres(), 46.06, 0.01);
}

fn trench(bottom: f64, slope: f64, coated: f64, bed: f64, cover: f64) -> Trench {
    Trench {
        bottom_width: mm(bottom),
        side_slope: slope,
        coated_diameter: mm(coated),
        bed: mm(bed),
        cover: mm(cover),
    }
}

#[test]
fn padding_per_metre() {
    // V = (B + z H) H − π Dc²/4: derived by hand.
    for (it, expected) in [
        (trench(1016.0, 0.0, 616.0, 150.0, 150.0), 0.6326),
        (trench(1016.0, 0.5, 616.0, 150.0, 150.0), 1.0522),
        (trench(1016.0, 0.0, 616.0, 150.0, 200.0), 0.6834),
        (trench(730.0, 0.0, 330.0, 150.0, 150.0), 0.3744),
        (trench(1826.0, 0.0, 1226.0, 150.0, 300.0), 1.8799),
    ] {
        near(padding(&it).unwrap().in_place_m3_per_m, expected, 0.000_06);
    }
    let found = padding(&trench(1016.0, 0.0, 616.0, 150.0, 150.0)).unwrap();
    near(found.height_m, 0.916, 1e-12);
    near(percent(15.0).on_top_of(found.in_place_m3_per_m), 0.7275, 0.000_06);
}

#[test]
fn a_pipe_wider_than_its_trench_is_refused() {
    let error = padding(&trench(600.0, 0.0, 616.0, 150.0, 150.0)).unwrap_err();
    assert_eq!(error.faults.first().unwrap().field, "bottom_width_mm");
}

proptest! {
    #[test]
    fn a_fillet_is_the_frustum_less_the_cylinder(
        diameter in 20.0..1500.0f64, height in 0.1..20.0f64, run in 0.1..100.0f64,
    ) {
        // The same volume by another way: π b (r₁² + r₁ r₂ + r₂²)/3 − π b r₁².
        let (inner, outer) = (diameter / 2.0, diameter / 2.0 + height);
        let frustum = PI * run * (inner * inner + inner * outer + outer * outer) / 3.0;
        let expected = frustum - PI * run * inner * inner;
        let found = fillet_volume(mm(diameter), fillet(height, run)).unwrap();
        prop_assert!((found.as_cubic_millimetres() / expected - 1.0).abs() < 1e-6);
    }

    #[test]
    fn padding_rises_with_every_measure_of_the_trench(
        coated in 50.0..1500.0f64, room in 0.0..800.0f64, slope in 0.0..2.0f64,
        bed in 0.0..300.0f64, cover in 0.0..500.0f64, more in 1.0..100.0f64,
    ) {
        let volume = |it: Trench| padding(&it).unwrap().in_place_m3_per_m;
        let bottom = coated + room;
        let base = volume(trench(bottom, slope, coated, bed, cover));
        prop_assert!(base > 0.0);
        prop_assert!(volume(trench(bottom + more, slope, coated, bed, cover)) > base);
        prop_assert!(volume(trench(bottom, slope + 0.1, coated, bed, cover)) > base);
        prop_assert!(volume(trench(bottom, slope, coated, bed + more, cover)) > base);
        prop_assert!(volume(trench(bottom, slope, coated, bed, cover + more)) > base);
    }
}
