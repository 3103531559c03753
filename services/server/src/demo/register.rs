//! The joint register of the demo.

use anyhow::{Context, bail};
use app::{
    App,
    imports::{self, ImportKind},
};

use super::{actors::Someone, files, shift::Shift};
use crate::explain::explain;

/// Imports the register; returns the number of joints.
pub async fn import(app: &App, worker: &App, by: &Someone, shift: Shift) -> anyhow::Result<u64> {
    let file = moved(files::REGISTER, shift).context("cannot read joints.csv")?;
    let kind = ImportKind::JointRegister;
    let mut upload =
        imports::open(app, &by.actor, &by.project, kind, false).await.map_err(explain)?;
    upload.push(&file).await.map_err(explain)?;
    let id = upload.finish().await.map_err(explain)?;
    // At once, and not by a worker: the facts need the joints. The worker will find it done.
    let import = imports::run(worker, by.project.id, id, |_| ()).await.map_err(explain)?;
    if import.status != "stored" {
        let shown = imports::show(app, &by.project, id).await.map_err(explain)?;
        let first = shown.errors.first();
        bail!("the register was {}: {first:?}", import.status);
    }
    Ok(import.rows_stored.unsigned_abs())
}

/// The table with its dates moved.
fn moved(table: &str, shift: Shift) -> anyhow::Result<Vec<u8>> {
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(reader.headers()?)?;
    for record in reader.records() {
        let record = record?;
        let cells = record.iter().map(|it| shift.text(it).unwrap_or_else(|| it.to_owned()));
        writer.write_record(cells)?;
    }
    Ok(writer.into_inner()?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_days_of_welding_move() {
        let table = "joint_number,kp,weld_date\nJ-1,0.012,2026-05-16\n";
        let moved = moved(table, Shift::of_days(20)).unwrap();
        assert_eq!(
            String::from_utf8(moved).unwrap(),
            "joint_number,kp,weld_date\nJ-1,0.012,2026-06-05\n"
        );
    }
}
