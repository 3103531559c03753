//! The files, each with its whole text.

use domain::setup::Kind;
use serde::Serialize;
use serde_json::json;

use super::{calendar, line, setup, site::Site, stock, users, weather};

/// Every file's name in the folder, and its text.
pub fn all() -> anyhow::Result<Vec<(String, String)>> {
    let project = json!({
        "code": "GL5",
        "name": "Gas line 5, Marl plain to Heath",
        "time_zone": calendar::ZONE,
    });
    let mut files = vec![
        ("project.json".to_owned(), setup::json(&project)?),
        ("users.json".to_owned(), setup::json(&users::USERS)?),
    ];
    let joints = line::joints();
    for kind in Kind::ALL {
        files.push((format!("setup/{}.json", kind.name()), setup::file(kind, &joints)?));
    }
    let site = Site::work(&joints);
    files.push(("joints.csv".to_owned(), line::register(&joints)?));
    files.push(("facts.ndjson".to_owned(), lines(&site.facts)?));
    files.push(("releases.ndjson".to_owned(), lines(&site.releases())?));
    files.push(("stock.ndjson".to_owned(), lines(&stock::lines(&joints, &site)?)?));
    files.push(("weather.ndjson".to_owned(), lines(&weather::lines())?));
    files.push(("story.json".to_owned(), setup::json(&site.story)?));
    Ok(files)
}

fn lines<T: Serialize>(values: &[T]) -> anyhow::Result<String> {
    let mut text = String::new();
    for value in values {
        text.push_str(&serde_json::to_string(value)?);
        text.push('\n');
    }
    Ok(text)
}
