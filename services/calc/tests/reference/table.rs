//! Reads the committed tables.

use std::{fs, path::PathBuf};

/// A file of the repository by its path from the root.
pub(crate) fn repository_file(path: &str) -> String {
    let file = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../..").join(path);
    fs::read_to_string(&file).unwrap_or_else(|error| panic!("{}: {error}", file.display()))
}

/// A CSV file without quoted cells; lines that start with `#` tell where it comes from.
pub(crate) struct Table {
    columns: Vec<String>,
    rows: Vec<Vec<String>>,
}

impl Table {
    pub(crate) fn read(path: &str) -> Self {
        let text = repository_file(path);
        let mut lines = text
            .lines()
            .filter(|line| !line.starts_with('#'))
            .map(|line| line.split(',').map(str::to_owned).collect::<Vec<_>>());
        let columns = lines.next().unwrap();
        let rows: Vec<_> = lines.collect();
        assert!(rows.iter().all(|row| row.len() == columns.len()), "{path} is torn");
        Self { columns, rows }
    }

    pub(crate) fn rows(&self) -> impl Iterator<Item = Row<'_>> {
        self.rows.iter().map(|cells| Row { columns: &self.columns, cells })
    }
}

/// One row; a column is asked for by its name.
#[derive(Clone, Copy)]
pub(crate) struct Row<'a> {
    columns: &'a [String],
    cells: &'a [String],
}

impl<'a> Row<'a> {
    pub(crate) fn text(self, column: &str) -> &'a str {
        let place = self.columns.iter().position(|name| name == column);
        &self.cells[place.unwrap_or_else(|| panic!("no column {column}"))]
    }

    pub(crate) fn number(self, column: &str) -> f64 {
        self.text(column).parse().unwrap()
    }

    pub(crate) fn count(self, column: &str) -> u64 {
        self.text(column).parse().unwrap()
    }
}

/// Differences between found and expected.
#[derive(Default)]
pub(crate) struct Deviation {
    pub(crate) count: u32,
    pub(crate) largest: f64,
    sum: f64,
    sum_of_squares: f64,
}

impl Deviation {
    pub(crate) fn add(&mut self, difference: f64) {
        assert!(difference.is_finite());
        self.count += 1;
        self.largest = self.largest.max(difference.abs());
        self.sum += difference;
        self.sum_of_squares += difference * difference;
    }

    /// To be read with `--nocapture`.
    pub(crate) fn tell(&self, of: &str) {
        let count = f64::from(self.count.max(1));
        let mean = self.sum / count;
        let spread = (self.sum_of_squares / count - mean * mean).max(0.0).sqrt();
        println!(
            "{of}: {} values, mean {mean:.3e}, standard deviation {spread:.3e}, largest {:.3e}",
            self.count, self.largest
        );
    }
}
