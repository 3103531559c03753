//! Nominal sizes of steel pipe.

use calc::{
    SizeProvenance, pipe_size_by_dn, pipe_size_by_nps, pipe_sizes, plain_end_mass_kg_per_m,
};

use crate::given::{mm, near};

#[test]
fn outside_diameters_and_walls_by_nps() {
    // ASME B36.10M: outside diameters to NPS 24 published (a table of butt-weld bends after ASME
    // B16.9), larger ones and walls from memory, unverified. The table under test comes from the
    // library fluids 1.3.1 and not from these lines.
    for (nps, outside, standard, strong) in [
        ("2", 60.3, 3.91, 5.54),
        ("3", 88.9, 5.49, 7.62),
        ("4", 114.3, 6.02, 8.56),
        ("6", 168.3, 7.11, 10.97),
        ("8", 219.1, 8.18, 12.70),
        ("10", 273.0, 9.27, 12.70),
        ("12", 323.8, 9.53, 12.70),
        ("14", 355.6, 9.53, 12.70),
        ("16", 406.4, 9.53, 12.70),
        ("18", 457.0, 9.53, 12.70),
        ("20", 508.0, 9.53, 12.70),
        ("22", 559.0, 9.53, 12.70),
        ("24", 610.0, 9.53, 12.70),
        ("26", 660.0, 9.53, 12.70),
        ("28", 711.0, 9.53, 12.70),
        ("30", 762.0, 9.53, 12.70),
        ("32", 813.0, 9.53, 12.70),
        ("34", 864.0, 9.53, 12.70),
        ("36", 914.0, 9.53, 12.70),
        ("40", 1016.0, 9.53, 12.70),
        ("42", 1067.0, 9.53, 12.70),
        ("48", 1219.0, 9.53, 12.70),
    ] {
        let size = pipe_size_by_nps(nps).unwrap();
        near(size.outside_diameter_mm, outside, 1e-9);
        near(size.wall_mm("STD").unwrap(), standard, 1e-9);
        near(size.wall_mm("xs").unwrap(), strong, 1e-9);
    }
}

#[test]
fn plain_end_mass() {
    // kg/m by 0.0246615 (D − t) t: derived by hand.
    for (outside, wall, mass) in [
        (114.3, 6.02, 16.08),
        (323.8, 9.53, 73.86),
        (610.0, 9.53, 141.12),
        (914.0, 12.7, 282.29),
        (1219.0, 15.88, 471.17),
    ] {
        near(plain_end_mass_kg_per_m(mm(outside), mm(wall)), mass, 0.005);
    }
}

#[test]
fn from_14_inches_on_the_outside_diameter_is_the_nps() {
    // ASME B36.10M: from NPS 14 on the NPS is the outside diameter in inches; up to 16 the
    // standard prints tenths of a mm, above whole ones (from memory, unverified).
    for size in pipe_sizes() {
        let Ok(nps) = size.nps.parse::<f64>() else { continue };
        if nps >= 14.0 {
            let exact = nps * 25.4;
            near(size.outside_diameter_mm, exact, if nps > 16.0 { 0.5 } else { 0.05 });
            near(f64::from(size.dn), nps * 25.0, 1e-9);
        }
    }
}

#[test]
fn sizes_rise_and_no_wall_fills_its_pipe() {
    let numbers = ["5", "10", "20", "30", "40", "60", "80", "100", "120", "140", "160"];
    for pair in pipe_sizes().windows(2) {
        assert!(pair[0].outside_diameter_mm < pair[1].outside_diameter_mm);
        assert!(pair[0].dn < pair[1].dn);
    }
    for size in pipe_sizes() {
        let walls: Vec<_> = numbers.iter().filter_map(|it| size.wall_mm(it)).collect();
        assert!(walls.windows(2).all(|pair| pair[0] <= pair[1]), "{}", size.nps);
        assert!(size.walls_mm().all(|(_, it)| 2.0 * it < size.outside_diameter_mm));
        assert!(size.outside_diameter().is_ok());
        // STD is schedule 40 up to NPS 10 and XS schedule 80 up to NPS 8 (from memory, unverified).
        if size.outside_diameter_mm <= 273.0 {
            assert_eq!(size.wall_mm("STD"), size.wall_mm("40"));
        }
        if size.outside_diameter_mm <= 219.1 {
            assert_eq!(size.wall_mm("XS"), size.wall_mm("80"));
        }
    }
}

#[test]
fn a_size_is_found_by_any_way_of_writing_it() {
    for text in ["1 1/2", "1-1/2", "1.5", " 1  1/2 "] {
        assert_eq!(pipe_size_by_nps(text).unwrap().dn, 40, "{text}");
    }
    assert_eq!(pipe_size_by_nps("1/8").unwrap().dn, 6);
    assert_eq!(pipe_size_by_dn(500).unwrap().nps, "20");
    for text in
        ["", "0", "7", "1/0", "3/2", "abc", "-4/", "1e9", "1.5 1.5", "1/2 1/2", "2 2 2", "nan"]
    {
        assert_eq!(pipe_size_by_nps(text), None, "{text}");
    }
    assert_eq!(pipe_size_by_dn(501), None);
    let largest = pipe_size_by_nps("80").unwrap();
    assert_eq!(largest.provenance, SizeProvenance::Memory);
    assert_eq!(largest.wall_mm("STD"), None);
}
