//! The HTTP application and the server that runs it.

use std::{any::Any, future::Future, net::TcpListener, time::Duration};

use actix_web::{
    App, Error, HttpServer,
    body::MessageBody,
    dev::{ServiceFactory, ServiceRequest, ServiceResponse},
    middleware::{Compress, from_fn},
    rt::net::TcpStream,
    web,
};
use rustix::net::sockopt;
use tracing_actix_web::TracingLogger;
use utoipa_actix_web::AppExt;

use crate::{Settings, conditional, docs, edge, idempotency, load, metrics, routes};

/// Seconds that requests under way have when the server stops.
const LAST_REQUESTS_S: u64 = 30;

/// How long the head of a request may take to arrive: no socket is held by one who writes a
/// letter a minute.
const HEAD_WITHIN: Duration = Duration::from_secs(5);

/// How long an idle connection is kept; longer than usual proxies keep theirs.
const KEPT_OPEN: Duration = Duration::from_secs(75);

/// Open connections of one worker.
const MOST_CONNECTIONS: usize = 8192;

/// How long what was sent to a client may stay unacknowledged before the connection is given up. A
/// machine that was switched off, or one that reads nothing, hangs up on nobody: without this its
/// stream would be held for a quarter of an hour.
const UNACKNOWLEDGED_MS: u32 = 45_000;

/// Every route, and an answer for everything else.
pub fn configure(config: &mut utoipa_actix_web::service_config::ServiceConfig) {
    config.configure(routes::configure).default_service(web::to(edge::unknown));
}

/// The whole HTTP application, for the server and for tests without a socket.
pub fn service(
    app: app::App,
    settings: Settings,
) -> App<
    impl ServiceFactory<
        ServiceRequest,
        Config = (),
        Response = ServiceResponse<impl MessageBody>,
        Error = Error,
        InitError = (),
    >,
> {
    bare().app_data(web::Data::new(app)).configure(move |config| settings.configure(config))
}

fn bare() -> App<
    impl ServiceFactory<
        ServiceRequest,
        Config = (),
        Response = ServiceResponse<impl MessageBody>,
        Error = Error,
        InitError = (),
    >,
> {
    // The last one wrapped is the first one met.
    App::new()
        .service(docs::service())
        .into_utoipa_app()
        .configure(configure)
        .into_app()
        .wrap(from_fn(conditional::tagged))
        .wrap(from_fn(edge::finish))
        .wrap(from_fn(idempotency::keyed))
        .wrap(from_fn(load::shed))
        .wrap(Compress::default())
        .wrap(TracingLogger::<edge::RequestSpan>::new())
}

/// Serves on `listener` until `shutdown` is done, then lets the requests under way finish.
pub async fn serve(
    app: app::App,
    listener: TcpListener,
    workers: usize,
    settings: Settings,
    shutdown: impl Future<Output = ()>,
) -> std::io::Result<()> {
    let (readiness, hub) = (settings.readiness.clone(), app.hub.clone());
    let shutdown = async move {
        shutdown.await;
        readiness.drain();
        // Streams never end by themselves.
        hub.close();
    };
    let server = HttpServer::new(move || service(app.clone(), settings.clone()))
        .workers(workers)
        .on_connect(|connection, _| give_up_the_dead(connection))
        .max_connections(MOST_CONNECTIONS)
        .client_request_timeout(HEAD_WITHIN)
        .client_disconnect_timeout(HEAD_WITHIN)
        .keep_alive(KEPT_OPEN)
        .disable_signals()
        .shutdown_timeout(LAST_REQUESTS_S)
        .listen(listener)?
        .run();
    until(server, shutdown).await
}

fn give_up_the_dead(connection: &dyn Any) {
    let Some(stream) = connection.downcast_ref::<TcpStream>() else { return };
    if let Err(error) = sockopt::set_tcp_user_timeout(stream, UNACKNOWLEDGED_MS) {
        tracing::debug!(%error, "a dead client of this connection will be noticed late");
    }
}

/// Serves what only those who keep the server may ask, on a listener of its own.
pub async fn serve_admin(
    app: app::App,
    listener: TcpListener,
    settings: Settings,
    recorder: metrics::Recorder,
    shutdown: impl Future<Output = ()>,
) -> std::io::Result<()> {
    let server = HttpServer::new(move || {
        App::new()
            .app_data(web::Data::new(app.clone()))
            .app_data(settings.load.clone())
            .app_data(web::Data::new(recorder.clone()))
            .route("/metrics", web::get().to(metrics::show))
    })
    .workers(1)
    .client_request_timeout(HEAD_WITHIN)
    .disable_signals()
    .shutdown_timeout(1)
    .listen(listener)?
    .run();
    until(server, shutdown).await
}

async fn until(
    server: actix_web::dev::Server,
    shutdown: impl Future<Output = ()>,
) -> std::io::Result<()> {
    let handle = server.handle();
    let mut server = std::pin::pin!(server);
    tokio::select! {
        ended = &mut server => return ended,
        () = shutdown => {
            tracing::info!("stopping: no new requests, {LAST_REQUESTS_S} s for the others");
        }
    }
    let ((), ended) = tokio::join!(handle.stop(true), server);
    ended
}

#[cfg(test)]
mod tests {
    use actix_web::{
        http::{Method, StatusCode},
        test::{TestRequest, call_service, init_service, read_body},
    };
    use serde_json::Value;

    use super::*;

    async fn check(method: Method, path: &str, status: u16) -> (ServiceResponse<()>, Value) {
        let service = init_service(bare()).await;
        let request = TestRequest::with_uri(path).method(method).to_request();
        let answer = call_service(&service, request).await;
        assert_eq!(answer.status(), StatusCode::from_u16(status).unwrap());
        let (request, answer) = answer.into_parts();
        let (head, body) = answer.into_parts();
        let body = actix_web::body::to_bytes(body).await.unwrap_or_default();
        let body = serde_json::from_slice(&body).unwrap_or_default();
        (ServiceResponse::new(request, head.set_body(())), body)
    }

    #[actix_web::test]
    async fn a_living_server_says_so() {
        let service = init_service(bare()).await;
        let answer = call_service(&service, TestRequest::with_uri("/livez").to_request()).await;
        assert_eq!(answer.headers().get("x-content-type-options").unwrap(), "nosniff");
        assert_eq!(read_body(answer).await, "ok");
        check(Method::HEAD, "/livez", 200).await;
    }

    #[actix_web::test]
    async fn an_unknown_path_is_a_problem() {
        let (answer, body) = check(Method::GET, "/v1/nothing", 404).await;
        assert_eq!(answer.headers().get("content-type").unwrap(), "application/problem+json");
        assert_eq!(answer.headers().get("cache-control").unwrap(), "no-store");
        assert_eq!(body["code"], "NOT_FOUND");
        assert_eq!(body["instance"], "/v1/nothing");
        assert_eq!(
            answer.headers().get("x-request-id").unwrap(),
            body["request_id"].as_str().unwrap()
        );
    }

    #[actix_web::test]
    async fn a_wrong_method_hears_of_the_right_ones() {
        let (answer, body) = check(Method::DELETE, "/v1/projects/P/sections/S1", 405).await;
        assert_eq!(answer.headers().get("allow").unwrap(), "GET, HEAD, PUT");
        assert_eq!(body["code"], "METHOD_NOT_ALLOWED");
    }

    #[actix_web::test]
    async fn a_bug_is_a_problem_too() {
        let (_, body) = check(Method::POST, "/v1/sessions", 500).await;
        assert_eq!(body["code"], "INTERNAL", "without an application nothing can be answered");
    }
}
