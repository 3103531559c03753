//! The calculations against outside references.
//!
//! The tables in `tests/reference/tables` were written once by the scripts beside them, from
//! packages of pinned versions; no Python is needed here. Each test says in its comment what it
//! is held against, how closely, and what the largest difference was when it was written.

#[cfg(test)]
mod dew_point;
#[cfg(test)]
mod lag;
#[cfg(test)]
mod normal_quantile;
#[cfg(test)]
mod pipe_sizes;
#[cfg(test)]
mod reorder_point;
#[cfg(test)]
mod run_out;
#[cfg(test)]
mod student_quantile;
#[cfg(test)]
mod table;
#[cfg(test)]
mod weather_year;
#[cfg(test)]
mod wilson;
#[cfg(test)]
mod workable_year;
#[cfg(test)]
mod wrap_takeoff;
