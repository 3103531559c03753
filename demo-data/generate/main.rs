//! Writes the files of the invented project that the demo loads.
//!
//! Nothing here reads a clock or a random source: the same code writes the same bytes.
//! All names, numbers and places are invented; the time zone is a real one.

mod burial;
mod calendar;
mod coating;
mod files;
mod line;
mod lots;
mod plan;
mod rng;
mod setup;
mod site;
mod stock;
mod story;
mod testing;
mod users;
mod weather;
mod welding;

use std::path::Path;

fn main() -> anyhow::Result<()> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"));
    std::fs::create_dir_all(folder.join("setup"))?;
    for (name, text) in files::all()? {
        std::fs::write(folder.join(&name), &text)?;
        eprintln!("{name}: {} lines", text.lines().count());
    }
    Ok(())
}

#[cfg(test)]
mod tests;
