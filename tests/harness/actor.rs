//! Somebody who is signed in and asks.

use std::{cell::RefCell, rc::Rc};

use ::app::{Actor, projects::ProjectEntry};
use actix_web::{http::Method, test::TestRequest};
use chrono::{DateTime, TimeDelta, Utc};
use domain::access::Permission;
use serde_json::{Value, json};

use crate::{
    app::{Answer, TestApp},
    fact::Fact,
    stream::EventStream,
};

/// Everybody's password: what differs is who has it.
pub const PASSWORD: &str = "a long walk along the trench";

/// After this a person signs in again: an access token ends soon after.
const SIGNED_IN_FOR: TimeDelta = TimeDelta::minutes(9);

/// A user, most often a member of a project.
pub struct Person {
    app: Rc<TestApp>,
    /// E-mail.
    pub email: String,
    /// Id of the user.
    pub user: String,
    /// Code of the project they work in.
    pub project: String,
    session: RefCell<Option<(String, DateTime<Utc>)>>,
}

impl Person {
    /// A user of `app` who works in `project`.
    pub fn new(app: &Rc<TestApp>, email: &str, user: &str, project: &str) -> Self {
        Self {
            app: Rc::clone(app),
            email: email.to_owned(),
            user: user.to_owned(),
            project: project.to_owned(),
            session: RefCell::new(None),
        }
    }

    /// An access token, of the session that is open or of a new one.
    pub async fn token(&self) -> String {
        let now = self.app.now();
        let open = self.session.borrow().clone();
        if let Some((token, since)) = open
            && now - since < SIGNED_IN_FOR
        {
            return token;
        }
        let who = json!({ "email": self.email, "password": PASSWORD });
        let request = TestRequest::post().uri("/v1/sessions").set_json(who);
        let session = self.app.call(request).await.expect(201);
        let token = session["access_token"].as_str().unwrap().to_owned();
        *self.session.borrow_mut() = Some((token.clone(), now));
        token
    }

    /// Asks for `path`.
    pub async fn asks(&self, method: Method, path: &str, body: Option<Value>) -> Answer {
        let request = TestRequest::with_uri(path).method(method);
        let bearer = format!("Bearer {}", self.token().await);
        let request = request.insert_header(("authorization", bearer));
        let request = match body {
            Some(body) => request.set_json(body),
            None => request,
        };
        self.app.call(request).await
    }

    /// A path inside the project.
    pub fn path(&self, rest: &str) -> String {
        format!("/v1/projects/{}{rest}", self.project)
    }

    /// Reads something of the project.
    pub async fn gets(&self, rest: &str) -> Answer {
        self.asks(Method::GET, &self.path(rest), None).await
    }

    /// Follows the project, from after number `last` or from now.
    pub async fn follows(&self, last: Option<i64>) -> EventStream {
        let bearer = format!("Bearer {}", self.token().await);
        let request = TestRequest::with_uri(&self.path("/stream"));
        let mut request = request.insert_header(("authorization", bearer));
        if let Some(last) = last {
            request = request.insert_header(("last-event-id", last.to_string()));
        }
        self.app.open(request).await
    }

    /// Sends something to the project.
    pub async fn posts(&self, rest: &str, body: Value) -> Answer {
        self.asks(Method::POST, &self.path(rest), Some(body)).await
    }

    /// Puts something into the project.
    pub async fn puts(&self, rest: &str, body: Value) -> Answer {
        self.asks(Method::PUT, &self.path(rest), Some(body)).await
    }

    /// Sees a joint.
    pub async fn sees(&self, joint: &str) -> Value {
        self.gets(&format!("/joints/{joint}")).await.expect(200)
    }

    /// Records a fact on a joint.
    pub async fn records(&self, joint: &str, fact: &Fact) -> Answer {
        self.posts(&format!("/joints/{joint}/events"), fact.0.clone()).await
    }

    /// Records facts on a joint, one after the other; each must be new.
    pub async fn records_all(&self, joint: &str, facts: &[Fact]) {
        for fact in facts {
            self.records(joint, fact).await.expect(201);
        }
    }

    /// Sends a batch; the answer is the list of outcomes.
    pub async fn sends(&self, events: Vec<Value>) -> Value {
        let body = json!({ "events": events });
        self.posts("/event-batches", body).await.expect(207)["items"].clone()
    }

    /// Asks to be shown what is about to be signed.
    pub async fn asks_to_sign(&self, subject: &Value) -> Answer {
        let body = json!({ "purpose": "backfill_release", "subject": subject });
        self.posts("/signing-challenges", body).await
    }

    /// The nonce of a new challenge for `subject`.
    pub async fn nonce(&self, subject: &Value) -> String {
        let challenge = self.asks_to_sign(subject).await.expect(201);
        challenge["nonce"].as_str().unwrap().to_owned()
    }

    /// Signs the release of `subject` with `nonce` and `password`.
    pub async fn signs(&self, subject: &Value, nonce: &str, password: &str) -> Answer {
        let mut body = subject.clone();
        body["signature"] =
            json!({ "nonce": nonce, "password": password, "meaning": "released for backfill" });
        self.posts("/backfill-releases", body).await
    }

    /// Releases `subject`: asks for a challenge and signs it.
    pub async fn releases_all(&self, subject: &Value) -> Answer {
        let nonce = self.nonce(subject).await;
        self.signs(subject, &nonce, PASSWORD).await
    }

    /// Releases one joint.
    pub async fn releases(&self, joint: &str) -> Answer {
        self.releases_all(&json!({ "joints": [joint] })).await
    }

    /// Asks what a release of `subject` would answer.
    pub async fn asks_about_release(&self, subject: &Value) -> Answer {
        self.posts("/backfill-releases?validate_only=true", subject.clone()).await
    }

    /// The person as the use cases know them.
    pub async fn actor(&self) -> Actor {
        let token = self.token().await;
        ::app::accounts::authenticate(&self.app.app, &token).await.unwrap()
    }

    /// The project as the use cases know it for this person.
    pub async fn entry(&self) -> ProjectEntry {
        let actor = self.actor().await;
        let (app, project) = (&self.app.app, &self.project);
        ::app::projects::enter(app, &actor, project, Permission::ReadProject).await.unwrap()
    }
}
