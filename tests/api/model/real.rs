//! The real thing beside the model: asked over HTTP, looked at over HTTP and in its database.

use std::collections::BTreeSet;

use actix_web::rt::Runtime;
use harness::{
    Answer, Line, Person,
    actor::PASSWORD,
    app::{codes, texts},
};
use proptest_state_machine::StateMachineTest;
use serde_json::{Value, json};

use super::{
    entry::{Change, Who},
    sent::id,
    site::{Call, JOINTS, Sent, Site, Verdict},
    step::{How, Step},
    tally,
};

/// Releases in force that the rule forbids, read from the records themselves: the test counts,
/// passed, at or over the required voltage, and nothing that coats or disturbs lies at or after it.
const FORBIDDEN_RELEASES: &str = "
    WITH counting AS (
        SELECT f.joint_id, f.id, f.kind, f.occurred_at,
               convert_from(f.record, 'UTF8')::jsonb -> 'event' AS event
          FROM facts f
         WHERE NOT EXISTS (SELECT FROM facts s WHERE s.joint_id = f.joint_id
                                                 AND s.supersedes = f.id)),
    disturbing AS (
        SELECT * FROM counting
         WHERE kind IN ('weld_repaired', 'cut_out', 'surface_prepared', 'primed', 'profiled',
                        'wrapped', 'damage_found', 'repaired', 'excavated')
            OR (kind = 'peel_tested' AND event ->> 'specimen' IS DISTINCT FROM 'coupon')
            OR (kind = 'holiday_tested' AND (event ->> 'result' = 'fail'
                                             OR (event ->> 'holidays_found')::int > 0)))
    SELECT count(*) FROM backfill_releases r JOIN joints j ON j.id = r.joint_id
     WHERE r.contradicted_at IS NULL
       AND NOT EXISTS (
           SELECT FROM counting t
            WHERE t.id = r.holiday_test_id AND t.joint_id = r.joint_id
              AND t.kind = 'holiday_tested' AND t.event ->> 'result' = 'pass'
              AND coalesce((t.event ->> 'holidays_found')::int, 0) = 0
              AND (t.event ->> 'voltage_kv')::numeric >= j.required_voltage_kv
              AND NOT EXISTS (SELECT FROM disturbing d WHERE d.joint_id = t.joint_id
                                 AND d.occurred_at >= t.occurred_at))";
const IN_FORCE: &str = "SELECT count(*) FROM backfill_releases WHERE contradicted_at IS NULL";
const RELEASES: &str = "SELECT count(*) FROM backfill_releases";
const FACTS: &str = "SELECT count(*) FROM facts";

/// A line with two joints on a database of its own, and the runtime it lives on.
pub struct Real {
    runtime: Runtime,
    line: Line,
}

impl StateMachineTest for Real {
    type SystemUnderTest = Self;
    type Reference = Site;

    fn init_test(_: &Site) -> Self {
        let runtime = Runtime::new().unwrap();
        let line = runtime.block_on(Line::with_joints(u32::try_from(JOINTS).unwrap()));
        Self { runtime, line }
    }

    fn apply(real: Self, site: &Site, _: Step) -> Self {
        tally::step(&site.calls);
        real.runtime.block_on(async {
            for call in &site.calls {
                is_asked(&real.line, call).await;
            }
        });
        real
    }

    fn check_invariants(real: &Self, site: &Site) {
        real.runtime.block_on(agrees_with(&real.line, site));
    }

    fn teardown(real: Self, site: Site) {
        real.runtime.block_on(ends_like(&real.line, &site));
        tally::case(&site);
    }
}

fn name(joint: usize) -> String {
    format!("J-{}", joint + 1)
}

fn person(line: &Line, who: Who) -> &Person {
    match who {
        Who::Inspector => &line.inspector,
        Who::Crew => &line.crew,
        Who::Coordinator => &line.coordinator,
        Who::Qa => &line.qa,
        Who::WrappingQa => &line.wrapping_qa,
    }
}

/// Asks what the model asked, and holds the answer against the one it has to be.
async fn is_asked(line: &Line, call: &Call) {
    match call {
        Call::Waits(minutes) => line.waits(chrono::TimeDelta::minutes(*minutes)),
        Call::Records { by, entry, joint, change, status, late } => {
            let fact = entry.json(*change);
            let answer = person(line, *by).records(&name(*joint), &fact).await;
            match *status {
                403 => _ = answer.problem(403, "FORBIDDEN"),
                409 => _ = answer.problem(409, "ID_REUSED"),
                status => {
                    let recorded = answer.expect(status);
                    assert_eq!(recorded["event"]["id"], fact.id());
                    if status == 201 {
                        assert_eq!(recorded["event"]["late"], *late, "is it late?");
                    }
                }
            }
        }
        Call::Sends { by, items, statuses } => sends_batch(line, *by, items, statuses).await,
        Call::Release { by, joints, how, verdicts } => {
            asks_for_release(line, *by, joints, *how, verdicts).await;
        }
        Call::Overtaken { by, joint, entry } => {
            let subject = json!({ "joints": [name(*joint)] });
            let signer = person(line, *by);
            let nonce = signer.nonce(&subject).await;
            let fact = entry.json(Change::Nothing);
            line.inspector.records(&name(*joint), &fact).await.expect(201);
            let answer = signer.signs(&subject, &nonce, PASSWORD).await;
            answer.problem(412, "VERSION_IS_STALE");
        }
        Call::Decides { code, entry, proof, status } => {
            let answer = decides(line, code, *entry, *proof).await;
            match *status {
                409 => _ = answer.problem(409, "NOT_PROVEN"),
                status => _ = answer.expect(status),
            }
        }
    }
}

async fn sends_batch(line: &Line, by: Who, items: &[Sent], statuses: &[u16]) {
    let events = items.iter().map(|item| match item {
        Sent::Entry(entry, change) => entry.json(*change).on(&name(entry.joint)),
        Sent::Spoilt(entry) => {
            entry.json(Change::Nothing).without("detector").on(&name(entry.joint))
        }
        Sent::Nowhere(entry) => entry.json(Change::Nothing).on("J-99"),
    });
    let answers = person(line, by).sends(events.collect()).await;
    let answers = answers.as_array().unwrap();
    let told: Vec<u64> = answers.iter().map(|it| it["status"].as_u64().unwrap()).collect();
    let expected: Vec<u64> = statuses.iter().map(|it| u64::from(*it)).collect();
    assert_eq!(told, expected, "the statuses of the batch: {answers:#?}");
}

async fn asks_for_release(line: &Line, by: Who, joints: &[usize], how: How, verdicts: &[Verdict]) {
    let names: Vec<String> = joints.iter().map(|it| name(*it)).collect();
    let subject = json!({ "joints": names });
    let person = person(line, by);
    if !matches!(by, Who::Qa | Who::WrappingQa) {
        let dry = person.asks_about_release(&subject).await;
        dry.problem(403, "FORBIDDEN");
        person.asks_to_sign(&subject).await.problem(403, "FORBIDDEN");
        let signed = person.signs(&subject, "a made-up nonce", PASSWORD).await;
        signed.problem(403, "FORBIDDEN");
        return;
    }
    let (answer, granted) = match how {
        How::DryRun => (person.asks_about_release(&subject).await, "releasable"),
        How::Signed => (person.releases_all(&subject).await, "released"),
        How::WrongPassword => {
            let nonce = person.nonce(&subject).await;
            let answer = person.signs(&subject, &nonce, "a long walk in the dark").await;
            answer.problem(401, "WRONG_PASSWORD");
            return;
        }
        How::Overtaken(_) => unreachable!("is a call of its own"),
    };
    if let ([joint], [verdict]) = (joints, verdicts) {
        let status = match verdict {
            Verdict::Granted if how == How::Signed => 201,
            Verdict::Granted | Verdict::AlreadyReleased => 200,
            Verdict::Refused(_) => 409,
        };
        let body = match status {
            409 => answer.problem(409, "RELEASE_REFUSED"),
            status => answer.expect(status),
        };
        answers_as(&body, &name(*joint), verdict, granted);
        return;
    }
    let items = answer.expect(207)["items"].clone();
    assert_eq!(texts(&items, "joint"), names);
    for (place, verdict) in verdicts.iter().enumerate() {
        answers_as(&items[place], &names[place], verdict, granted);
    }
}

async fn decides(line: &Line, code: &str, entry: u32, proof: u32) -> Answer {
    let open = line.qa.gets("/nonconformances?status=open&limit=500").await.expect(200);
    let mut open = open["items"].as_array().unwrap().iter();
    let event = json!(id(entry));
    let found = open.find(|it| it["code"] == code && it["event"] == event).unwrap();
    let path = format!("/nonconformances/{}/disposition", found["id"].as_str().unwrap());
    let body = json!({
        "disposition": "repair", "closing_event": id(proof), "note": "made good",
        "version": found["version"],
    });
    line.qa.posts(&path, body).await
}

/// Everything that can be seen is what the model says.
async fn agrees_with(line: &Line, site: &Site) {
    let listed = line.client.gets("/joints").await.expect(200)["items"].clone();
    for joint in 0..JOINTS {
        joint_agrees(line, site, joint, &listed[joint]).await;
    }
    nonconformances_agree(line, site).await;
    let in_force = (0..JOINTS).filter(|joint| site.in_force(*joint).is_some()).count();
    let expected = [
        (FORBIDDEN_RELEASES, 0, "releases in force without a valid test"),
        (IN_FORCE, in_force, "releases in force"),
        (RELEASES, site.releases.len(), "releases ever given"),
        (FACTS, site.entries.len(), "facts stored"),
    ];
    for (statement, count, what) in expected {
        let found = usize::try_from(line.app.count(statement).await).unwrap();
        assert_eq!(found, count, "{what}");
    }
}

async fn joint_agrees(line: &Line, site: &Site, joint: usize, listed: &Value) {
    let (facts, in_force) = (site.facts(joint), site.in_force(joint));
    let name = name(joint);
    let shown = line.client.sees(&name).await;
    let (stage, flags) = (facts.stage(in_force.is_some()), site.flags(joint));
    let entries = site.entries.iter().filter(|it| it.joint == joint).count();
    let volts = facts.required_volts().map(|volts| f64::from(volts) / 1_000.0);
    for (view, joint) in [("shown", &shown), ("listed", listed)] {
        assert_eq!(joint["joint_number"], name);
        assert_eq!(joint["stage"], stage, "the stage {view} of {name}");
        assert_eq!(joint["flags"], json!(flags), "the flags {view} of {name}");
        assert_eq!(joint["version"], entries, "the version {view} of {name}");
        let required = &joint["required_voltage_kv"];
        assert_eq!(*required, json!(volts), "the voltage {view} of {name}");
    }
    assert_eq!(shown["release"].is_string(), in_force.is_some(), "a release of {name}");
    let gates = shown["gates"].as_array().unwrap().iter();
    let shut: BTreeSet<(String, String)> = gates
        .inspect(|gate| assert_eq!(gate["open"], gate["reasons"] == json!([]), "{gate:#}"))
        .flat_map(|gate| {
            let codes = codes(&gate["reasons"]).into_iter();
            codes.map(|code| (gate["gate"].as_str().unwrap().to_owned(), code))
        })
        .collect();
    assert_eq!(shut, owned(&site.shut(joint)), "the shut gates of {name}");
}

async fn nonconformances_agree(line: &Line, site: &Site) {
    let found = line.client.gets("/nonconformances?limit=500").await.expect(200);
    let text = |it: &Value, field: &str| it[field].as_str().unwrap_or_default().to_owned();
    let fields = ["joint", "code", "event", "severity", "status"];
    let shown = found["items"].as_array().unwrap().iter();
    let mut shown: Vec<_> = shown.map(|it| fields.map(|field| text(it, field))).collect();
    let known = site.matters.iter().map(|it| {
        let severity = if it.critical { "critical" } else { "major" };
        let event = id(it.entry).to_string();
        [name(it.joint), it.code.into(), event, severity.into(), it.status.into()]
    });
    let mut known: Vec<_> = known.collect();
    shown.sort();
    known.sort();
    assert_eq!(shown, known, "the nonconformances");
}

/// At the end the chains hold, the stored state is the fold of the facts, and every entry is
/// there in its order of arrival, the superseded ones marked.
async fn ends_like(line: &Line, site: &Site) {
    let report = app::verify::verify(&line.app.worker, Some(line.project), |_| {}).await.unwrap();
    assert_eq!(report.faults, [], "verify");
    assert_eq!(usize::try_from(report.facts).unwrap(), site.entries.len());
    for joint in 0..JOINTS {
        let path = format!("/joints/{}/events?limit=500", name(joint));
        let found = line.client.gets(&path).await.expect(200)["items"].clone();
        let shown = found.as_array().unwrap().iter();
        let shown: Vec<(Value, bool)> =
            shown.map(|it| (it["id"].clone(), it["superseded_by"].is_string())).collect();
        let facts = site.facts(joint);
        let known = site.entries.iter().filter(|it| it.joint == joint);
        let known: Vec<(Value, bool)> =
            known.map(|it| (json!(id(it.number)), !facts.has(it.number))).collect();
        assert_eq!(shown, known, "the entries of {}", name(joint));
    }
    for pool in [&line.app.database.pool, &line.app.database.application, &line.app.database.worker]
    {
        pool.close().await;
    }
}

/// The answer on one joint is the verdict of the model, with every reason and no other.
fn answers_as(body: &Value, joint: &str, verdict: &Verdict, granted: &str) {
    let against = body["blocking_conditions"].as_array().into_iter().flatten();
    let text = |it: &Value, field: &str| it[field].as_str().unwrap_or_default().to_owned();
    let against: BTreeSet<_> = against.map(|it| (text(it, "gate"), text(it, "code"))).collect();
    let (status, expected) = match verdict {
        Verdict::Granted => (granted, BTreeSet::new()),
        Verdict::AlreadyReleased => ("already_released", BTreeSet::new()),
        Verdict::Refused(reasons) => ("refused", owned(reasons)),
    };
    assert_eq!(against, expected, "what stands against the release of {joint}");
    if status == "refused" && body["status"] == 409 {
        return;
    }
    assert_eq!((&body["joint"], &body["status"]), (&json!(joint), &json!(status)));
}

fn owned(reasons: &BTreeSet<(&'static str, &'static str)>) -> BTreeSet<(String, String)> {
    reasons.iter().map(|(gate, code)| ((*gate).to_owned(), (*code).to_owned())).collect()
}
