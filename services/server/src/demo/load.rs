//! The order in which the demo is loaded.

use std::{
    sync::Arc,
    time::{Duration, Instant},
};

use anyhow::Context;
use app::{App, FixedClock};
use auth::Hasher;
use chrono::{DateTime, NaiveTime, Utc};
use domain::access::Role;
use indicatif::{ProgressBar, ProgressStyle};

use super::{
    actors::Actors,
    batches::{Sender, Step, steps},
    facts,
    files::{self, SentLine, StoryFile, UserFile},
    items, register, releases,
    shift::Shift,
    stock, weather,
};
use crate::{database::Database, explain::explain, process::cores};

/// Connections while loading: one thing is done at a time.
const CONNECTIONS: u32 = 4;

/// What was loaded.
pub struct Loaded {
    /// Code of the project.
    pub project: String,
    /// Name of the project.
    pub name: String,
    /// Who can sign in.
    pub users: Vec<UserFile>,
    /// By which password.
    pub password: String,
    /// Which joint shows what.
    pub story: StoryFile,
    /// Joints.
    pub joints: u64,
    /// Facts.
    pub facts: u64,
    /// Releases.
    pub releases: u64,
    /// Joints that the files release and the rules do not.
    pub refused: Vec<String>,
    /// How long it took.
    pub took: Duration,
}

/// Loads the demo into the empty `database`, so that its last fact is not after `now`.
pub async fn load(database: &Database, now: DateTime<Utc>) -> anyhow::Result<Loaded> {
    let started = Instant::now();
    let shift = Shift::between(files::story(Shift::NONE)?.last_fact_at, now);
    let story = files::story(shift)?;
    let clock = Arc::new(FixedClock::new(story.first_day.and_time(NaiveTime::MIN).and_utc()));
    let pool = database.connect(store::Role::Application, CONNECTIONS).await?;
    let app = App::new(pool, clock.clone(), Hasher::new(cores())).await?;
    let worker = database.connect(store::Role::Worker, CONNECTIONS).await?;
    let worker = App::for_work(worker, clock.clone());
    let steps = steps(files::facts(shift)?, files::releases(shift)?);

    let password = auth::one_time_code();
    let actors = Actors::create(&app, &password).await.context("could not create the users")?;
    items::put_all(&app, &actors, shift).await.context("could not set the project up")?;
    let coordinator = actors.with_role(Role::SiteCoordinator)?;
    let joints = register::import(&app, &worker, coordinator, shift).await?;

    let bar = ProgressBar::new(steps.iter().map(weight).sum()).with_style(
        ProgressStyle::with_template("loading six weeks of work {wide_bar} {pos}/{len} records")?,
    );
    let mut loaded = Loaded {
        project: coordinator.project.code.clone(),
        name: coordinator.project.name.clone(),
        users: Vec::new(),
        password,
        story,
        joints,
        facts: 0,
        releases: 0,
        refused: Vec::new(),
        took: Duration::ZERO,
    };
    let mut lines = files::sent(shift)?.into_iter().peekable();
    for step in steps {
        while let Some(line) = lines.next_if(|line| line.at <= step.at()) {
            keep(&app, &worker, &clock, &actors, line).await?;
        }
        let done = weight(&step);
        take(&app, &clock, &actors, step, &mut loaded).await?;
        bar.inc(done);
    }
    for line in lines {
        keep(&app, &worker, &clock, &actors, line).await?;
    }
    clock.set(now);
    app::stock::post_consumption(&worker, coordinator.project.id).await.map_err(explain)?;
    app::outlook::stock_check(&worker, coordinator.project.id).await.map_err(explain)?;
    app::ambient::ambient_check(&worker, coordinator.project.id).await.map_err(explain)?;
    app::ambient::primer_clock(&worker, coordinator.project.id).await.map_err(explain)?;
    app::quality::repair_rate(&worker, coordinator.project.id).await.map_err(explain)?;
    bar.finish_and_clear();
    loaded.users = actors.into_users();
    app.pool.close().await;
    worker.pool.close().await;
    loaded.took = started.elapsed();
    Ok(loaded)
}

fn weight(step: &Step) -> u64 {
    match step {
        Step::Send { lines, .. } => lines.len() as u64,
        Step::Release(line) => line.joints.len() as u64,
    }
}

/// One thing that happens in the stores, or with the weather. What the crews have used by then is booked first, as a
/// worker would have done.
async fn keep(
    app: &App,
    worker: &App,
    clock: &FixedClock,
    actors: &Actors,
    line: SentLine,
) -> anyhow::Result<()> {
    clock.set(line.at);
    if line.is_weather() {
        return weather::send(app, actors, line).await;
    }
    let by = actors.with_role(Role::MaterialController)?;
    app::stock::post_consumption(worker, by.project.id).await.map_err(explain)?;
    stock::send(app, by, line).await
}

async fn take(
    app: &App,
    clock: &FixedClock,
    actors: &Actors,
    step: Step,
    loaded: &mut Loaded,
) -> anyhow::Result<()> {
    match step {
        Step::Send { at, sender, lines } => {
            clock.set(at);
            let by = match sender {
                Sender::CrewA => actors.with_email("crew-a1@example.invalid")?,
                Sender::CrewB => actors.with_email("crew-b1@example.invalid")?,
                Sender::Inspector => actors.with_role(Role::Inspector)?,
            };
            loaded.facts += lines.len() as u64;
            facts::send(app, by, lines).await
        }
        Step::Release(line) => {
            clock.set(line.at);
            let by = actors.with_role(Role::QaManager)?;
            let signed = releases::sign(app, by, &loaded.password, line).await?;
            loaded.releases += signed.released;
            loaded.refused.extend(signed.refused);
            Ok(())
        }
    }
}
