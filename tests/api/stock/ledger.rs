//! Anything in any order, over HTTP and a real database, against a few lines of arithmetic.
//!
//! The model knows no code of the server: it keeps a table of thousandths and says the rules
//! again.

use std::collections::BTreeMap;

use proptest::{
    prelude::*,
    test_runner::{Config, TestCaseError, TestRunner},
};
use serde_json::{Value, json};

use super::Site;

/// Sequences in an ordinary run; `JOINTWARD_STOCK_CASES` asks for another number.
const CASES: u32 = 6;

const PLACES: [&str; 4] = ["YARD", "BOX", "CREW-A1", "CREW-B1"];
const LOTS: [&str; 3] = ["L-SOON", "L-LATER", "L-EVER"];

#[derive(Debug, Clone)]
enum Step {
    Receive { lot: usize, thousandths: i64, to: usize },
    Transfer { lot: usize, thousandths: i64, from: usize, to: usize },
    Return { lot: usize, thousandths: i64, from: usize, to: usize },
    Scrap { lot: usize, thousandths: i64, from: usize },
    Issue { thousandths: i64, from: usize },
    Count { lot: usize, thousandths: i64, at: usize },
    Undo { which: usize },
    Again { which: usize },
}

fn step() -> impl Strategy<Value = Step> {
    // Small whole numbers meet each other often; thousandths keep the arithmetic honest.
    let much = || prop_oneof![(1_i64..6).prop_map(|it| it * 1000), 1_i64..6000];
    let (lot, place) = (|| 0..LOTS.len(), || 0..PLACES.len());
    prop_oneof![
        4 => (lot(), much(), place())
            .prop_map(|(lot, thousandths, to)| Step::Receive { lot, thousandths, to }),
        3 => (lot(), much(), place(), place()).prop_map(|(lot, thousandths, from, to)| {
            Step::Transfer { lot, thousandths, from, to }
        }),
        1 => (lot(), much(), place(), place()).prop_map(|(lot, thousandths, from, to)| {
            Step::Return { lot, thousandths, from, to }
        }),
        1 => (lot(), much(), place())
            .prop_map(|(lot, thousandths, from)| Step::Scrap { lot, thousandths, from }),
        3 => (much(), place()).prop_map(|(thousandths, from)| Step::Issue { thousandths, from }),
        2 => (lot(), 0_i64..6000, place())
            .prop_map(|(lot, thousandths, at)| Step::Count { lot, thousandths, at }),
        2 => (0_usize..20).prop_map(|which| Step::Undo { which }),
        1 => (0_usize..20).prop_map(|which| Step::Again { which }),
    ]
}

/// What the places hold, in thousandths, and what was recorded.
#[derive(Default)]
struct Model {
    held: BTreeMap<(String, String), i64>,
    /// Id, lot, thousandths, from, to; whether it can be undone still.
    moved: Vec<(String, String, i64, String, String, bool)>,
    sent: Vec<Value>,
}

impl Model {
    fn at(&self, place: &str, lot: &str) -> i64 {
        self.held.get(&(place.to_owned(), lot.to_owned())).copied().unwrap_or(0)
    }

    fn moves(&mut self, lot: &str, thousandths: i64, from: &str, to: &str) {
        *self.held.entry((from.to_owned(), lot.to_owned())).or_default() -= thousandths;
        *self.held.entry((to.to_owned(), lot.to_owned())).or_default() += thousandths;
    }
}

fn units(thousandths: i64) -> f64 {
    f64::from(i32::try_from(thousandths).unwrap()) / 1000.0
}

fn thousandths(quantity: &Value) -> i64 {
    let thousandths = (quantity.as_f64().unwrap() * 1000.0).round();
    format!("{thousandths}").parse().unwrap()
}

struct Run {
    site: Site,
    model: Model,
}

impl Run {
    /// Sends a movement of one lot; the model says what the answer must be.
    async fn one(
        &mut self,
        kind: &str,
        (lot, much): (&str, i64),
        (from, to): (&str, &str),
        fits: bool,
    ) -> Result<(), TestCaseError> {
        let mut body = json!({ "lot": lot, "quantity": units(much), "to": to, "from": from });
        if kind == "scrap" {
            body["reason"] = json!("torn");
        }
        let body = self.site.movement(kind, body);
        let answer = self.site.line.materials.posts("/stock/movements", body.clone()).await;
        let left = self.model.at(from, lot);
        if !fits || from == to {
            prop_assert_eq!(answer.status, 422);
        } else if from != "supplier" && left < much {
            prop_assert_eq!(answer.status, 409);
            prop_assert_eq!(&answer.body["code"], "NOT_ENOUGH");
            prop_assert_eq!(thousandths(&answer.body["left"]), left);
        } else {
            prop_assert_eq!(answer.status, 201, "{:#}", answer.body);
            self.model.moves(lot, much, from, to);
            let id = body["id"].as_str().unwrap().to_owned();
            self.model.moved.push((id, lot.into(), much, from.into(), to.into(), true));
            self.model.sent.push(body);
        }
        Ok(())
    }

    async fn issue(&mut self, much: i64, from: &str) -> Result<(), TestCaseError> {
        let body = json!({ "material": "INNER", "quantity": units(much), "from": from,
                           "to": "CREW-A1" });
        let body = self.site.movement("issue", body);
        let answer = self.site.line.crew.posts("/stock/movements", body.clone()).await;
        // The lots are listed by their last day.
        let left: i64 = LOTS.iter().map(|lot| self.model.at(from, lot)).sum();
        if from == "CREW-A1" {
            prop_assert_eq!(answer.status, 422);
            return Ok(());
        }
        if left < much {
            prop_assert_eq!(answer.status, 409);
            prop_assert_eq!(&answer.body["code"], "ISSUE_REFUSED");
            let said = &answer.body["blocking_conditions"][0];
            prop_assert_eq!(&said["code"], "NOT_ENOUGH");
            prop_assert_eq!(thousandths(&said["left"]), left);
            return Ok(());
        }
        prop_assert_eq!(answer.status, 201, "{:#}", answer.body);
        let (mut missing, mut expected) = (much, Vec::new());
        for lot in LOTS {
            let part = missing.min(self.model.at(from, lot));
            if part > 0 {
                missing -= part;
                expected.push((lot.to_owned(), part));
                self.model.moves(lot, part, from, "CREW-A1");
            }
        }
        let movements = answer.body["movements"].as_array().unwrap();
        let found: Vec<(String, i64)> = movements
            .iter()
            .map(|it| (it["lot"].as_str().unwrap().to_owned(), thousandths(&it["quantity"])))
            .collect();
        prop_assert_eq!(found, expected);
        for it in movements {
            let (id, lot) = (it["id"].as_str().unwrap(), it["lot"].as_str().unwrap());
            let much = thousandths(&it["quantity"]);
            let of = (id.to_owned(), lot.to_owned(), much, from.to_owned(), "CREW-A1".to_owned());
            self.model.moved.push((of.0, of.1, of.2, of.3, of.4, true));
        }
        self.model.sent.push(body);
        Ok(())
    }

    async fn count(&mut self, lot: &str, counted: i64, at: &str) -> Result<(), TestCaseError> {
        // A moment later than everything before, so that the book of that moment is the book.
        self.site.line.waits(chrono::TimeDelta::seconds(1));
        let now = self.site.now();
        let body = json!({ "id": super::id(now), "location": at, "counted_at": now,
                           "lines": [{ "lot": lot, "quantity": units(counted) }] });
        let answer = self.site.line.crew.posts("/stock/counts", body).await;
        prop_assert_eq!(answer.status, 201, "{:#}", answer.body);
        let book = self.model.at(at, lot);
        let difference = counted - book;
        // Two hundredths of the book, or one unit.
        let small = difference.abs() * 100 <= book * 2 || difference.abs() <= 1000;
        let status = match (difference, small) {
            (0, _) => "matches",
            (_, true) => "adjusted",
            (_, false) => "waiting",
        };
        prop_assert_eq!(&answer.body["lines"][0]["status"], status);
        prop_assert_eq!(thousandths(&answer.body["lines"][0]["book"]), book);
        if status == "adjusted" {
            self.model.moves(lot, difference, "adjustment", at);
        }
        Ok(())
    }

    async fn undo(&mut self, which: usize) -> Result<(), TestCaseError> {
        if self.model.moved.is_empty() {
            return Ok(());
        }
        let which = which % self.model.moved.len();
        let (id, lot, much, from, to, open) = self.model.moved[which].clone();
        let body = json!({ "reverses": id, "reason": "wrong" });
        let answer = self.site.moves("reverse", body).await;
        if !open {
            prop_assert_eq!(&answer.body["code"], "REVERSED_ALREADY");
        } else if to != "scrap" && self.model.at(&to, &lot) < much {
            prop_assert_eq!(&answer.body["code"], "NOT_ENOUGH");
            prop_assert_eq!(thousandths(&answer.body["left"]), self.model.at(&to, &lot));
        } else {
            prop_assert_eq!(answer.status, 201, "{:#}", answer.body);
            self.model.moves(&lot, much, &to, &from);
            self.model.moved[which].5 = false;
        }
        Ok(())
    }

    async fn again(&mut self, which: usize) -> Result<(), TestCaseError> {
        if self.model.sent.is_empty() {
            return Ok(());
        }
        let body = self.model.sent[which % self.model.sent.len()].clone();
        let answer = self.site.line.materials.posts("/stock/movements", body).await;
        prop_assert_eq!(answer.status, 200, "{:#}", answer.body);
        Ok(())
    }

    async fn takes(&mut self, step: &Step) -> Result<(), TestCaseError> {
        let is_crew = |place: &str| place.starts_with("CREW");
        match *step {
            Step::Receive { lot, thousandths, to } => {
                self.one("receive", (LOTS[lot], thousandths), ("supplier", PLACES[to]), true).await
            }
            Step::Transfer { lot, thousandths, from, to } => {
                let places = (PLACES[from], PLACES[to]);
                let fits = !is_crew(places.1);
                self.one("transfer", (LOTS[lot], thousandths), places, fits).await
            }
            Step::Return { lot, thousandths, from, to } => {
                let places = (PLACES[from], PLACES[to]);
                let fits = is_crew(places.0) && !is_crew(places.1);
                self.one("return", (LOTS[lot], thousandths), places, fits).await
            }
            Step::Scrap { lot, thousandths, from } => {
                self.one("scrap", (LOTS[lot], thousandths), (PLACES[from], "scrap"), true).await
            }
            Step::Issue { thousandths, from } => self.issue(thousandths, PLACES[from]).await,
            Step::Count { lot, thousandths, at } => {
                self.count(LOTS[lot], thousandths, PLACES[at]).await
            }
            Step::Undo { which } => self.undo(which).await,
            Step::Again { which } => self.again(which).await,
        }
    }

    /// What the server holds is what the model holds, and every lot adds up to nothing: what the
    /// supplier gave is somewhere.
    async fn adds_up(&self) -> Result<(), TestCaseError> {
        for lot in LOTS {
            let mut all = 0;
            for place in PLACES.iter().chain(&["supplier", "scrap", "adjustment", "joint"]) {
                let holds = thousandths(&json!(self.site.holds(place, lot).await));
                prop_assert_eq!(holds, self.model.at(place, lot), "{} of {}", place, lot);
                prop_assert!(holds >= 0 || ["supplier", "adjustment"].contains(place));
                all += holds;
            }
            prop_assert_eq!(all, 0, "{} is neither made nor lost", lot);
        }
        Ok(())
    }
}

#[test]
fn whatever_happens_the_sums_are_right_and_no_place_is_under_zero() {
    let cases = std::env::var("JOINTWARD_STOCK_CASES").ok().and_then(|it| it.parse().ok());
    let config = Config {
        cases: cases.unwrap_or(CASES),
        max_shrink_iters: 200,
        failure_persistence: None,
        ..Config::default()
    };
    let steps = prop::collection::vec(step(), 1..40);
    let outcome = TestRunner::new(config).run(&steps, |steps| {
        actix_web::rt::Runtime::new().unwrap().block_on(async {
            let mut run = Run { site: Site::new().await, model: Model::default() };
            for step in &steps {
                run.takes(step).await?;
            }
            run.adds_up().await
        })
    });
    if let Err(failed) = outcome {
        panic!("{failed}");
    }
}
