//! The check digit of GS1's numbers.
//!
//! Source: GS1 General Specifications, "Standard check digit calculations for GS1 data
//! structures", as restated by the GS1 Barcode Syntax Dictionary (second-hand): weights 3, 1, 3, …
//! from the digit before the check digit to the left; the sum and the check digit together are a
//! multiple of 10. Every single wrong digit is caught, and every swap of two neighbours but of
//! those that differ by 5 (derived by hand: the swap changes the sum by twice their difference).

/// The check digit of `digits`, which have none yet; none if they are no digits.
pub fn check_digit(digits: &str) -> Option<char> {
    let mut sum = 0;
    for (place, digit) in digits.chars().rev().enumerate() {
        sum += digit.to_digit(10)? * if place % 2 == 0 { 3 } else { 1 };
    }
    char::from_digit((10 - sum % 10) % 10, 10)
}

/// Whether the last digit of `number` is the check digit of the others.
pub fn has_right_check_digit(number: &str) -> bool {
    let mut digits = number.chars();
    match digits.next_back() {
        Some(last) if !digits.as_str().is_empty() => check_digit(digits.as_str()) == Some(last),
        _ => false,
    }
}
