//! A small line with its people, set up through the API.

use std::rc::Rc;

use ::app::new_id;
use actix_web::{http::Method, test::TestRequest};
use chrono::TimeDelta;
use domain::{
    access::Role,
    ids::{JointId, ProjectId},
    joints::{JointKind, RegisterEntry},
};
use serde_json::{Value, json};

use crate::{
    actor::{PASSWORD, Person},
    app::TestApp,
    fact::{Fact, everything},
};

/// A project with one member of each role, a section of two-layer tape (`S1`), a section of one
/// tape alone (`S2`), and no joints yet.
pub struct Line {
    /// The application.
    pub app: Rc<TestApp>,
    /// Administrator of the server and of the project.
    pub admin: Person,
    /// Site coordinator.
    pub coordinator: Person,
    /// Material controller.
    pub materials: Person,
    /// QA manager.
    pub qa: Person,
    /// Another QA manager, who also wraps.
    pub wrapping_qa: Person,
    /// Inspector.
    pub inspector: Person,
    /// Crew lead.
    pub crew: Person,
    /// Client's representative.
    pub client: Person,
    /// Somebody who is a member of another project only, as its administrator.
    pub stranger: Person,
    /// Id of the project.
    pub project: ProjectId,
}

impl Line {
    /// The line with its people.
    pub async fn new() -> Self {
        Self::with(api::Settings::default()).await
    }

    /// Somebody new in the project.
    pub async fn joins(&self, name: &str, role: Role) -> Person {
        member(&self.app, &self.admin, name, role).await
    }

    /// The same in an application with these settings.
    pub async fn with(settings: api::Settings) -> Self {
        let app = TestApp::with(settings).await;
        let admin = first_administrator(&app).await;
        let project = create_project(&admin, "NORTH").await;
        create_project(&admin, "SOUTH").await;
        let member = |name: &'static str, role| member(&app, &admin, name, role);
        let line = Self {
            coordinator: member("coordinator", Role::SiteCoordinator).await,
            materials: member("materials", Role::MaterialController).await,
            qa: member("qa", Role::QaManager).await,
            wrapping_qa: member("wrapping-qa", Role::QaManager).await,
            inspector: member("inspector", Role::Inspector).await,
            crew: member("crew", Role::CrewLead).await,
            client: member("client", Role::ClientRepresentative).await,
            stranger: stranger(&app, &admin).await,
            project,
            admin,
            app,
        };
        line.set_up().await;
        line
    }

    /// The line with joints `J-1` to `J-<count>` of section `S1`, 12 m apart.
    pub async fn with_joints(count: u32) -> Self {
        let line = Self::new().await;
        line.adds_joints("S1", "J", count).await;
        line
    }

    /// The line with one joint, `J-1`, that is ready for its release.
    pub async fn with_ready_joint() -> Self {
        let line = Self::with_joints(1).await;
        line.makes_ready("J-1").await;
        line
    }

    /// The member of each role, one for each.
    pub fn member_of_each_role(&self) -> [(Role, &Person); 7] {
        [
            (Role::SiteCoordinator, &self.coordinator),
            (Role::MaterialController, &self.materials),
            (Role::QaManager, &self.qa),
            (Role::Inspector, &self.inspector),
            (Role::CrewLead, &self.crew),
            (Role::ClientRepresentative, &self.client),
            (Role::Administrator, &self.admin),
        ]
    }

    /// Adds joints `<prefix>-1` to `<prefix>-<count>` to the register.
    pub async fn adds_joints(&self, section: &str, prefix: &str, count: u32) -> Vec<String> {
        let now = self.app.now();
        let joint = |number: u32| {
            let entry = RegisterEntry {
                joint_number: format!("{prefix}-{number}"),
                kp_m: f64::from(number) * 12.0,
                section: section.to_owned(),
                kind: JointKind::Mainline,
                coating_system: None,
                pipe_before: None,
                pipe_after: None,
                heat_before: None,
                heat_after: None,
                welder: None,
                welded_on: None,
            };
            (JointId(new_id(now)), entry, None)
        };
        let joints: Vec<_> = (1..=count).map(joint).collect();
        let mut tx = store::begin(&self.app.database.pool, store::Scope::default()).await.unwrap();
        store::joints::insert(&mut tx, self.project, &joints, now).await.unwrap();
        store::commit(tx).await.unwrap();
        joints.into_iter().map(|(_, entry, _)| entry.joint_number).collect()
    }

    /// Records everything that a release takes.
    pub async fn makes_ready(&self, joint: &str) {
        self.records(joint, &everything()).await;
    }

    /// Records facts in one batch; each must be new.
    pub async fn records(&self, joint: &str, facts: &[Fact]) {
        let batch = facts.iter().map(|fact| fact.clone().on(joint)).collect();
        let items = self.inspector.sends(batch).await;
        for item in items.as_array().unwrap() {
            assert_eq!(item["status"], 201, "{item:#}");
        }
    }

    /// The nonconformances of the project, newest first.
    pub async fn nonconformances(&self) -> Value {
        self.qa.gets("/nonconformances").await.expect(200)["items"].clone()
    }

    /// Lets time pass.
    pub fn waits(&self, time: TimeDelta) {
        self.app.wait(time);
    }

    async fn set_up(&self) {
        let put = |kind: &'static str, code: &'static str, mut body: Value| {
            body["code"] = json!(code);
            async move {
                let path = self.admin.path(&format!("/{kind}/{code}"));
                self.admin.asks(Method::PUT, &path, Some(body)).await.expect(201);
            }
        };
        for (code, name) in [("PRIMER", "Primer"), ("INNER", "Inner tape"), ("OUTER", "Outer tape")]
        {
            put("stock/materials", code, json!({ "name": name })).await;
        }
        for (code, material, expires_on) in [
            ("L-PRIMER", "PRIMER", "2027-01-31"),
            ("L-INNER", "INNER", "2027-01-31"),
            ("L-OUTER", "OUTER", "2027-01-31"),
            ("L-EXPIRED", "INNER", "2026-06-09"),
        ] {
            let body = json!({ "material": material, "expires_on": expires_on });
            put("stock/lots", code, body).await;
        }
        let layer = |role: &str, material: &str, thickness_mm: f64| json!({ "role": role, "material": material, "thickness_mm": thickness_mm });
        let mut inner = layer("inner_wrap", "INNER", 1.0);
        inner["overlap_min_percent"] = json!(50);
        let two =
            [layer("primer", "PRIMER", 0.0), inner.clone(), layer("outer_wrap", "OUTER", 0.5)];
        let body = |layers: &[Value]| json!({ "name": "Cold-applied tape", "surface_grade": "St 3", "layers": layers });
        put("coating-systems", "TWO", body(&two)).await;
        put("coating-systems", "ONE", body(&[inner])).await;
        put("inspection-plans", "ITP-1", json!({ "name": "Inspection and test plan" })).await;
        put("spreads", "A", json!({ "name": "Spread A" })).await;
        put("crews", "A1", json!({ "name": "Crew A1", "spread": "A" })).await;
        let pipe = json!({
            "outside_diameter_mm": 508.0, "wall_mm": 9.5, "plant_coating": "polyethylene",
            "plant_coating_thickness_mm": 3.0, "cutback_mm": 150.0,
        });
        put("line-pipes", "DN500", pipe).await;
        for (code, system, from, to) in [("S1", "TWO", 0.0, 10.0), ("S2", "ONE", 10.0, 500.0)] {
            let section = json!({
                "name": "Section", "kp_from_km": from, "kp_to_km": to, "line_pipe": "DN500",
                "coating_system": system, "spread": "A", "inspection_plan": "ITP-1",
                "backfill": "sand_padding", "design_temperature_c": 40.0,
            });
            put("sections", code, section).await;
        }
        let detector = |from: &str, to: &str| {
            let calibrations =
                json!([{ "certificate": "C-1", "valid_from": from, "valid_to": to }]);
            json!({ "name": "Detector", "calibrations": calibrations })
        };
        put("detectors", "HD-1", detector("2026-01-01", "2026-12-31")).await;
        put("detectors", "HD-OLD", detector("2025-01-01", "2025-12-31")).await;
        for (code, user, capability) in [
            ("P-CREW", Some(&self.crew.user), Some("applicator")),
            ("P-QA", Some(&self.wrapping_qa.user), Some("applicator")),
            ("P-INSPECTOR", Some(&self.inspector.user), Some("inspector")),
            ("P-NOVICE", None, None),
        ] {
            let qualification = |system| {
                json!({
                    "capability": capability, "coating_system": system,
                    "valid_from": "2026-01-01", "valid_to": "2026-12-31",
                })
            };
            let mut person = json!({ "name": format!("Name of {code}"), "qualifications": [] });
            if capability.is_some() {
                person["qualifications"] = json!([qualification("ONE"), qualification("TWO")]);
            }
            if let Some(user) = user {
                person["user"] = json!(user);
            }
            put("people", code, person).await;
        }
    }
}

async fn first_administrator(app: &Rc<TestApp>) -> Person {
    let code = ::app::accounts::new_setup_code(&app.app).await.unwrap();
    let email = "admin@example.org";
    let body = json!({ "code": code, "email": email, "name": "Admin", "password": PASSWORD });
    let request = TestRequest::post().uri("/v1/administrators").set_json(body);
    let created = app.call(request).await.expect(201);
    Person::new(app, email, created["id"].as_str().unwrap(), "NORTH")
}

async fn create_project(admin: &Person, code: &str) -> ProjectId {
    let body = json!({ "code": code, "name": "A loop", "time_zone": "Europe/Vienna" });
    let created = admin.asks(Method::POST, "/v1/projects", Some(body)).await.expect(201);
    created["id"].as_str().unwrap().parse().unwrap()
}

async fn create_user(app: &Rc<TestApp>, admin: &Person, name: &str, project: &str) -> Person {
    let email = format!("{name}@example.org");
    let body = json!({ "email": email, "name": format!("Name of {name}"), "password": PASSWORD });
    let created = admin.asks(Method::POST, "/v1/users", Some(body)).await.expect(201);
    Person::new(app, &email, created["id"].as_str().unwrap(), project)
}

async fn member(app: &Rc<TestApp>, admin: &Person, name: &str, role: Role) -> Person {
    let person = create_user(app, admin, name, "NORTH").await;
    admin
        .puts(&format!("/members/{}", person.user), json!({ "role": role.name() }))
        .await
        .expect(201);
    person
}

async fn stranger(app: &Rc<TestApp>, admin: &Person) -> Person {
    let person = create_user(app, admin, "stranger", "NORTH").await;
    let path = format!("/v1/projects/SOUTH/members/{}", person.user);
    let role = json!({ "role": Role::Administrator.name() });
    admin.asks(Method::PUT, &path, Some(role)).await.expect(201);
    person
}
