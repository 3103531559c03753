//! Checks the records in a piece of a file. Pure.

use csv::{ByteRecord, ReaderBuilder, StringRecord};
use domain::{
    joints::RegisterEntry,
    register::{Header, RowError},
    setup::ProjectSetup,
};

use super::MOST_ERRORS;

/// Longest record. A quote that is never closed makes one record of all that follows; read anew
/// with every part, it would cost the square of the file.
const LONGEST_RECORD: usize = 64 * 1024;

/// What is known before a piece is read.
pub(super) struct Known<'a> {
    /// The header line, unless this piece begins with it.
    pub header: Option<&'a str>,
    /// Between fields.
    pub delimiter: u8,
    /// Rows before this piece.
    pub rows: i64,
    /// What the rows refer to.
    pub setup: &'a ProjectSetup,
}

/// What was found in a piece.
#[derive(Debug, Default)]
pub(super) struct Checked {
    /// Good rows.
    pub rows: Vec<(i64, RegisterEntry)>,
    /// The first faults.
    pub errors: Vec<RowError>,
    /// Rows looked at.
    pub seen: i64,
    /// Rows with faults.
    pub wrong: i64,
    /// The header line, if it stood in this piece.
    pub header: Option<String>,
    /// The last record, unless the piece was the last: the next piece may go on with it.
    pub carry: Vec<u8>,
    /// What follows cannot be read.
    pub hopeless: bool,
}

/// Checks the records in `bytes`.
pub(super) fn check(bytes: &[u8], is_last: bool, known: &Known<'_>) -> Result<Checked, csv::Error> {
    let header = match known.header {
        Some(text) => Header::read(&first_record(text, known.delimiter)?).ok(),
        None => None,
    };
    let mut checker = Checker { known, header, found: Checked::default() };
    let mut reader = ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(known.delimiter)
        .from_reader(bytes);
    // A record is looked at when the next one begins: the last one may be cut off.
    let (mut record, mut next) = (ByteRecord::new(), ByteRecord::new());
    let mut any = false;
    while reader.read_byte_record(&mut next)? {
        if any {
            checker.look_at(&record, &bytes[start(&record)..start(&next)]);
        }
        if checker.found.hopeless {
            return Ok(checker.found);
        }
        std::mem::swap(&mut record, &mut next);
        any = true;
    }
    let rest = if any { &bytes[start(&record)..] } else { &[] };
    if is_last && any {
        checker.look_at(&record, rest);
    } else if rest.len() > LONGEST_RECORD {
        checker.too_long();
    } else {
        checker.found.carry = rest.to_vec();
    }
    Ok(checker.found)
}

/// Where a record begins.
fn start(record: &ByteRecord) -> usize {
    let byte = record.position().map_or(0, csv::Position::byte);
    usize::try_from(byte).unwrap_or(usize::MAX)
}

fn first_record(text: &str, delimiter: u8) -> Result<StringRecord, csv::Error> {
    let mut reader = ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(delimiter)
        .from_reader(text.as_bytes());
    let mut record = StringRecord::new();
    reader.read_record(&mut record)?;
    Ok(record)
}

struct Checker<'a> {
    known: &'a Known<'a>,
    header: Option<Header>,
    found: Checked,
}

impl Checker<'_> {
    /// Looks at a record and the text it was read from.
    fn look_at(&mut self, record: &ByteRecord, text: &[u8]) {
        if self.header.is_none() {
            self.look_at_header(record, text);
            return;
        }
        let row = self.row();
        self.found.seen += 1;
        let read = match (&self.header, StringRecord::from_byte_record(record.clone())) {
            (Some(header), Ok(record)) => {
                header.entry(row.unsigned_abs(), &record, self.known.setup)
            }
            _ => Err(vec![not_utf8(row)]),
        };
        match read {
            Ok(entry) => self.found.rows.push((row, entry)),
            Err(faults) => self.wrong(faults),
        }
    }

    fn look_at_header(&mut self, record: &ByteRecord, text: &[u8]) {
        let read = match StringRecord::from_byte_record(record.clone()) {
            Ok(record) => Header::read(&record),
            Err(_) => Err(vec![not_utf8(1)]),
        };
        match read {
            Ok(header) => {
                self.header = Some(header);
                self.found.header = Some(String::from_utf8_lossy(text).trim_end().to_owned());
            }
            Err(faults) => {
                self.wrong(faults);
                self.found.hopeless = true;
            }
        }
    }

    fn too_long(&mut self) {
        let row = if self.header.is_none() { 1 } else { self.row() };
        let detail = format!(
            "the row is longer than {LONGEST_RECORD} bytes; look for a quote that is not closed"
        );
        self.wrong(vec![RowError::new(row.unsigned_abs(), "", "ROW_TOO_LONG", detail)]);
        self.found.hopeless = true;
    }

    /// The row that comes next; the header is row 1.
    fn row(&self) -> i64 {
        self.known.rows + self.found.seen + 2
    }

    fn wrong(&mut self, faults: Vec<RowError>) {
        self.found.wrong += 1;
        let room = MOST_ERRORS.saturating_sub(self.found.errors.len());
        self.found.errors.extend(faults.into_iter().take(room));
    }
}

fn not_utf8(row: i64) -> RowError {
    let detail = "this is not UTF-8; save the table as CSV UTF-8";
    RowError::new(row.unsigned_abs(), "", "NOT_UTF8", detail)
}

#[cfg(test)]
mod tests {
    use domain::setup::Kind;
    use serde_json::json;

    use super::*;

    const HEADER: &str = "joint_number,kp,section,kind,pipe_before,pipe_after,\
         heat_before,heat_after,welder,weld_date";

    fn setup() -> ProjectSetup {
        let mut setup = ProjectSetup::empty(chrono_tz::UTC);
        let section = json!({
            "code": "S1", "name": "First", "kp_from_km": 0.0, "kp_to_km": 9.0,
            "line_pipe": "DN500", "coating_system": "CT-A", "inspection_plan": "ITP-1",
            "backfill": "screened", "design_temperature_c": 40.0
        });
        setup.insert(Kind::Section, "S1".to_owned(), section).unwrap();
        setup
    }

    fn both(file: &[u8], cut: usize) -> (Vec<(i64, RegisterEntry)>, Vec<RowError>, i64) {
        let setup = setup();
        let known = Known { header: None, delimiter: b',', rows: 0, setup: &setup };
        let first = check(&file[..cut], false, &known).unwrap();
        let rest = [first.carry.as_slice(), &file[cut..]].concat();
        let header = first.header.as_deref();
        let known = Known { header, delimiter: b',', rows: first.seen, setup: &setup };
        let second = check(&rest, true, &known).unwrap();
        let rows = [first.rows, second.rows].concat();
        let errors = [first.errors, second.errors].concat();
        (rows, errors, first.seen + second.seen)
    }

    #[test]
    fn wherever_a_file_is_cut_the_same_is_found() {
        let file = format!(
            "\u{feff}{HEADER}\r\nJ-1,1.250,S1,mainline,P1,P2,H1,H2,\"W\u{fc}, A\",2026-05-31\r\n\
             J-2,1.5,S9,mainline,,,,,,\r\n\r\nJ-3,1.750,S1,tie-in,,,,,\"a \"\"b\"\"\",\r\n"
        );
        let whole = both(file.as_bytes(), 0);
        assert_eq!(whole.2, 3);
        assert_eq!(whole.0.iter().map(|(row, _)| *row).collect::<Vec<_>>(), [2, 4]);
        assert_eq!(whole.0[1].1.welder.as_deref(), Some("a \"b\""));
        assert_eq!(whole.1.iter().map(|it| it.row).collect::<Vec<_>>(), [3]);
        for cut in 1..file.len() {
            assert_eq!(both(file.as_bytes(), cut), whole, "cut at {cut}");
        }
    }

    #[test]
    fn without_its_header_a_file_is_hopeless() {
        let setup = setup();
        let known = Known { header: None, delimiter: b',', rows: 0, setup: &setup };
        let found = check(b"J-1,1.250\nJ-2,1.5\n", true, &known).unwrap();
        assert!(found.hopeless);
        assert_eq!((found.seen, found.wrong, found.errors[0].row), (0, 1, 1));
    }

    #[test]
    fn a_quote_that_is_never_closed_ends_the_file() {
        let setup = setup();
        let known = Known { header: Some(HEADER), delimiter: b',', rows: 5, setup: &setup };
        let file = format!("\"{}", "J-1,1.250\n".repeat(LONGEST_RECORD / 10 + 1));
        let found = check(file.as_bytes(), false, &known).unwrap();
        assert!(found.hopeless && found.carry.is_empty());
        assert_eq!((found.errors[0].row, found.errors[0].code.as_str()), (7, "ROW_TOO_LONG"));
    }

    #[test]
    fn other_encodings_are_named() {
        let setup = setup();
        let known = Known { header: Some(HEADER), delimiter: b',', rows: 0, setup: &setup };
        let found = check(b"J-\xfc,1,S1,mainline,,,,,,\n", true, &known).unwrap();
        assert_eq!((found.wrong, found.errors[0].code.as_str()), (1, "NOT_UTF8"));
    }
}
