//! What arrives, and what is never sent.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

use std::{
    net::{IpAddr, SocketAddr},
    sync::{
        Arc,
        atomic::{AtomicUsize, Ordering},
    },
};

use futures_util::FutureExt;
use tokio::{
    io::{AsyncReadExt, AsyncWriteExt},
    net::TcpListener,
};
use webhooks::{Message, Reach, Resolver, Secret, SendError, Sender, Target, sign};

/// Answers the first request with `answer` and returns what was asked.
async fn listener(answer: &'static str) -> (SocketAddr, tokio::task::JoinHandle<String>) {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let asked = tokio::spawn(async move {
        let (mut stream, _) = listener.accept().await.unwrap();
        let mut asked = Vec::new();
        while !asked.ends_with(b"}") {
            let mut part = [0; 4096];
            let read = stream.read(&mut part).await.unwrap();
            assert!(read > 0, "the request ends too early");
            asked.extend_from_slice(&part[..read]);
        }
        stream.write_all(answer.as_bytes()).await.unwrap();
        String::from_utf8(asked).unwrap()
    });
    (address, asked)
}

fn message(secret: &Secret) -> Message {
    let body = br#"{"type":"joint.changed"}"#.to_vec();
    let timestamp_s = i64::try_from(
        std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).unwrap().as_secs(),
    )
    .unwrap();
    let signature = sign(std::slice::from_ref(secret), "msg_1", timestamp_s, &body);
    Message { id: "msg_1".to_owned(), timestamp_s, signature, body }
}

#[tokio::test]
async fn the_reference_library_accepts_what_arrives() {
    let (address, asked) = listener("HTTP/1.1 204 No Content\r\n\r\n").await;
    let secret = Secret::generate().unwrap();
    let sender = Sender::new(Reach::Anywhere);
    let target = Target::parse(&format!("http://{address}/in?x=1"), Reach::Anywhere).unwrap();
    assert_eq!(sender.send(&target, message(&secret)).await.unwrap(), 204);

    let asked = asked.await.unwrap();
    let (head, body) = asked.split_once("\r\n\r\n").unwrap();
    let mut lines = head.lines();
    assert_eq!(lines.next(), Some("POST /in?x=1 HTTP/1.1"));
    let mut headers = hyper::HeaderMap::new();
    for line in lines {
        let (name, value) = line.split_once(": ").unwrap();
        let name: hyper::header::HeaderName = name.parse().unwrap();
        headers.insert(name, value.parse().unwrap());
    }
    assert_eq!(headers["host"], address.to_string());
    // The library of those who wrote the specification.
    let reference = standardwebhooks::Webhook::new(&secret.reveal()).unwrap();
    reference.verify(body.as_bytes(), &headers).unwrap();
    assert!(reference.verify(format!("{body} ").as_bytes(), &headers).is_err());
    let other = standardwebhooks::Webhook::new(&Secret::generate().unwrap().reveal()).unwrap();
    assert!(other.verify(body.as_bytes(), &headers).is_err());
}

#[tokio::test]
async fn while_a_secret_is_replaced_either_verifies() {
    let (old, new) = (Secret::generate().unwrap(), Secret::generate().unwrap());
    let mut message = message(&new);
    message.signature =
        sign(&[new.clone(), old.clone()], "msg_1", message.timestamp_s, &message.body);
    let mut headers = hyper::HeaderMap::new();
    headers.insert("webhook-id", "msg_1".parse().unwrap());
    headers.insert("webhook-timestamp", message.timestamp_s.into());
    headers.insert("webhook-signature", message.signature.parse().unwrap());
    for secret in [old, new] {
        let reference = standardwebhooks::Webhook::new(&secret.reveal()).unwrap();
        reference.verify(&message.body, &headers).unwrap();
    }
}

#[tokio::test]
async fn a_redirect_is_an_answer_and_not_a_way() {
    let (inner, never) = listener("HTTP/1.1 200 OK\r\n\r\n").await;
    let answer: &'static str = Box::leak(
        format!("HTTP/1.1 307 Temporary Redirect\r\nlocation: http://{inner}/\r\n\r\n")
            .into_boxed_str(),
    );
    let (address, _) = listener(answer).await;
    let sender = Sender::new(Reach::Anywhere);
    let target = Target::parse(&format!("http://{address}/"), Reach::Anywhere).unwrap();
    let status = sender.send(&target, message(&Secret::generate().unwrap())).await.unwrap();
    assert_eq!(status, 307);
    assert!(!never.is_finished(), "nobody asked there");
}

fn resolver(answers: &'static [&'static str]) -> (Resolver, Arc<AtomicUsize>) {
    let asked = Arc::new(AtomicUsize::new(0));
    let count = Arc::clone(&asked);
    let resolver: Resolver = Arc::new(move |_, port| {
        count.fetch_add(1, Ordering::SeqCst);
        let found =
            answers.iter().map(|it| SocketAddr::new(it.parse::<IpAddr>().unwrap(), port)).collect();
        async move { Ok(found) }.boxed()
    });
    (resolver, asked)
}

#[tokio::test]
async fn a_name_that_stands_for_an_inner_address_is_refused() {
    let inner: [&'static [&'static str]; 5] = [
        &["127.0.0.1"],
        &["169.254.169.254"],
        &["::ffff:10.0.0.1"],
        &["fd00::1"],
        &["1.1.1.1", "192.168.0.1"],
    ];
    for answers in inner {
        let (resolver, _) = resolver(answers);
        let sender = Sender::with_resolver(Reach::Public, resolver);
        let target = Target::parse("https://hooks.example.org/", Reach::Public).unwrap();
        let refused = sender.send(&target, message(&Secret::generate().unwrap())).await;
        assert!(matches!(refused, Err(SendError::NotPublic { .. })), "{answers:?}: {refused:?}");
    }
    let (resolver, _) = resolver(&[]);
    let sender = Sender::with_resolver(Reach::Public, resolver);
    let target = Target::parse("https://hooks.example.org/", Reach::Public).unwrap();
    let refused = sender.send(&target, message(&Secret::generate().unwrap())).await;
    assert!(matches!(refused, Err(SendError::UnknownName(_))));
}

/// A name that stands for a public address when it is looked at and for an inner one a moment later:
/// it is asked for once, and the connection goes to what was looked at.
#[tokio::test]
async fn a_name_is_asked_for_once() {
    let (address, asked) = listener("HTTP/1.1 200 OK\r\n\r\n").await;
    let (resolver, count) = resolver(&["127.0.0.1"]);
    let sender = Sender::with_resolver(Reach::Anywhere, resolver);
    let target = format!("http://hooks.example.org:{}/", address.port());
    let target = Target::parse(&target, Reach::Anywhere).unwrap();
    assert_eq!(sender.send(&target, message(&Secret::generate().unwrap())).await.unwrap(), 200);
    assert_eq!(count.load(Ordering::SeqCst), 1);
    assert!(asked.await.unwrap().contains("host: hooks.example.org:"));
}

#[tokio::test(start_paused = true)]
async fn who_does_not_answer_is_given_up() {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let sender = Sender::new(Reach::Anywhere);
    let target = Target::parse(&format!("http://{address}/"), Reach::Anywhere).unwrap();
    let refused = sender.send(&target, message(&Secret::generate().unwrap())).await;
    assert!(matches!(refused, Err(SendError::TimedOut)), "{refused:?}");
    drop(listener);
}
