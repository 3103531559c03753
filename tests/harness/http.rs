//! A client that keeps its connection open, for a server that is a process of its own.

use std::io;

use serde_json::Value;
use tokio::{
    io::{AsyncReadExt, AsyncWriteExt},
    net::TcpStream,
};

/// A connection that is kept open.
#[derive(Debug)]
pub struct Connection {
    stream: TcpStream,
    received: Vec<u8>,
    body: (usize, usize),
}

impl Connection {
    /// Connects.
    pub async fn open(address: &str) -> io::Result<Self> {
        let stream = TcpStream::connect(address).await?;
        stream.set_nodelay(true)?;
        Ok(Self { stream, received: Vec::new(), body: (0, 0) })
    }

    /// Sends a part of a request.
    pub async fn send(&mut self, part: &[u8]) -> io::Result<()> {
        self.stream.write_all(part).await
    }

    /// Sends a whole request and reads the whole answer; returns its status.
    pub async fn ask(&mut self, request: &[u8]) -> io::Result<u16> {
        self.send(request).await?;
        self.received.clear();
        loop {
            self.received.reserve(16 * 1024);
            if self.stream.read_buf(&mut self.received).await? == 0 {
                return Err(io::ErrorKind::UnexpectedEof.into());
            }
            if let Some((status, begin, length)) = head(&self.received)?
                && self.received.len() >= begin + length
            {
                self.body = (begin, begin + length);
                return Ok(status);
            }
        }
    }

    /// Waits for the next bytes of an answer that has no end, such as a stream's.
    pub async fn next_bytes(&mut self) -> io::Result<&[u8]> {
        self.received.clear();
        self.received.reserve(16 * 1024);
        self.stream.read_buf(&mut self.received).await?;
        Ok(&self.received)
    }

    /// A header of the last answer.
    pub fn header(&self, name: &str) -> Option<&str> {
        let head = std::str::from_utf8(&self.received[..self.body.0]).ok()?;
        header_in(head, name)
    }

    /// The body of the last answer.
    pub fn body(&self) -> &[u8] {
        &self.received[self.body.0..self.body.1]
    }
}

/// The status, where the body begins and how long it is, once the head is there.
fn head(received: &[u8]) -> io::Result<Option<(u16, usize, usize)>> {
    let Some(end) = received.windows(4).position(|it| it == b"\r\n\r\n") else { return Ok(None) };
    let wrong = |what| io::Error::new(io::ErrorKind::InvalidData, what);
    let head = std::str::from_utf8(&received[..end]).map_err(|_| wrong("no text in the head"))?;
    let status = head.split(' ').nth(1).and_then(|it| it.parse().ok());
    let length = header_in(head, "content-length").and_then(|it| it.parse().ok());
    let status = status.ok_or_else(|| wrong("no status"))?;
    Ok(Some((status, end + 4, length.ok_or_else(|| wrong("an answer without its length"))?)))
}

fn header_in<'a>(head: &'a str, name: &str) -> Option<&'a str> {
    head.lines().find_map(|line| {
        let (key, value) = line.split_once(':')?;
        key.eq_ignore_ascii_case(name).then(|| value.trim())
    })
}

/// A GET.
pub fn get(path: &str, token: &str) -> Vec<u8> {
    format!("GET {path} HTTP/1.1\r\nhost: test\r\nauthorization: Bearer {token}\r\n\r\n")
        .into_bytes()
}

/// A POST of JSON.
pub fn post(path: &str, token: &str, body: &Value) -> Vec<u8> {
    let body = body.to_string();
    let length = body.len();
    format!(
        "POST {path} HTTP/1.1\r\nhost: test\r\nauthorization: Bearer {token}\r\n\
         content-type: application/json\r\ncontent-length: {length}\r\n\r\n{body}"
    )
    .into_bytes()
}
