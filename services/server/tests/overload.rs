//! Too much at once: slow senders, streams that nobody reads, uploads that never end, and ten times
//! the load. Whoever can be served is served as
//! usual, whoever cannot is told so at once, and afterwards everything is as before.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

use std::{
    path::Path,
    time::{Duration, Instant},
};

use domain::access::Role;
use futures_util::future::{join_all, select_all};
use harness::{
    Line,
    fact::damage_found,
    http::{Connection, get, post},
    server::Server,
};
use rustix::process::{Resource, Rlimit, getrlimit, setrlimit};

const SLOW_SENDERS: usize = 200;

/// Of the 512 requests that are served at once, all but a few.
const SENDERS_OF_NEARLY_ALL: usize = 500;

/// Streams that are opened and never read.
const UNREAD: usize = 500;

/// Streams that one user may have open.
const STREAMS_OF_ONE: usize = 10;

/// Files that one user may have on their way in.
const UPLOADS_OF_ONE: usize = 4;

/// Measurements with slow senders and as many without, in turn.
const ROUNDS: usize = 5;

const REQUESTS_IN_A_ROUND: usize = 200;

/// Every so many requests of somebody else, each slow sender sends a byte.
const REQUESTS_PER_BYTE: usize = 10;

const BURST: usize = 2_000;

/// How often each of the burst asks.
const ASKED_IN_A_BURST: usize = 3;

/// A client that has waited so long has given up.
const GIVEN_UP_AFTER: Duration = Duration::from_secs(20);

/// How soon after a burst everything is as before.
const RECOVERED_WITHIN: Duration = Duration::from_secs(5);

/// What two measurements of the same may differ by on a machine that does other things.
const NOISE: Duration = Duration::from_millis(5);

struct Site {
    line: Line,
    server: Server,
    token: String,
}

impl Site {
    async fn new() -> Self {
        let line = Line::with_ready_joint().await;
        let program = Path::new(env!("CARGO_BIN_EXE_jointward"));
        let server = Server::start(program, &line.app.database.url).await;
        let token = server.token(&line.inspector.email).await;
        Self { line, server, token }
    }

    async fn connection(&self) -> Connection {
        Connection::open(&self.server.address).await.unwrap()
    }

    /// Reads a joint again and again; 99 of 100 answers came within the time that is returned.
    async fn p99(&self, requests: usize, mut between: impl AsyncFnMut(usize)) -> Duration {
        let mut connection = self.connection().await;
        let request = get(&self.line.inspector.path("/joints/J-1"), &self.token);
        let mut took = Vec::with_capacity(requests);
        for number in 0..requests {
            between(number).await;
            let sent = Instant::now();
            assert_eq!(connection.ask(&request).await.unwrap(), 200);
            took.push(sent.elapsed());
        }
        took.sort_unstable();
        took[requests * 99 / 100]
    }
}

/// Somebody who sends a request byte by byte: its head, or its body.
struct SlowSender {
    connection: Connection,
    request: Vec<u8>,
    sent: usize,
}

impl SlowSender {
    async fn new(site: &Site, in_the_body: bool) -> Self {
        let path = site.line.inspector.path("/joints/J-1/events");
        let (token, padding) = (&site.token, "x".repeat(4000));
        let head = format!(
            "POST {path} HTTP/1.1\r\nhost: test\r\nauthorization: Bearer {token}\r\n\
             content-type: application/json\r\ncontent-length: 4000\r\n"
        );
        let (at_once, request) = if in_the_body {
            (format!("{head}\r\n"), padding)
        } else {
            (head, format!("x-slow: {padding}"))
        };
        let mut connection = site.connection().await;
        connection.send(at_once.as_bytes()).await.unwrap();
        Self { connection, request: request.into_bytes(), sent: 0 }
    }

    /// Sends the next byte; false if the server has hung up.
    async fn sends(&mut self) -> bool {
        let byte = self.request[self.sent % self.request.len()];
        self.sent += 1;
        self.connection.send(&[byte]).await.is_ok()
    }
}

/// Somebody who follows the changes of the project and reads none of them.
async fn unread_stream(site: &Site, token: &str) -> Connection {
    let path = site.line.inspector.path("/stream");
    let mut connection = site.connection().await;
    connection.send(&get(&path, token)).await.unwrap();
    connection
}

/// Whether what was sent on `connection` is answered by a stream.
async fn streams(connection: &mut Connection) -> bool {
    let head = connection.next_bytes().await.unwrap();
    head.starts_with(b"HTTP/1.1 200")
}

fn median(mut times: Vec<Duration>) -> Duration {
    times.sort_unstable();
    times[times.len() / 2]
}

#[actix_web::test]
async fn slow_senders_slow_nobody_else_down() {
    let (without, with) = beside_slow_senders(SLOW_SENDERS).await;
    println!("p99 {without:?} without {SLOW_SENDERS} slow senders, {with:?} with them");
    assert!(with < without * 2 + NOISE, "{with:?} with slow senders, {without:?} without");
}

#[actix_web::test]
async fn slow_senders_who_hold_nearly_every_place_slow_nobody_else_down() {
    let (without, with) = beside_slow_senders(SENDERS_OF_NEARLY_ALL).await;
    println!("p99 {without:?} without {SENDERS_OF_NEARLY_ALL} slow senders, {with:?} with them");
    assert!(with < without * 2 + NOISE, "{with:?} with slow senders, {without:?} without");
}

/// Within which time 99 of 100 are answered: without so many slow senders, and with them.
async fn beside_slow_senders(senders: usize) -> (Duration, Duration) {
    allow_many_connections();
    let site = Site::new().await;
    // The first requests prepare statements and fill caches.
    site.p99(REQUESTS_IN_A_ROUND, async |_| {}).await;
    let (mut without, mut with) = (Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        without.push(site.p99(REQUESTS_IN_A_ROUND, async |_| {}).await);
        let mut slow = Vec::new();
        for number in 0..senders {
            slow.push(SlowSender::new(&site, number % 2 == 0).await);
        }
        let slowly = async |number: usize| {
            if !number.is_multiple_of(REQUESTS_PER_BYTE) {
                return;
            }
            for (place, sender) in slow.iter_mut().enumerate() {
                if !sender.sends().await {
                    *sender = SlowSender::new(&site, place % 2 == 0).await;
                }
            }
        };
        with.push(site.p99(REQUESTS_IN_A_ROUND, slowly).await);
    }
    (median(without), median(with))
}

#[actix_web::test]
async fn streams_that_nobody_reads_slow_nobody_else_down() {
    allow_many_connections();
    let site = Site::new().await;
    let mut tokens = Vec::new();
    for number in 0..UNREAD / STREAMS_OF_ONE {
        let follower =
            site.line.joins(&format!("follower-{number}"), Role::ClientRepresentative).await;
        tokens.push(site.server.token(&follower.email).await);
    }
    site.p99(REQUESTS_IN_A_ROUND, async |_| {}).await;
    // Every recorded fact is told to all of them.
    let mut number = 0;
    let mut record = async |site: &Site| {
        number += 1;
        let fact = damage_found(number).0;
        let path = site.line.inspector.path("/joints/J-1/events");
        site.server.ask(&post(&path, &site.token, &fact), 201).await;
    };
    let (mut without, mut with) = (Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        record(&site).await;
        without.push(site.p99(REQUESTS_IN_A_ROUND, async |_| {}).await);
    }
    // Opened once: the places of those that are hung up come free only when the server notices.
    let mut unread = Vec::new();
    for number in 0..UNREAD {
        unread.push(unread_stream(&site, &tokens[number / STREAMS_OF_ONE]).await);
    }
    // The head of the last one's answer: by then all of them are followed.
    let last = unread.last_mut().unwrap();
    assert!(streams(last).await);
    for _ in 0..ROUNDS {
        record(&site).await;
        with.push(site.p99(REQUESTS_IN_A_ROUND, async |_| {}).await);
    }
    let (without, with) = (median(without), median(with));
    println!("p99 {without:?} without {UNREAD} unread streams, {with:?} with them");
    assert!(with < without * 2 + NOISE, "{with:?} with unread streams, {without:?} without");
}

#[actix_web::test]
async fn one_user_holds_no_more_than_a_share_of_the_places_for_files() {
    let site = Site::new().await;
    let coordinator = &site.line.coordinator;
    let head = |token: &str| {
        let path = coordinator.path("/imports?kind=joint_register&validate_only=true");
        format!(
            "POST {path} HTTP/1.1\r\nhost: test\r\nauthorization: Bearer {token}\r\n\
             content-type: text/csv\r\ncontent-length: 4000\r\n\r\n"
        )
    };
    let token = site.server.token(&coordinator.email).await;
    let mut dripping = Vec::new();
    for _ in 0..=UPLOADS_OF_ONE {
        let mut connection = site.connection().await;
        connection.send(head(&token).as_bytes()).await.unwrap();
        connection.send(b"joint_number").await.unwrap();
        dripping.push(connection);
    }
    // None of them is whole, so whoever is answered first was refused.
    let waiting = dripping.iter_mut().map(|it| Box::pin(it.next_bytes()));
    let (answered, ..) = select_all(waiting).await;
    let told = String::from_utf8_lossy(answered.unwrap()).into_owned();
    assert!(told.starts_with("HTTP/1.1 409") && told.contains("TOO_MANY_UPLOADS"), "{told}");
    let other = site.line.joins("second-coordinator", Role::SiteCoordinator).await;
    let token = site.server.token(&other.email).await;
    let whole = [head(&token), "x".repeat(4000)].concat();
    assert_eq!(site.connection().await.ask(whole.as_bytes()).await.unwrap(), 202);
}

/// What one client of a burst met.
#[derive(Default)]
struct Met {
    served: usize,
    told_to_come_again: usize,
}

async fn one_of_the_burst(site: &Site, request: &[u8]) -> Met {
    let mut met = Met::default();
    let mut connection = site.connection().await;
    for _ in 0..ASKED_IN_A_BURST {
        let asked = tokio::time::timeout(GIVEN_UP_AFTER, connection.ask(request)).await;
        match asked.unwrap().unwrap() {
            200 => met.served += 1,
            503 => {
                let wait = connection.header("retry-after").unwrap();
                assert!(wait.parse::<u32>().unwrap() >= 1, "{wait}");
                met.told_to_come_again += 1;
            }
            other => panic!("{other}: {}", String::from_utf8_lossy(connection.body())),
        }
    }
    met
}

/// This process and its children may hold the connections of a burst open.
fn allow_many_connections() {
    let allowed = getrlimit(Resource::Nofile);
    setrlimit(Resource::Nofile, Rlimit { current: allowed.maximum, ..allowed }).unwrap();
}

#[actix_web::test]
async fn a_burst_is_told_to_come_again_and_leaves_nothing_behind() {
    allow_many_connections();
    let site = Site::new().await;
    site.p99(REQUESTS_IN_A_ROUND, async |_| {}).await;
    let before = site.p99(REQUESTS_IN_A_ROUND, async |_| {}).await;
    site.server.forget_most_memory();
    let (memory_before_mb, _) = site.server.memory_mb();

    let request = get(&site.line.inspector.path("/joints/J-1"), &site.token);
    let begun = Instant::now();
    let met = join_all((0..BURST).map(|_| one_of_the_burst(&site, &request))).await;
    let took = begun.elapsed();
    let ended = Instant::now();

    let served: usize = met.iter().map(|it| it.served).sum();
    let told: usize = met.iter().map(|it| it.told_to_come_again).sum();
    let (_, most_mb) = site.server.memory_mb();
    println!("{served} served and {told} told to come again in {took:?}");
    println!("memory {memory_before_mb:.0} MB before, at most {most_mb:.0} MB in the burst");
    assert_eq!(served + told, BURST * ASKED_IN_A_BURST);
    assert!(served > 0 && told > 0, "{served} served, {told} told to come again");
    assert!(most_mb <= memory_before_mb * 2.0, "{most_mb} MB after {memory_before_mb} MB");

    loop {
        let after = site.p99(REQUESTS_IN_A_ROUND / 4, async |_| {}).await;
        if after < before * 2 + NOISE {
            println!("p99 {before:?} before, {after:?} {:?} after the burst", ended.elapsed());
            break;
        }
        let since = ended.elapsed();
        assert!(since < RECOVERED_WITHIN, "p99 {after:?} {since:?} after, {before:?} before");
    }
}
