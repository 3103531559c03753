//! What the calculations refuse, as faults at the fields of the request.

use domain::schema::FieldError;
use units::UnitError;

/// The faults of one request.
pub(crate) type Faults = Vec<FieldError>;

/// A fault at `pointer`, such as `/roll_width_mm`, outside the range that `detail` tells.
pub(crate) fn out_of_range(pointer: &str, detail: impl Into<String>) -> FieldError {
    FieldError::new(pointer, "OUT_OF_RANGE", detail)
}

/// The quantity in the field at `pointer`.
pub(crate) fn quantity<T>(pointer: &str, read: Result<T, UnitError>) -> Result<T, Faults> {
    read.map_err(|error| vec![out_of_range(pointer, error.to_string())])
}

/// The faults of a calculation, at the fields of the request, which have the same names.
pub(crate) fn of_input(error: calc::InputError) -> Faults {
    let faults = error.faults.into_iter();
    faults
        .map(|it| FieldError::new(&format!("/{}", it.field), it.kind.code(), it.kind.to_string()))
        .collect()
}

/// The schema can bound a number, but not a date: both ends in years that a calendar day stays
/// in whatever is added to it.
pub(crate) fn year(pointer: &str, year: i32, faults: &mut Faults) {
    if !(1900..=2200).contains(&year) {
        faults.push(out_of_range(
            pointer,
            format!("the year {year} is out of range: it must be from 1900 to 2200"),
        ));
    }
}
