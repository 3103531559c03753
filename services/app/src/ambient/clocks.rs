//! Warns of joints whose next layer is due: an open time that ends, steel that has waited.

use chrono::{DateTime, Utc};
use domain::{
    condition::Condition,
    ids::ProjectId,
    joints::{
        Outside, assess,
        waiting::{CLOCK_KIND, next_layer_due},
    },
    setup::ProjectSetup,
};
use store::joints::StoredJoint;

use super::Looked;
use crate::{
    App, AppError,
    conditions::keep_warnings,
    jobs::{PrimerClock, not_enqueued},
    setup,
};

/// Joints read at a time.
const PAGE: i64 = 500;

/// Looks at every joint of `project` whose clock runs. Done twice, it says the same.
pub async fn primer_clock(app: &App, project: ProjectId) -> Result<Looked, AppError> {
    let mut tx = app.begin_in(project).await?;
    store::warnings::take_turn(&mut tx, project, "primer_clock").await?;
    let now = app.clock.now();
    let setup = setup::snapshot(app, &mut tx, project).await?;
    let (mut seen, mut after) = (Vec::new(), None);
    loop {
        let ids = store::ambient::now::joints_with_a_clock(&mut tx, project, after, PAGE).await?;
        let Some(last) = ids.last() else { break };
        after = Some(*last);
        let joints = store::joints::find_all(&mut tx, project, &ids).await?;
        seen.extend(joints.iter().filter_map(|joint| due(joint, &setup, now)));
    }
    let cleared = keep_warnings(&mut tx, project, &seen, &[CLOCK_KIND], now).await?;
    app.commit(tx).await?;
    Ok(Looked { warned: i64::try_from(seen.len()).unwrap_or(i64::MAX), cleared })
}

fn due(joint: &StoredJoint, setup: &ProjectSetup, now: DateTime<Utc>) -> Option<Condition> {
    let assessment = assess(&joint.state, &joint.entry, setup, &Outside::default(), now);
    next_layer_due(&joint.state, &joint.entry, &assessment, setup, now)
}

/// Asks for a look in every project where a clock runs or ran; returns how many were asked. Asked
/// again for the same `tick`, none is.
pub async fn ask_clocks(app: &App, tick: DateTime<Utc>) -> Result<i64, AppError> {
    let mut tx = app.begin().await?;
    let projects = store::projects::list_ids(&mut tx).await?;
    drop(tx);
    let mut asked = 0;
    for project in projects {
        match ask(app, project, tick).await {
            Ok(new) => asked += i64::from(new),
            // One project that cannot be looked at holds up no other.
            Err(error) => {
                tracing::error!(project.id = %project, %error, "its clocks were not asked");
            }
        }
    }
    Ok(asked)
}

async fn ask(app: &App, project: ProjectId, tick: DateTime<Utc>) -> Result<bool, AppError> {
    let mut tx = app.begin_in(project).await?;
    if !store::ambient::now::has_a_clock(&mut tx, project, CLOCK_KIND).await? {
        return Ok(false);
    }
    let key = format!("primer_clock:{project}:{}", tick.timestamp());
    let new = ::jobs::enqueue_unique(&mut tx, &key, &PrimerClock { project }).await;
    let new = new.map_err(not_enqueued)?;
    app.commit(tx).await?;
    Ok(new)
}
