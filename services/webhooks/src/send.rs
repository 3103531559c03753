//! Sends one message.

use std::{
    io,
    net::{IpAddr, SocketAddr},
    pin::pin,
    sync::Arc,
    time::Duration,
};

use bytes::Bytes;
use futures_util::{FutureExt, future::BoxFuture};
use http_body_util::Full;
use hyper::{Request, client::conn::http1};
use hyper_util::rt::TokioIo;
use rustls::{ClientConfig, RootCertStore, pki_types::ServerName};
use tokio::{
    io::{AsyncRead, AsyncWrite},
    net::TcpStream,
    time::timeout,
};
use tokio_rustls::TlsConnector;

use crate::{Reach, Target};

/// How long all of it may take, from the look at the name to the status (Standard Webhooks 1.0.0
/// advises 15 to 30 s).
const PATIENCE: Duration = Duration::from_secs(15);

/// Finds the addresses of a name.
pub type Resolver =
    Arc<dyn Fn(String, u16) -> BoxFuture<'static, io::Result<Vec<SocketAddr>>> + Send + Sync>;

/// What is sent.
#[derive(Debug, Clone)]
pub struct Message {
    /// The same however often it is sent, so that the receiver can tell.
    pub id: String,
    /// When it is sent, seconds since 1970.
    pub timestamp_s: i64,
    /// See [`crate::sign`].
    pub signature: String,
    /// JSON.
    pub body: Vec<u8>,
}

/// Why there is no answer.
#[derive(Debug, thiserror::Error)]
pub enum SendError {
    /// The name stands for an address inside, at least among others.
    #[error("{name} stands for {address}, which is no public address")]
    NotPublic {
        /// The name.
        name: String,
        /// The address.
        address: IpAddr,
    },
    /// The name stands for nothing.
    #[error("the name {0} is not known")]
    UnknownName(String),
    /// This machine cannot encrypt.
    #[error("there is no protocol to encrypt with")]
    NoEncryption,
    /// Nobody is there.
    #[error("could not connect")]
    Connect(#[source] io::Error),
    /// The connection is there, but not what was asked.
    #[error("the connection broke")]
    Http(#[from] hyper::Error),
    /// It took too long.
    #[error("no answer within {} s", PATIENCE.as_secs())]
    TimedOut,
    /// The message cannot be put into a request.
    #[error("the message cannot be sent")]
    Unsendable(#[from] hyper::http::Error),
}

/// Sends messages.
#[derive(Clone)]
pub struct Sender {
    reach: Reach,
    resolver: Resolver,
    tls: Option<Arc<ClientConfig>>,
}

impl Sender {
    /// Finds names as this machine does.
    pub fn new(reach: Reach) -> Self {
        let resolver: Resolver = Arc::new(|name, port| {
            async move {
                let found = tokio::net::lookup_host((name, port)).await?;
                Ok(found.collect())
            }
            .boxed()
        });
        Self::with_resolver(reach, resolver)
    }

    /// Finds names by `resolver`.
    pub fn with_resolver(reach: Reach, resolver: Resolver) -> Self {
        let roots: RootCertStore = webpki_roots::TLS_SERVER_ROOTS.iter().cloned().collect();
        let ring = Arc::new(rustls::crypto::ring::default_provider());
        let tls = ClientConfig::builder_with_provider(ring)
            .with_safe_default_protocol_versions()
            .map(|it| it.with_root_certificates(roots).with_no_client_auth());
        // It fails only where the cryptography knows no protocol that is spoken here.
        Self { reach, resolver, tls: tls.ok().map(Arc::new) }
    }

    /// How far messages may go.
    pub fn reach(&self) -> Reach {
        self.reach
    }

    /// Sends `message` and returns the status of the answer; its body is not read.
    pub async fn send(&self, target: &Target, message: Message) -> Result<u16, SendError> {
        timeout(PATIENCE, self.exchange(target, message)).await.unwrap_or(Err(SendError::TimedOut))
    }

    async fn exchange(&self, target: &Target, message: Message) -> Result<u16, SendError> {
        let addresses = self.resolve(target).await?;
        // To one of the very addresses that were looked at: the name is not asked for again.
        let stream = TcpStream::connect(addresses.as_slice()).await.map_err(SendError::Connect)?;
        let request = request(target, message)?;
        if !target.is_encrypted() {
            return post(stream, request).await;
        }
        let name = ServerName::try_from(target.host().to_owned())
            .map_err(|_| SendError::UnknownName(target.host().to_owned()))?;
        let tls = self.tls.clone().ok_or(SendError::NoEncryption)?;
        let connector = TlsConnector::from(tls);
        let stream = connector.connect(name, stream).await.map_err(SendError::Connect)?;
        post(stream, request).await
    }

    async fn resolve(&self, target: &Target) -> Result<Vec<SocketAddr>, SendError> {
        let (name, port) = (target.host().to_owned(), target.port());
        let found = match target.literal() {
            Some(address) => vec![SocketAddr::new(address, port)],
            None => (self.resolver)(name.clone(), port).await.map_err(SendError::Connect)?,
        };
        if found.is_empty() {
            return Err(SendError::UnknownName(name));
        }
        // One inner address among public ones is no accident.
        match found.iter().map(SocketAddr::ip).find(|it| !self.reach.allows(*it)) {
            Some(address) => Err(SendError::NotPublic { name, address }),
            None => Ok(found),
        }
    }
}

fn request(target: &Target, message: Message) -> Result<Request<Full<Bytes>>, SendError> {
    let request = Request::post(target.path())
        .header("host", target.authority())
        .header("content-type", "application/json")
        .header("user-agent", "Jointward-Webhooks/1")
        .header("webhook-id", message.id)
        .header("webhook-timestamp", message.timestamp_s)
        .header("webhook-signature", message.signature)
        .body(Full::new(Bytes::from(message.body)))?;
    Ok(request)
}

async fn post<S>(stream: S, request: Request<Full<Bytes>>) -> Result<u16, SendError>
where
    S: AsyncRead + AsyncWrite + Unpin + Send + 'static,
{
    let (mut sender, connection) = http1::handshake(TokioIo::new(stream)).await?;
    let mut answered = pin!(async {
        let answer = sender.send_request(request).await?;
        Ok(answer.status().as_u16())
    });
    // The connection is worked until there is a status; then it is dropped, whatever else comes.
    tokio::select! {
        biased;
        answered = &mut answered => answered,
        // It may end in the very step that brings the answer; what it brought is known then.
        _ = connection => answered.await,
    }
}
