//! The demo as somebody who opens it finds it: what its material controller must see is there, and
//! every number of the outlook is what the calculator says of the same inputs.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

use std::{
    io::{BufRead, BufReader},
    process::{Child, ChildStdout, Command, Stdio},
    time::{Duration, Instant},
};

use chrono::{NaiveDate, TimeDelta, Utc};
use harness::{
    http::{Connection, get, post},
    server::free_address,
};
use rustix::process::{Pid, Signal, kill_process};
use serde_json::{Value, json};
use uuid::Uuid;

/// The demo, which ends with the test.
struct Demo {
    address: String,
    password: String,
    child: Child,
}

impl Demo {
    /// Starts it and waits until it serves.
    fn start() -> Self {
        let address = free_address();
        let port = address.rsplit(':').next().unwrap();
        let mut command = Command::new(env!("CARGO_BIN_EXE_jointward"));
        command.args(["demo", "--port", port]).stdout(Stdio::piped()).stderr(Stdio::null());
        let mut child = command.spawn().unwrap();
        let mut said = BufReader::new(child.stdout.take().unwrap());
        let password = password_in(&mut said);
        // Whatever it says further, somebody must read it.
        std::thread::spawn(move || std::io::copy(&mut said, &mut std::io::sink()));
        Self { address, password, child }
    }

    async fn ask(&self, request: &[u8], wanted: u16) -> Value {
        let mut connection = Connection::open(&self.address).await.unwrap();
        let status = connection.ask(request).await.unwrap();
        let body = String::from_utf8_lossy(connection.body()).into_owned();
        assert_eq!(status, wanted, "{body}");
        serde_json::from_str(&body).unwrap()
    }

    async fn token(&self, email: &str) -> String {
        let who = json!({ "email": email, "password": self.password });
        let session = self.ask(&post("/v1/sessions", "", &who), 201).await;
        session["access_token"].as_str().unwrap().to_owned()
    }
}

impl Drop for Demo {
    fn drop(&mut self) {
        // Killed, it would leave its private PostgreSQL behind.
        let pid = Pid::from_raw(i32::try_from(self.child.id()).unwrap()).unwrap();
        let _ = kill_process(pid, Signal::TERM);
        let _ = self.child.wait();
    }
}

fn password_in(said: &mut BufReader<ChildStdout>) -> String {
    for line in said.lines() {
        let line = line.unwrap();
        if let Some((_, password)) = line.split_once("all with the password ") {
            return password.trim_end_matches(':').to_owned();
        }
    }
    panic!("the demo ended before it served");
}

fn day(value: &Value) -> NaiveDate {
    value.as_str().unwrap().parse().unwrap()
}

#[tokio::test]
#[expect(clippy::disallowed_methods, reason = "the demo goes by the real clock")]
async fn whoever_opens_the_demo_sees_what_is_about_to_happen() {
    let demo = Demo::start();
    let token = demo.token("materials@example.invalid").await;
    let reads =
        async |path: &str| demo.ask(&get(&format!("/v1/projects/GL5{path}"), &token), 200).await;

    let outlook = reads("/stock/outlook?detail=true").await;
    let materials = outlook["materials"].as_array().unwrap();
    assert_eq!(materials.len(), 5, "{outlook:#}");
    for material in materials {
        let path = "/v1/calculations/run-out";
        let said = demo.ask(&post(path, &token, &material["inputs"]), 200).await;
        for field in ["run_out_on", "days_of_cover", "shortage", "order_by"] {
            assert_eq!(said[field], material[field], "{field} of {}", material["material"]);
        }
        assert_eq!(said["on_hand"], material["on_hand_by_day"]);
        if said["simulation"].is_object() {
            for field in ["p10", "p50", "p90", "dry_before_next_delivery_chance"] {
                assert_eq!(said["simulation"][field], material[field], "{field}");
            }
        }
    }
    assert_eq!(outlook["unknown"], json!([]));

    // Primer runs dry two days before it comes.
    let primer = materials.iter().find(|it| it["material"] == "PRIMER-B").unwrap();
    let (dry, next) = (day(&primer["run_out_on"]), day(&primer["next_delivery_on"]));
    assert_eq!(next - dry, TimeDelta::days(2));

    // Of one lot some forty rolls will be left when it expires, within a week.
    let inner = materials.iter().find(|it| it["material"] == "TAPE-IN").unwrap();
    let unused = &inner["expiring_unused"][0];
    assert_eq!(unused["lot"], "TI-88201");
    let rolls = unused["quantity"].as_f64().unwrap() / 15.0;
    assert!((25.0..55.0).contains(&rolls), "{rolls}");
    let left = day(&unused["expires_on"]) - day(&outlook["start_on"]);
    assert!((6..=7).contains(&left.num_days()), "{left}");

    let warnings = reads("/warnings").await;
    for kind in [
        "runs_out_before_delivery",
        "order_by",
        "shortage",
        "lot_expires_unused",
        "storage_out_of_limits",
    ] {
        let open = warnings["items"].as_array().unwrap().iter().filter(|it| it["kind"] == kind);
        assert_eq!(open.count(), 1, "{kind} in {warnings:#}");
    }

    // Nobody read anything at the joints of spread B: their mast speaks for them.
    let joint = reads("/joints/GL5-B-ML-0001").await;
    let gates = joint["gates"].as_array().unwrap();
    let conditions = gates.iter().find(|it| it["gate"] == "conditions").unwrap();
    assert_eq!(conditions["open"], true, "{conditions:#}");
    let facts = reads("/joints/GL5-B-ML-0001/events").await;
    assert!(!facts.to_string().contains("air_c"), "{facts:#}");
    let hours = reads("/ambient/workable-hours?spread=A&days=1").await;
    assert!(hours["items"][0]["outlook"].is_object(), "{hours:#}");

    // One lot that was issued is in quarantine, and one call says where it went.
    let trace = reads("/stock/lots/TO-5107/trace?limit=1").await;
    assert!(trace["quarantine"].is_object(), "{trace:#}");
    assert!(trace["summary"]["buried"].as_u64().unwrap() > 0, "{trace:#}");

    // The crew whose work drifts shows in its chart of the last six weeks, and was warned of.
    let rates = reads("/quality/repair-rates?by=crew&of=B2").await;
    let points = rates["items"][0]["points"].as_array().unwrap();
    let too_many = |it: &&Value| it["signal"] == true && it["p"].as_f64() > it["upper"].as_f64();
    let newest = points.iter().rfind(too_many);
    let newest = newest.unwrap_or_else(|| panic!("no signal in {rates:#}"));
    assert!((day(&rates["to"]) - day(&newest["to"])).num_days() < 7, "{newest:#}");
    let drift = reads("/warnings?kind=repair_rate_signal").await;
    let drift = drift["items"].as_array().unwrap();
    assert!(drift.iter().any(|it| it["subject"] == "B2"), "{drift:#?}");

    // Every joint knows its lots, and no crew was short of what it used.
    let joint = reads("/joints/GL5-B-ML-0001/materials").await;
    assert!(joint["facts"].as_array().is_some_and(|facts| !facts.is_empty()), "{joint:#}");
    let balances = reads("/stock/balances").await;
    let places = balances["items"].as_array().unwrap();
    assert!(places.iter().all(|it| it["quantity"].as_f64().unwrap() >= 0.0), "{balances:#}");

    // Enough primer comes, and what was warned of is over: within five seconds, and in this test
    // within ten, for the machine may do other things.
    let movement = json!({
        "id": Uuid::now_v7(), "kind": "receive", "occurred_at": Utc::now(), "lot": "PB-2407",
        "quantity": 500, "to": "YARD",
    });
    let path = "/v1/projects/GL5/stock/movements";
    demo.ask(&post(path, &token, &movement), 201).await;
    let received = Instant::now();
    while reads("/warnings?kind=runs_out_before_delivery").await["items"] != json!([]) {
        assert!(received.elapsed() < Duration::from_secs(10), "nobody looked at the stock");
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    eprintln!("the warning was over after {:.1} s", received.elapsed().as_secs_f64());
}
