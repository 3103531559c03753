use std::time::Duration;

use actix_web::{
    Error, HttpRequest, HttpResponse, get,
    http::header::{self, ContentEncoding, HeaderName, HeaderValue},
    web::{Bytes, Data},
};
use app::{
    Actor, App, AppError,
    feed::{News, Start, Subscription, TooMany},
};
use chrono::TimeDelta;
use domain::ids::ProjectId;
use futures_util::{Stream, stream};
use serde::Deserialize;
use tokio::time::{Interval, MissedTickBehavior, interval_at, sleep};
use utoipa::{IntoParams, ToSchema};

use super::server_sent::{changes, greeting, heartbeat, reset};
use crate::{
    Problem,
    extract::{Permit, ProjectPath, Query, can},
};

/// Tells proxies to pass on what comes as it comes.
const BUFFERING: HeaderName = HeaderName::from_static("x-accel-buffering");

/// What the HTML standard calls the header by which a client resumes.
const LAST_EVENT_ID: HeaderName = HeaderName::from_static("last-event-id");

/// From where.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct StreamQuery {
    /// The number of the last change that was received, for clients that cannot send the header
    /// `Last-Event-ID`; the header counts where both are sent. Without either, the stream begins
    /// now.
    last_event_id: Option<i64>,
}

/// One event of the stream.
#[derive(ToSchema)]
#[expect(dead_code, reason = "only its schema is used: events are written as text")]
pub struct ServerSentEvent {
    /// Number of the change; send the last one as `Last-Event-ID` to resume.
    id: String,
    /// Topic of the change, or `heartbeat` or `reset`.
    event: String,
    /// JSON.
    data: String,
}

/// Follow what changes in a project: server-sent events.
///
/// `id` is the number of a change, `event` its topic, `data` the same object as in the list of
/// changes. Every 15 seconds comes a comment and an event `heartbeat`. An event `reset` means that
/// what was missed is no longer kept: read a snapshot; the stream goes on from the number in it.
/// The stream ends when its user signs out or leaves the project, and when the server stops: connect
/// again with `Last-Event-ID` and every change comes exactly once.
#[utoipa::path(
    tag = "feed",
    params(
        ProjectPath,
        StreamQuery,
        ("Last-Event-ID" = Option<i64>, Header, description = "Number of the last change received."),
    ),
    responses((status = 200, body = ServerSentEvent, content_type = "text/event-stream")),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/stream")]
pub async fn stream_changes(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    query: Query<StreamQuery>,
    request: HttpRequest,
) -> Result<HttpResponse, Problem> {
    let Permit { actor, project, .. } = permit;
    let last = match request.headers().get(LAST_EVENT_ID) {
        Some(sent) => Some(number(sent)?),
        None => query.0.last_event_id,
    };
    let followed = app::feed::follow(&app, &actor, &project, last).await?;
    let (subscription, start) = followed.map_err(too_many)?;
    let follower = Follower::new(app.get_ref().clone(), actor, project.id, subscription, start);
    Ok(HttpResponse::Ok()
        .content_type("text/event-stream")
        .insert_header((header::CACHE_CONTROL, "no-cache"))
        .insert_header((BUFFERING, "no"))
        // Compressed, it would wait for enough to compress.
        .insert_header(ContentEncoding::Identity)
        .streaming(follower.stream()))
}

fn number(sent: &HeaderValue) -> Result<i64, Problem> {
    let number = sent.to_str().ok().and_then(|it| it.trim().parse().ok());
    let detail = "`Last-Event-ID` must be the `id` of an event of this stream";
    number.ok_or_else(|| Problem::bad_request("INVALID_PARAMETER", detail))
}

fn too_many(which: TooMany) -> Problem {
    match which {
        TooMany::OfUser => Problem::throttled(
            "TOO_MANY_STREAMS",
            "you have as many streams open as one user may: close one",
            TimeDelta::seconds(15),
        ),
        TooMany::OfProcess => Problem::unavailable("too many streams"),
    }
}

/// One who follows, as the body of an answer.
struct Follower {
    app: App,
    actor: Actor,
    project: ProjectId,
    subscription: Subscription,
    first: Option<Bytes>,
    beat: Interval,
    recheck: Interval,
}

impl Follower {
    fn new(
        app: App,
        actor: Actor,
        project: ProjectId,
        subscription: Subscription,
        start: Start,
    ) -> Self {
        let pace = app.hub.pace();
        let first = Some(match start {
            Start::After(position) => greeting(position),
            Start::Reset(kept) => [greeting(kept.head), reset(kept)].concat().into(),
        });
        let (beat, recheck) = (every(pace.heartbeat), every(pace.recheck));
        Self { app, actor, project, subscription, first, beat, recheck }
    }

    fn stream(self) -> impl Stream<Item = Result<Bytes, Error>> {
        stream::unfold(self, |mut follower| async {
            let bytes = follower.next().await?;
            Some((Ok(bytes), follower))
        })
    }

    /// What goes out next; nothing more if the stream ends.
    async fn next(&mut self) -> Option<Bytes> {
        if let Some(first) = self.first.take() {
            return Some(first);
        }
        loop {
            tokio::select! {
                biased;
                _ = self.recheck.tick() => {
                    if !self.may_go_on().await {
                        return None;
                    }
                }
                news = self.subscription.next() => match news {
                    Ok(News::Entries(entries)) => {
                        return Some(changes(entries.iter().map(AsRef::as_ref)));
                    }
                    Ok(News::Reset(kept)) => return Some(reset(kept)),
                    Ok(News::End) => return None,
                    // Weather: the client is kept and hears what it missed when it is over.
                    Err(AppError::Unavailable { .. }) => sleep(self.app.hub.pace().look).await,
                    Err(error) => {
                        tracing::error!(%error, "a stream met a bug and ends: {error}");
                        return None;
                    }
                },
                _ = self.beat.tick() => return Some(heartbeat(self.subscription.position())),
            }
        }
    }

    async fn may_go_on(&self) -> bool {
        match app::feed::may_follow(&self.app, &self.actor, self.project).await {
            Ok(may) => may,
            // Nobody was told that they may not; the next look will tell.
            Err(AppError::Unavailable { .. } | AppError::Contended) => true,
            Err(error) => {
                tracing::error!(%error, "a stream could not be checked and ends: {error}");
                false
            }
        }
    }
}

fn every(pause: Duration) -> Interval {
    let mut interval = interval_at(tokio::time::Instant::now() + pause, pause);
    interval.set_missed_tick_behavior(MissedTickBehavior::Delay);
    interval
}
