//! Many who sign in at once: every password costs memory while it is looked at.

use std::time::{Duration, Instant};

use harness::{
    Line,
    actor::PASSWORD,
    http::{Connection, post},
    server::Server,
};
use serde_json::json;

use crate::{
    Outcome,
    options::{Options, Work},
};

/// Who signs in at once.
const CLIENTS: u32 = 64;

/// What the storm did.
pub struct Storm {
    /// Most memory in use, MB.
    pub peak_mb: f64,
    /// Signed in per second.
    pub signed_in: f64,
    /// Told to come again, per second.
    pub told_to_wait: f64,
}

/// Lets everybody sign in.
pub async fn run(line: &Line, server: &Server, options: &Options) -> Outcome<Option<Storm>> {
    if !options.wants(Work::Storm) {
        return Ok(None);
    }
    // People of the tests have passwords that cost little; one made by the server costs what it
    // should.
    let token = server.token(&line.admin.email).await;
    let email = "storm@example.org";
    let user = json!({ "email": email, "name": "Storm", "password": PASSWORD });
    server.ask(&post("/v1/users", &token, &user), 201).await;
    let request = post("/v1/sessions", "", &json!({ "email": email, "password": PASSWORD }));

    server.forget_most_memory();
    let begun = Instant::now();
    let end = begun + Duration::from_secs(u64::from(options.seconds.max(2)));
    let all = (0..CLIENTS).map(|_| async {
        let mut connection = Connection::open(&server.address).await?;
        let (mut signed_in, mut waited) = (0_u32, 0_u32);
        while Instant::now() < end {
            match connection.ask(&request).await? {
                201 => signed_in += 1,
                429 | 503 => waited += 1,
                other => return Err(format!("{other} from a sign-in").into()),
            }
        }
        Outcome::Ok((signed_in, waited))
    });
    let all = futures_util::future::try_join_all(all).await?;
    let seconds = begun.elapsed().as_secs_f64();
    let signed_in: u32 = all.iter().map(|it| it.0).sum();
    let waited: u32 = all.iter().map(|it| it.1).sum();
    Ok(Some(Storm {
        peak_mb: server.memory_mb().1,
        signed_in: f64::from(signed_in) / seconds,
        told_to_wait: f64::from(waited) / seconds,
    }))
}
