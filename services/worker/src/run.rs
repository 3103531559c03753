//! All jobs and schedules of the server.

use std::{convert::Infallible, time::Duration};

use app::App;
use jobs::{CronError, QueueOptions, Runner, RunnerBuilder, RunnerError};
use tokio::time::MissedTickBehavior;

use crate::{handlers, schedules};

/// How often what goes out is looked at.
const LOOK: Duration = Duration::from_secs(1);

/// Why the worker ended although nobody asked it to.
#[derive(Debug, thiserror::Error)]
pub enum WorkerError {
    /// A schedule cannot be read.
    #[error(transparent)]
    Schedule(#[from] CronError),
    /// The queue's runner ended.
    #[error(transparent)]
    Runner(#[from] RunnerError),
}

/// Runs jobs and schedules until `shutdown`, then lets running jobs finish.
pub async fn run(app: App, shutdown: impl Future<Output = ()>) -> Result<(), WorkerError> {
    // Both are large, and whoever waits for this one carries them along.
    let runner = Box::pin(runner(&app)?.run(shutdown));
    let look = Box::pin(look_for_outgoing(&app));
    tokio::select! {
        ended = runner => Ok(ended?),
        never = look => match never {},
    }
}

/// Asks for jobs for webhooks and mail with something to send: within a second of the change, and
/// without a row in the queue where there is nothing to do.
async fn look_for_outgoing(app: &App) -> Infallible {
    let mut turn = tokio::time::interval(LOOK);
    turn.set_missed_tick_behavior(MissedTickBehavior::Delay);
    loop {
        turn.tick().await;
        if let Err(error) = app::webhooks::ask_due(app).await {
            tracing::warn!(%error, "could not look for webhooks with something to send");
        }
        if let Err(error) = app::mail::ask_due(app).await {
            tracing::warn!(%error, "could not look for mail to send");
        }
    }
}

fn runner(app: &App) -> Result<RunnerBuilder, CronError> {
    // A large register is minutes of work and a long transaction at its end; few at once leave
    // connections for everything else.
    let imports =
        QueueOptions { workers: 2, timeout: Duration::from_mins(20), ..QueueOptions::default() };
    let one = || QueueOptions { workers: 1, ..QueueOptions::default() };
    let two = || QueueOptions { workers: 2, ..QueueOptions::default() };

    // A lot can be on every joint of a line.
    let recalls =
        QueueOptions { workers: 1, timeout: Duration::from_mins(20), ..QueueOptions::default() };

    // Readings of weeks can come at once.
    let readings =
        QueueOptions { workers: 1, timeout: Duration::from_mins(20), ..QueueOptions::default() };

    // A stretch or a crew can be half a line.
    let nonconformances =
        QueueOptions { workers: 1, timeout: Duration::from_mins(20), ..QueueOptions::default() };

    let to = || app.clone();
    let (weather, ambient, ambient_of_all) = (to(), to(), to());
    let (clock, clock_of_all) = (to(), to());
    let (import, freshness, all, upkeep, recall) = (to(), to(), to(), to(), to());
    let nonconformance = to();
    let (consumption, consumption_of_all, webhook) = (to(), to(), to());
    let (stock, stock_of_each) = (to(), to());
    let (rate, rate_of_each) = (to(), to());
    let (mail, digest) = (to(), to());
    let (seal, seal_of_each, export) = (to(), to(), to());
    // The whole of a project is read and packed.
    let exports =
        QueueOptions { workers: 1, timeout: Duration::from_hours(1), ..QueueOptions::default() };
    let runner = Runner::builder(app.pool.clone(), host())
        .register_with(imports, move |_, job| handlers::run_import(import.clone(), job))
        .register_with(two(), move |_, job| handlers::release_freshness(freshness.clone(), job))
        .register_with(one(), move |_, job| handlers::release_freshness_of_all(all.clone(), job))
        .register_with(readings, move |_, job| handlers::follow_readings(weather.clone(), job))
        .register_with(recalls, move |_, job| handlers::follow_recall(recall.clone(), job))
        .register_with(nonconformances, move |_, job| {
            handlers::follow_nonconformance(nonconformance.clone(), job)
        })
        .register_with(two(), move |_, job| handlers::post_consumption(consumption.clone(), job))
        .register_with(one(), move |_, job| {
            handlers::post_consumption_of_all(consumption_of_all.clone(), job)
        })
        .register_with(two(), move |_, job| handlers::stock_check(stock.clone(), job))
        .register_with(one(), move |_, job| {
            handlers::stock_check_of_each(stock_of_each.clone(), job)
        })
        .register_with(two(), move |_, job| handlers::ambient_check(ambient.clone(), job))
        .register_with(one(), move |_, job| {
            handlers::ambient_check_of_all(ambient_of_all.clone(), job)
        })
        .register_with(two(), move |_, job| handlers::primer_clock(clock.clone(), job))
        .register_with(one(), move |_, job| {
            handlers::primer_clock_of_all(clock_of_all.clone(), job)
        })
        .register_with(exports, move |_, job| handlers::run_export(export.clone(), job))
        .register_with(two(), move |_, job| handlers::seal(seal.clone(), job))
        .register_with(one(), move |_, job| handlers::seal_of_each(seal_of_each.clone(), job))
        .register_with(one(), move |_, job| handlers::repair_rate(rate.clone(), job))
        .register_with(one(), move |_, job| {
            handlers::repair_rate_of_each(rate_of_each.clone(), job)
        })
        .register_with(one(), move |_, job| handlers::upkeep(upkeep.clone(), job))
        .register_with(QueueOptions::default(), move |_, job| {
            handlers::deliver_webhook(webhook.clone(), job)
        })
        .register_with(one(), move |_, job| handlers::send_mail(mail.clone(), job))
        .register_with(one(), move |_, job| handlers::digest_of_all(digest.clone(), job));
    Ok(schedules::all()?.into_iter().fold(runner, RunnerBuilder::cron))
}

/// The machine, for the names of the workers; they are unique without it.
fn host() -> String {
    let name = std::fs::read_to_string("/proc/sys/kernel/hostname").unwrap_or_default();
    let name = name.trim();
    if name.is_empty() { "host".to_owned() } else { name.to_owned() }
}
