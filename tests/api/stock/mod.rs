//! Stock: what the people who receive, hand out and count it can rely on.

#![expect(clippy::float_cmp, reason = "a quantity comes back as the very number that was sent")]

mod counting;
mod deliveries;
mod issuing;
mod last_rolls;
mod ledger;
mod moving;
mod notes;
mod walls;

use actix_web::http::Method;
use chrono::{DateTime, Utc};
use harness::{Line, Person, app::Answer};
use serde_json::{Value, json};
use uuid::Uuid;

/// A line with a yard, a container and two crews, and a tape `BAND` that no coating system has.
///
/// Today is 10 June 2026. Of the material `INNER`, the lot `L-EXPIRED` could be used until
/// 9 June; `L-SOON` until 30 June, `L-LATER` until 31 August, `L-EVER` for ever. `L-INNER`, of
/// the line itself, until 31 January 2027.
pub struct Site {
    pub line: Line,
}

impl Site {
    pub async fn new() -> Self {
        let site = Self { line: Line::new().await };
        for (code, kind, crew) in [
            ("YARD", "yard", None),
            ("BOX", "container", None),
            ("CREW-A1", "crew", Some("A1")),
            ("CREW-B1", "crew", Some("B1")),
        ] {
            if let Some("B1") = crew {
                site.puts("/spreads/B", json!({ "code": "B", "name": "Spread B" })).await;
                let crew = json!({ "code": "B1", "name": "Crew B1", "spread": "B" });
                site.puts("/crews/B1", crew).await;
            }
            let mut location = json!({ "code": code, "name": code, "kind": kind });
            if let Some(crew) = crew {
                location["crew"] = json!(crew);
            }
            site.puts(&format!("/stock/locations/{code}"), location).await;
        }
        let band = json!({ "code": "BAND", "name": "Marking band", "unit": "m" });
        site.puts("/stock/materials/BAND", band).await;
        site.lot("L-SOON", "INNER", Some("2026-06-30")).await;
        site.lot("L-LATER", "INNER", Some("2026-08-31")).await;
        site.lot("L-EVER", "INNER", None).await;
        site.lot("L-BAND", "BAND", None).await;
        site
    }

    pub async fn puts(&self, rest: &str, body: Value) {
        self.line.admin.puts(rest, body).await.expect(201);
    }

    pub async fn lot(&self, code: &str, material: &str, expires_on: Option<&str>) {
        let mut lot = json!({ "code": code, "material": material });
        if let Some(day) = expires_on {
            lot["expires_on"] = json!(day);
        }
        self.puts(&format!("/stock/lots/{code}"), lot).await;
    }

    /// The controller receives `quantity` of `lot` at `to`.
    pub async fn receives(&self, lot: &str, quantity: f64, to: &str) -> Value {
        let body = self.movement("receive", json!({ "lot": lot, "quantity": quantity, "to": to }));
        self.line.materials.posts("/stock/movements", body).await.expect(201)
    }

    /// A movement of `kind`, now, with a new id.
    pub fn movement(&self, kind: &str, fields: Value) -> Value {
        let mut body = fields;
        body["id"] = json!(id(self.now()));
        body["kind"] = json!(kind);
        if body["occurred_at"].is_null() {
            body["occurred_at"] = json!(self.now());
        }
        body
    }

    /// The controller moves something.
    pub async fn moves(&self, kind: &str, fields: Value) -> Answer {
        self.moves_as(&self.line.materials, kind, fields).await
    }

    pub async fn moves_as(&self, who: &Person, kind: &str, fields: Value) -> Answer {
        who.posts("/stock/movements", self.movement(kind, fields)).await
    }

    /// What `location` holds of `lot`.
    pub async fn holds(&self, location: &str, lot: &str) -> f64 {
        let query = format!("/stock/balances?location={location}&lot={lot}");
        let items = self.line.client.gets(&query).await.expect(200)["items"].clone();
        items[0]["quantity"].as_f64().unwrap_or(0.0)
    }

    pub fn now(&self) -> DateTime<Utc> {
        self.line.app.now()
    }

    pub async fn reads(&self, rest: &str) -> Value {
        let path = self.line.client.path(rest);
        self.line.client.asks(Method::GET, &path, None).await.expect(200)
    }
}

/// A new id.
pub fn id(now: DateTime<Utc>) -> Uuid {
    app::new_id(now)
}

/// Lots and quantities of what was moved.
pub fn parts(answer: &Value) -> Vec<(String, f64)> {
    let movements = answer["movements"].as_array().unwrap();
    let part =
        |it: &Value| (it["lot"].as_str().unwrap().to_owned(), it["quantity"].as_f64().unwrap());
    movements.iter().map(part).collect()
}

/// The codes of what stands in the way, each once.
pub fn blocking(problem: &Value) -> Vec<String> {
    harness::app::codes(&problem["blocking_conditions"])
}

/// The pointers and codes of the faults.
pub fn faults(problem: &Value) -> Vec<(String, String)> {
    let errors = problem["errors"].as_array().unwrap();
    let fault = |it: &Value| {
        (it["pointer"].as_str().unwrap().to_owned(), it["code"].as_str().unwrap().to_owned())
    };
    errors.iter().map(fault).collect()
}
