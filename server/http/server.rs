//! The accept loop: limits that a library's `serve` does not have (time for a header, connections at once) and a
//! graceful end.

use std::net::SocketAddr;
use std::sync::Arc;

use axum::Router;
use axum::body::Body;
use axum::extract::Request;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{Semaphore, watch};
use tokio::task::{JoinHandle, JoinSet};
use tower::ServiceExt as _;

use super::{App, routes};
use crate::chance::Chance;
use crate::clock::Clock;
use crate::config::{Config, Limits};
use crate::store::Store;

/// Who is at the other end of the connection.
#[derive(Clone, Copy, Debug)]
pub(super) struct Peer(pub SocketAddr);

/// A running server.
#[derive(Debug)]
pub struct Server {
    addr: SocketAddr,
    stop: watch::Sender<bool>,
    task: JoinHandle<()>,
}

impl Server {
    /// Binds `config.listen` and serves `store` until [`Server::stop`]. Needs a Tokio runtime.
    ///
    /// # Errors
    /// When the address cannot be bound, or what broken uploads left cannot be cleared away.
    pub async fn start(config: Config, store: Store, clock: Clock, chance: Chance) -> std::io::Result<Self> {
        let listener = TcpListener::bind(config.listen).await?;
        let addr = listener.local_addr()?;
        let limits = config.limits;
        let (stop, stopping) = watch::channel(false);
        let app = App::new(config, addr, store, clock, chance, stopping.clone());
        let left = app.take_in.sweep().await.map_err(std::io::Error::other)?;
        if left > 0 {
            tracing::info!(left, "cleared away what uploads had begun and not finished");
        }
        let router = routes::all(app).map_err(std::io::Error::other)?;
        let task = tokio::spawn(accept(listener, router, limits, stopping));
        Ok(Self { addr, stop, task })
    }

    /// Where it listens.
    pub fn addr(&self) -> SocketAddr {
        self.addr
    }

    /// Takes no more connections, lets requests that are under way finish within the configured time, and comes
    /// back when all is quiet.
    pub async fn stop(self) {
        self.stop.send_replace(true);
        if let Err(error) = self.task.await {
            tracing::error!(%error, "the accept loop failed");
        }
    }
}

async fn accept(listener: TcpListener, router: Router, limits: Limits, mut stopping: watch::Receiver<bool>) {
    let room = Arc::new(Semaphore::new(limits.connections));
    let mut connections = JoinSet::new();
    let stop = stopping.clone();
    loop {
        let next = async {
            let place = room.clone().acquire_owned().await;
            (place, listener.accept().await)
        };
        tokio::select! {
            () = told(&mut stopping) => break,
            Some(_) = connections.join_next() => {}
            (place, accepted) = next => match accepted {
                Ok((stream, peer)) => {
                    let serving = serve(stream, peer, router.clone(), limits, stop.clone());
                    connections.spawn(async move {
                        serving.await;
                        drop(place);
                    });
                }
                Err(error) => {
                    // Out of file handles, mostly: wait until some are given back instead of spinning.
                    tracing::warn!(%error, "accepting a connection");
                    tokio::time::sleep(std::time::Duration::from_millis(100)).await;
                }
            },
        }
    }
    drop(listener);
    let quiet = async { while connections.join_next().await.is_some() {} };
    if tokio::time::timeout(limits.drain, quiet).await.is_err() {
        tracing::warn!("some requests did not finish in time and were cut");
    }
}

async fn serve(
    stream: TcpStream,
    peer: SocketAddr,
    router: Router,
    limits: Limits,
    mut stopping: watch::Receiver<bool>,
) {
    if let Err(error) = stream.set_nodelay(true) {
        tracing::debug!(%error, "no delay");
    }
    let service = service_fn(move |request: hyper::Request<Incoming>| {
        let mut request: Request = request.map(Body::new);
        request.extensions_mut().insert(Peer(peer));
        router.clone().oneshot(request)
    });
    let connection = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(limits.header)
        .serve_connection(TokioIo::new(stream), service);
    tokio::pin!(connection);
    let ended = tokio::select! {
        ended = connection.as_mut() => ended,
        () = told(&mut stopping) => {
            connection.as_mut().graceful_shutdown();
            connection.await
        }
    };
    if let Err(error) = ended {
        tracing::debug!(%peer, %error, "connection");
    }
}

/// Comes back when the server is told to stop.
async fn told(stopping: &mut watch::Receiver<bool>) {
    // An error means that the sender is gone: the same.
    let _ = stopping.wait_for(|stop| *stop).await;
}
