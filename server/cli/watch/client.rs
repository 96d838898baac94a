//! The service, asked over plain http/1.1: who the key is for, and one log at a time.

use std::fs::File;
use std::io::Read as _;
use std::path::Path;
use std::str::FromStr;
use std::time::Duration;

use anyhow::{Context as _, anyhow};
use futures_util::StreamExt as _;
use http_body_util::combinators::BoxBody;
use http_body_util::{BodyExt as _, Empty, StreamBody};
use hyper::body::{Bytes, Frame};
use hyper::client::conn::http1;
use hyper::header::{ACCEPT, AUTHORIZATION, CONTENT_LENGTH, HOST};
use hyper::{Method, Request, StatusCode};
use hyper_util::rt::TokioIo;
use serde_json::Value;
use sha2::{Digest as _, Sha256};
use tokio::net::TcpStream;
use tokio::time::timeout;
use tokio_util::io::ReaderStream;
use weighhouse_web::paths;

use crate::work::results::hex;

/// Longest for a connection.
const CONNECT: Duration = Duration::from_secs(10);
/// Longest for an answer once a log is sent: reading a large one takes a while.
const ANSWER: Duration = Duration::from_secs(300);
/// Longest answer that is read, bytes.
const MOST_ANSWER: usize = 4 << 20;

/// Where the service is: `http://HOST[:PORT]`.
#[derive(Clone, Debug)]
pub(super) struct Server {
    text: String,
    /// Host and port, as the header names it.
    host: String,
    /// The same with a port, to connect to.
    address: String,
}

impl Server {
    pub(super) fn as_str(&self) -> &str {
        &self.text
    }
}

impl FromStr for Server {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let text = text.trim_end_matches('/');
        let Some(host) = text.strip_prefix("http://") else {
            return Err(
                "give an address that begins with http://; where a proxy does TLS, give the service's own \
                        address behind it, over a network that you trust"
                    .to_owned(),
            );
        };
        let plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '.' | '-' | ':' | '[' | ']' | '_');
        if host.is_empty() || !host.chars().all(plain) {
            return Err(format!("'{host}' is no host with or without a port"));
        }
        let has_port = host.rsplit_once(':').is_some_and(|(_, port)| port.parse::<u16>().is_ok());
        let address = if has_port { host.to_owned() } else { format!("{host}:80") };
        Ok(Self { text: text.to_owned(), host: host.to_owned(), address })
    }
}

/// Why there is no answer.
#[derive(Debug)]
pub(super) enum Trouble {
    /// It may go by itself.
    Passing(anyhow::Error),
    /// It will not: the key is wrong.
    Lasting(anyhow::Error),
}

impl From<anyhow::Error> for Trouble {
    fn from(error: anyhow::Error) -> Self {
        Self::Passing(error)
    }
}

/// What came of a log.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Answer {
    /// It is kept.
    Taken { says: String },
    /// It is not, and sending it once more changes nothing.
    Refused { says: String },
    /// It changed while it was sent.
    Changed,
}

/// SHA-256 of a file, hexadecimal.
///
/// # Errors
/// When it cannot be read.
pub(super) fn digest(path: &Path) -> std::io::Result<String> {
    let (mut file, mut hash) = (File::open(path)?, Sha256::new());
    let mut bytes = vec![0; 1 << 20];
    loop {
        match file.read(&mut bytes)? {
            0 => return Ok(hex(&hash.finalize())),
            n => hash.update(&bytes[..n]),
        }
    }
}

/// Asks in the name of a rig's key.
#[derive(Debug)]
pub(super) struct Client {
    server: Server,
    key: String,
}

type Body = BoxBody<Bytes, std::io::Error>;

impl Client {
    pub(super) fn new(server: Server, key: String) -> Self {
        Self { server, key }
    }

    /// Name of the rig that the key is for.
    ///
    /// # Errors
    /// Lasting when the key is not one.
    pub(super) async fn rig(&self) -> Result<String, Trouble> {
        let request = self.request(Method::GET, paths::KEY)?;
        let empty = BoxBody::new(Empty::new().map_err(|never| match never {}));
        let request = request.body(empty).context("a request")?;
        let (status, answer) = self.ask(request).await?;
        match status {
            StatusCode::OK => Ok(text(&answer, "rig")),
            status => Err(self.trouble(status, &answer)),
        }
    }

    /// Sends a log under the key of its bytes, so that it is taken once however often it is sent. `settings`: digest of
    /// the game's settings file.
    ///
    /// # Errors
    /// Lasting when the key is not one any more.
    pub(super) async fn send(
        &self,
        path: &Path,
        digest: &str,
        settings: Option<&str>,
    ) -> Result<Answer, Trouble> {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        let file = tokio::fs::File::open(path).await.context("opening it once more")?;
        let length = file.metadata().await.context("its length")?.len();
        let address = paths::upload(&name);
        let address = match settings {
            Some(digest) => paths::with_query(&address, &[("settings", digest)]),
            None => address,
        };
        let frames = ReaderStream::new(file).map(|bytes| bytes.map(Frame::data));
        let request = self
            .request(Method::PUT, &address)?
            .header("idempotency-key", format!("watch-{digest}"))
            .header(CONTENT_LENGTH, length)
            .body(BoxBody::new(StreamBody::new(frames)))
            .context("a request")?;
        let (status, answer) = self.ask(request).await?;
        let says = [text(&answer, "says"), text(&answer, "mend")].join(" ").trim().to_owned();
        match status {
            StatusCode::OK | StatusCode::CREATED if text(&answer, "digest") == digest => {
                Ok(Answer::Taken { says })
            }
            StatusCode::OK | StatusCode::CREATED | StatusCode::CONFLICT => Ok(Answer::Changed),
            StatusCode::UNPROCESSABLE_ENTITY | StatusCode::PAYLOAD_TOO_LARGE => Ok(Answer::Refused { says }),
            status => Err(self.trouble(status, &answer)),
        }
    }

    fn request(&self, method: Method, path: &str) -> anyhow::Result<hyper::http::request::Builder> {
        Ok(Request::builder()
            .method(method)
            .uri(path)
            .header(HOST, &self.server.host)
            .header(ACCEPT, "application/json")
            .header(AUTHORIZATION, format!("Bearer {}", self.key)))
    }

    /// One request on a connection of its own.
    async fn ask(&self, request: Request<Body>) -> anyhow::Result<(StatusCode, Value)> {
        let connect = timeout(CONNECT, TcpStream::connect(&self.server.address));
        let stream = connect.await.context("connecting took too long")?.context("connecting")?;
        let (mut sender, connection) = http1::handshake(TokioIo::new(stream)).await.context("greeting")?;
        let talk = async {
            let response = sender.send_request(request).await.context("sending")?;
            let status = response.status();
            let body = http_body_util::Limited::new(response.into_body(), MOST_ANSWER);
            let body = body.collect().await.map_err(|e| anyhow!("reading the answer: {e}"))?.to_bytes();
            Ok((status, serde_json::from_slice(&body).unwrap_or(Value::Null)))
        };
        let drive = async {
            // Its error is told by the request that it breaks.
            let _ = connection.await;
            std::future::pending::<()>().await;
        };
        tokio::select! {
            answer = timeout(ANSWER, talk) => answer.context("no answer came in time")?,
            () = drive => Err(anyhow!("the connection ended")),
        }
    }

    fn trouble(&self, status: StatusCode, answer: &Value) -> Trouble {
        let says = [text(answer, "says"), text(answer, "mend")].join(" ");
        let why = anyhow!("{} answers {status}: {}", self.server.as_str(), says.trim());
        match status {
            StatusCode::UNAUTHORIZED | StatusCode::FORBIDDEN => Trouble::Lasting(why),
            _ => Trouble::Passing(why),
        }
    }
}

fn text(answer: &Value, name: &str) -> String {
    answer[name].as_str().unwrap_or_default().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_is_a_host_with_or_without_a_port() {
        let address = |text: &str| text.parse::<Server>().map(|server| server.address);
        assert_eq!(address("http://bench.example:7300/").unwrap(), "bench.example:7300");
        assert_eq!(address("http://[::1]:7300").unwrap(), "[::1]:7300");
        assert_eq!(address("http://bench.example").unwrap(), "bench.example:80");
        for wrong in ["bench.example:7300", "https://bench.example", "http://", "http://a b", "http://a/b"] {
            assert!(address(wrong).is_err(), "{wrong}");
        }
    }
}
