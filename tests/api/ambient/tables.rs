//! Readings as a file: all of its rows or none.

use harness::app::texts;
use serde_json::{Value, json};

use super::{airs, listed, site, uploads};

const FILE: &str = "\
spread,location,station,read_at,air_c,relative_humidity_percent,steel_c,wind_m_s,rain_mm
A,,mast,2026-06-10T06:00:00Z,4.5,92,3.5,1.2,0
A,,mast,2026-06-10T07:00:00Z,6.5,81,,,
,YARD,,2026-06-10T07:00:00Z,15,,,,
";

#[actix_web::test]
async fn a_file_is_taken_whole_and_twice_it_has_one_effect() {
    let line = site().await;
    let path = "/ambient/readings.csv";
    let told = |recorded: u32, repeated: u32| json!({ "recorded": recorded, "repeated": repeated });
    assert_eq!(uploads(&line, &line.crew, path, FILE).await.expect(201), told(3, 0));
    let again = FILE.replace(',', ";").replace("2026-06-10T06:00:00Z", "2026-06-10T08:00:00+02:00");
    assert_eq!(uploads(&line, &line.crew, path, again).await.expect(200), told(0, 3));
    let longer = format!("{FILE}A,,mast,2026-06-10T08:00:00Z,7.5,80,,,\n");
    assert_eq!(uploads(&line, &line.crew, path, longer).await.expect(201), told(1, 3));
    let items = listed(&line.client, "spread=A").await;
    assert_eq!(airs(&items), [7.5, 6.5, 4.5]);
    assert_eq!(items[2]["steel_c"], 3.5);
    assert_eq!(items[1]["steel_c"], Value::Null);
    // The same station and time with other values is another reading, and takes a correction.
    let other = FILE.replace("4.5,92", "5.5,92");
    let refused = uploads(&line, &line.crew, path, other).await.problem(422, "INVALID");
    assert_eq!(refused["row_errors"][0]["row"], 2);
    assert_eq!(refused["row_errors"][0]["code"], "ID_REUSED");
}

#[actix_web::test]
async fn every_fault_of_a_file_is_named_and_nothing_is_stored() {
    let line = site().await;
    let path = "/ambient/readings.csv";
    let file = "spread;location;read_at;air_c;relative_humidity_percent;steel_c\n\
                A;;2026-06-10T06:00:00Z;4,5;92;3.5\n\
                A;;2026-06-10T07:00:00Z;90;;3.5\n\
                Z;;2026-06-10T07:00:00Z;4;92;3.5\n\
                A;YARD;7 o'clock;4;92;3.5\n";
    let refused = uploads(&line, &line.crew, path, file).await.problem(422, "INVALID");
    let faults = refused["row_errors"].as_array().unwrap();
    let at = |it: &Value| (it["row"].as_u64().unwrap(), it["column"].as_str().unwrap().to_owned());
    // What can be read is looked up only when everything can be read.
    assert_eq!(faults.iter().map(at).collect::<Vec<_>>(), [(2, "air_c".to_owned())]);
    assert!(faults[0]["detail"].as_str().unwrap().contains("write 4.5"), "{refused:#}");
    let refused = uploads(&line, &line.crew, path, file.replace("4,5", "4.5")).await;
    let refused = refused.problem(422, "INVALID");
    let faults = refused["row_errors"].as_array().unwrap();
    let expected = [(3, "air_c".to_owned()), (5, "read_at".to_owned())];
    assert_eq!(faults.iter().map(at).collect::<Vec<_>>(), expected);
    let file = "spread,read_at,air_c,relative_humidity_percent\n\
                Z,2026-06-10T07:00:00Z,4,92\n\
                A,2026-06-10T16:02:01Z,4,92\n\
                A,2026-06-10T07:00:00Z,4,92\n\
                A,2026-06-10T07:00:00Z,5,92\n";
    let refused = uploads(&line, &line.crew, path, file).await.problem(422, "INVALID");
    let codes = texts(&refused["row_errors"], "code");
    assert_eq!(codes, ["UNKNOWN_REFERENCE", "OUT_OF_RANGE", "ID_REUSED"]);
    assert!(listed(&line.client, "").await.is_empty());

    uploads(&line, &line.materials, path, FILE).await.problem(403, "FORBIDDEN");
    uploads(&line, &line.client, path, FILE).await.problem(403, "FORBIDDEN");
    uploads(&line, &line.crew, path, "when,air\n").await.problem(422, "INVALID");
    let json = line.crew.posts(path, json!({})).await;
    json.problem(415, "UNSUPPORTED_MEDIA_TYPE");
}

#[actix_web::test]
async fn ten_thousand_rows_are_taken_at_once_and_no_more() {
    let line = site().await;
    let mut file = "spread,read_at,air_c,relative_humidity_percent\n".to_owned();
    let first = super::ago(&line, 20_000);
    for minute in 0..10_000 {
        let at = first + chrono::TimeDelta::minutes(minute);
        file.extend(["A,", &at.format("%Y-%m-%dT%H:%M:%SZ").to_string(), ",5,70\n"]);
    }
    let done = uploads(&line, &line.crew, "/ambient/readings.csv", file.clone()).await.expect(201);
    assert_eq!(done["recorded"], 10_000);
    file.push_str("A,2026-06-10T07:00:30Z,5,70\n");
    let refused = uploads(&line, &line.crew, "/ambient/readings.csv", file).await;
    let refused = refused.problem(422, "INVALID");
    assert_eq!(texts(&refused["row_errors"], "code"), ["TOO_MANY_ROWS"]);
}
