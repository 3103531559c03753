//! What changes, as it changes: server-sent events.

use std::{net::SocketAddr, time::Duration};

use actix_web::{http::Method, test::TestRequest};
use harness::{
    EventStream, Line, Person,
    fact::{damage_found, welded},
};
use tokio::{
    io::{AsyncReadExt, AsyncWriteExt},
    net::TcpStream,
    time::timeout,
};

async fn head(person: &Person) -> i64 {
    person.gets("/changes").await.expect(200)["head"].as_i64().unwrap()
}

#[actix_web::test]
async fn a_change_comes_as_it_happens() {
    let line = Line::with_joints(1).await;
    let mut stream = line.client.follows(None).await;
    assert_eq!(stream.status, 200);
    let header = |name: &str| stream.headers.get(name).unwrap().to_str().unwrap().to_owned();
    assert_eq!(header("content-type"), "text/event-stream");
    assert_eq!(header("cache-control"), "no-cache");
    assert_eq!(header("x-accel-buffering"), "no");
    let before = head(&line.client).await;
    let greeting = stream.next_of_any_kind().await.unwrap();
    assert_eq!((greeting.name.as_str(), greeting.id), ("heartbeat", before));

    line.crew.records("J-1", &welded(0)).await.expect(201);

    let event = stream.next().await.unwrap();
    assert_eq!((event.id, event.name.as_str()), (before + 1, "joint.changed"));
    let page = line.client.gets(&format!("/changes?after={before}")).await.expect(200);
    assert_eq!(event.data, page["items"][0], "the same object as in the list");
}

#[actix_web::test]
async fn nobody_compresses_a_stream() {
    let line = Line::with_joints(1).await;
    let request = TestRequest::with_uri(&line.client.path("/stream"))
        .insert_header(("authorization", format!("Bearer {}", line.client.token().await)))
        .insert_header(("accept-encoding", "gzip"));
    let mut stream = line.app.open(request).await;
    let greeting = stream.next_of_any_kind().await.unwrap();
    assert_eq!(greeting.name, "heartbeat", "readable as it is");
}

#[actix_web::test]
async fn after_a_cut_every_change_comes_exactly_once() {
    let line = Line::with_joints(30).await;
    let start = head(&line.client).await;
    let mut seen = Vec::new();
    let mut last = start;
    for round in 0..3 {
        let mut stream = line.client.follows(Some(last)).await;
        for joint in round * 10 + 1..=round * 10 + 10 {
            line.crew.records(&format!("J-{joint}"), &welded(0)).await.expect(201);
        }
        // Cut in the middle: what is under way is lost with the connection.
        for event in stream.take(7).await {
            last = event.id;
            seen.push(event.id);
        }
    }
    let mut stream = line.client.follows(Some(last)).await;
    seen.extend(stream.take(9).await.iter().map(|event| event.id));
    assert_eq!(seen, (start + 1..=start + 30).collect::<Vec<_>>());
}

#[actix_web::test]
async fn a_client_far_behind_reads_everything_in_order() {
    let line = Line::with_joints(1).await;
    let mut tx = line.app.app.begin_in(line.project).await.unwrap();
    for number in 0..1500 {
        let subject = number.to_string();
        let of = ("test.written", subject.as_str());
        let body = serde_json::json!({});
        store::feed::note(&mut tx, line.project, of, &body, line.app.now()).await.unwrap();
    }
    line.app.app.commit(tx).await.unwrap();
    let last = head(&line.client).await;
    let mut stream = line.client.follows(Some(0)).await;
    let events = stream.take(usize::try_from(last).unwrap()).await;
    let ids: Vec<i64> = events.iter().map(|it| it.id).collect();
    assert_eq!(ids, (1..=last).collect::<Vec<_>>());
}

#[actix_web::test]
async fn what_is_no_longer_kept_is_a_reset() {
    let line = Line::with_joints(1).await;
    line.waits(chrono::TimeDelta::days(31));
    app::upkeep::clean(&line.app.worker).await.unwrap();
    let now = head(&line.client).await;
    for last in [0, now + 5] {
        let mut stream = line.client.follows(Some(last)).await;
        let event = stream.next().await.unwrap();
        assert_eq!((event.name.as_str(), event.id), ("reset", now));
        assert_eq!(event.data["oldest"], now + 1);
    }
    let mut stream = line.client.follows(Some(0)).await;
    stream.next().await.unwrap();
    line.crew.records("J-1", &welded(0)).await.expect(201);
    assert_eq!(stream.next().await.unwrap().id, now + 1, "it goes on from there");
}

#[actix_web::test]
async fn the_parameter_does_where_the_header_cannot_be_sent() {
    let line = Line::with_joints(1).await;
    let before = head(&line.client).await;
    line.crew.records("J-1", &welded(0)).await.expect(201);
    let path = line.client.path(&format!("/stream?last_event_id={before}"));
    let bearer = format!("Bearer {}", line.client.token().await);
    let request = TestRequest::with_uri(&path).insert_header(("authorization", bearer.clone()));
    assert_eq!(line.app.open(request).await.next().await.unwrap().id, before + 1);
    let request = TestRequest::with_uri(&line.client.path("/stream"))
        .insert_header(("authorization", bearer))
        .insert_header(("last-event-id", "yesterday"));
    line.app.call(request).await.problem(400, "INVALID_PARAMETER");
}

#[actix_web::test]
async fn a_stranger_is_not_told_that_there_is_a_stream() {
    let line = Line::with_joints(1).await;
    line.stranger.gets("/stream").await.problem(404, "NOT_FOUND");
}

async fn ends(mut stream: EventStream) {
    assert_eq!(stream.next().await, None);
}

#[actix_web::test]
async fn a_member_who_is_removed_loses_the_stream() {
    let line = Line::with_joints(1).await;
    let (stream, others) = (line.crew.follows(None).await, line.client.follows(None).await);
    let path = line.admin.path(&format!("/members/{}", line.crew.user));
    let request = TestRequest::with_uri(&path)
        .method(Method::DELETE)
        .insert_header(("authorization", format!("Bearer {}", line.admin.token().await)))
        .insert_header(("if-match", "\"v1\""));
    assert_eq!(line.app.call(request).await.status, 204);
    ends(stream).await;
    let mut others = others;
    line.inspector.records("J-1", &damage_found(0)).await.expect(201);
    assert_eq!(others.next().await.unwrap().name, "joint.changed");
}

#[actix_web::test]
async fn whoever_signs_out_loses_the_stream() {
    let line = Line::with_joints(1).await;
    let stream = line.crew.follows(None).await;
    let session = line.crew.actor().await.session;
    let path = format!("/v1/sessions/{session}");
    line.crew.asks(Method::DELETE, &path, None).await;
    ends(stream).await;
}

#[actix_web::test]
async fn a_server_that_stops_ends_its_streams() {
    let line = Line::with_joints(1).await;
    let stream = line.crew.follows(None).await;
    line.app.app.hub.close();
    ends(stream).await;
}

#[actix_web::test]
async fn one_person_has_ten_streams_and_no_more() {
    let line = Line::with_joints(1).await;
    let mut streams = Vec::new();
    for _ in 0..10 {
        streams.push(line.crew.follows(None).await);
    }
    let refused = line.crew.gets("/stream").await;
    assert!(!refused.header("retry-after").is_empty());
    refused.problem(429, "TOO_MANY_STREAMS");
    assert_eq!(line.client.follows(None).await.status, 200);
    streams.pop();
    assert_eq!(line.crew.follows(None).await.status, 200);
    drop(streams);
    assert_eq!(line.app.app.hub.followers(), 0);
}

#[actix_web::test]
async fn streams_hold_no_connection_of_the_database() {
    let line = Line::with_joints(1).await;
    let mut streams = Vec::new();
    // Twice as many as there are connections.
    for person in [&line.crew, &line.client] {
        for _ in 0..10 {
            streams.push(person.follows(None).await);
        }
    }
    line.crew.records("J-1", &welded(0)).await.expect(201);
    for stream in &mut streams {
        assert_eq!(stream.next().await.unwrap().name, "joint.changed");
    }
}

/// Far longer than it takes, far shorter than requests under way are waited for.
const SOON: Duration = Duration::from_secs(15);

/// A client on a socket that has read the greeting.
async fn connects(line: &Line, address: SocketAddr) -> TcpStream {
    let mut client = TcpStream::connect(address).await.unwrap();
    let (path, token) = (line.client.path("/stream"), line.client.token().await);
    let request =
        format!("GET {path} HTTP/1.1\r\nhost: {address}\r\nauthorization: Bearer {token}\r\n\r\n");
    client.write_all(request.as_bytes()).await.unwrap();
    let mut read = String::new();
    while !read.contains("event: heartbeat") {
        let mut part = [0; 1024];
        let length = timeout(SOON, client.read(&mut part)).await.unwrap().unwrap();
        assert!(length > 0, "{read}");
        read.push_str(std::str::from_utf8(&part[..length]).unwrap());
    }
    client
}

#[actix_web::test]
async fn on_a_socket_a_client_that_hangs_up_is_forgotten_and_a_server_that_stops_waits_for_none() {
    let line = Line::with_joints(1).await;
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let address = listener.local_addr().unwrap();
    let (stop, stopped) = tokio::sync::oneshot::channel::<()>();
    let (app, settings) = (line.app.app.clone(), api::Settings::default());
    let serving = actix_web::rt::spawn(api::serve(app, listener, 1, settings, async {
        stopped.await.unwrap();
    }));
    let hangs_up = connects(&line, address).await;
    let mut stays = connects(&line, address).await;
    assert_eq!(line.app.app.hub.followers(), 2);

    drop(hangs_up);
    let forgotten = async {
        while line.app.app.hub.followers() > 1 {
            tokio::task::yield_now().await;
        }
    };
    timeout(SOON, forgotten).await.unwrap();

    stop.send(()).unwrap();
    let mut rest = Vec::new();
    timeout(SOON, stays.read_to_end(&mut rest)).await.unwrap().unwrap();
    assert!(rest.ends_with(b"0\r\n\r\n"), "ended in order: {:?}", String::from_utf8_lossy(&rest));
    timeout(SOON, serving).await.unwrap().unwrap().unwrap();
}
