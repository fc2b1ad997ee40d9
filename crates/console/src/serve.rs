//! The status page, health and metrics over HTTP: reading only, one question a connection.

use std::io;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::{Request, State};
use axum::http::header::{self, HeaderMap, HeaderName, HeaderValue};
use axum::http::{Method, StatusCode};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use tokio::net::TcpListener;
use tokio::sync::watch;

use crate::connection::BoundedListener;
use crate::page::{STYLE, STYLE_PATH, page};
use crate::{Board, StatusReport, metrics};

/// So long a question waits for the state to be gathered.
const PATIENCE: Duration = Duration::from_secs(5);
const TEXT: &str = "text/plain; charset=utf-8";

/// What every answer carries: nothing may be fetched, framed, kept or guessed at.
const ALWAYS: [(HeaderName, &str); 8] = [
    (
        header::CONTENT_SECURITY_POLICY,
        "default-src 'none'; style-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    ),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::X_FRAME_OPTIONS, "DENY"),
    (header::REFERRER_POLICY, "no-referrer"),
    (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
    (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    (header::CACHE_CONTROL, "no-store"),
    (header::CONNECTION, "close"),
];

/// Why the status page could not be served.
#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    /// The socket failed.
    #[error(
        "the status page on {address} failed: {cause}\nhint: see whether another program uses the port, or choose another address in [console] listen"
    )]
    Socket {
        /// The address, where it could be told.
        address: String,
        /// What the system answered. Part of the message, therefore not repeated as the error's source.
        cause: io::Error,
    },
}

#[derive(Clone)]
struct Server {
    board: Arc<Board>,
    /// Only this machine can reach it, so that only its own names may stand in a request.
    is_local: bool,
}

/// Serves until `stop` becomes true (or its sender is gone). Questions under way are answered first, for some seconds at most.
pub async fn serve(
    listener: TcpListener,
    board: Arc<Board>,
    mut stop: watch::Receiver<bool>,
) -> Result<(), ServeError> {
    let address = listener.local_addr();
    let shown = address.as_ref().map_or_else(|_| "an unknown address".to_owned(), SocketAddr::to_string);
    let is_local = address.is_ok_and(|address| address.ip().is_loopback());
    let routes = routes(Server { board, is_local });
    let stopped = async move {
        // A sender that is gone says the same.
        let _ = stop.wait_for(|stop| *stop).await;
    };
    axum::serve(BoundedListener::new(listener), routes)
        .with_graceful_shutdown(stopped)
        .await
        .map_err(|cause| ServeError::Socket { address: shown, cause })
}

fn routes(server: Server) -> Router {
    Router::new()
        .route("/", get(status_page))
        .route(STYLE_PATH, get(style))
        .route("/status.json", get(status_json))
        .route("/health", get(health))
        .route("/ready", get(ready))
        .route("/metrics", get(metrics_text))
        .fallback(nothing_here)
        .layer(middleware::from_fn_with_state(server.clone(), guard))
        .with_state(server)
}

/// Refuses what is no plain reading of this very server, and adds the headers that every answer carries.
async fn guard(State(server): State<Server>, request: Request, next: Next) -> Response {
    let mut response = if !matches!(*request.method(), Method::GET | Method::HEAD) {
        (StatusCode::METHOD_NOT_ALLOWED, [(header::ALLOW, "GET, HEAD")], "only reading is possible here\n")
            .into_response()
    } else if server.is_local && !names_this_machine(request.headers()) {
        // A page of somebody else's, whose name was made to lead here, must not read along.
        (StatusCode::MISDIRECTED_REQUEST, "ask for localhost or 127.0.0.1\n").into_response()
    } else {
        next.run(request).await
    };
    let headers = response.headers_mut();
    for (name, value) in ALWAYS {
        headers.insert(name, HeaderValue::from_static(value));
    }
    response
}

fn names_this_machine(headers: &HeaderMap) -> bool {
    let mut hosts = headers.get_all(header::HOST).iter();
    let (Some(host), None) = (hosts.next(), hosts.next()) else { return false };
    let Ok(host) = host.to_str() else { return false };
    let name = match host.rsplit_once(':') {
        Some((name, port)) if !port.is_empty() && port.bytes().all(|digit| digit.is_ascii_digit()) => name,
        _ => host,
    };
    ["localhost", "127.0.0.1", "[::1]"].iter().any(|own| name.eq_ignore_ascii_case(own))
}

async fn nothing_here() -> Response {
    (StatusCode::NOT_FOUND, [(header::CONTENT_TYPE, TEXT)], "there is nothing here\n").into_response()
}

/// The process answers; nothing more is said.
async fn health() -> Response {
    ([(header::CONTENT_TYPE, TEXT)], "ok\n").into_response()
}

/// Whether new files are taken as they should be, else each reason on a line of its own.
async fn ready(State(server): State<Server>) -> Response {
    let report = match latest(&server).await {
        Ok(report) => report,
        Err(response) => return *response,
    };
    let reasons = report.reasons_not_ready();
    if reasons.is_empty() {
        return ([(header::CONTENT_TYPE, TEXT)], "ready\n").into_response();
    }
    let words = format!("not ready\n{}\n", reasons.join("\n"));
    (StatusCode::SERVICE_UNAVAILABLE, [(header::CONTENT_TYPE, TEXT)], words).into_response()
}

async fn status_page(State(server): State<Server>) -> Response {
    match latest(&server).await {
        Ok(report) => ([(header::CONTENT_TYPE, "text/html; charset=utf-8")], page(&report)).into_response(),
        Err(response) => *response,
    }
}

async fn style() -> Response {
    ([(header::CONTENT_TYPE, "text/css; charset=utf-8")], STYLE).into_response()
}

async fn status_json(State(server): State<Server>) -> Response {
    match latest(&server).await {
        Ok(report) => {
            let text = format!("{:#}\n", report.to_json());
            ([(header::CONTENT_TYPE, "application/json")], text).into_response()
        }
        Err(response) => *response,
    }
}

async fn metrics_text(State(server): State<Server>, headers: HeaderMap) -> Response {
    let kind = metrics::content_type(headers.get(header::ACCEPT).and_then(|accept| accept.to_str().ok()));
    match latest(&server).await {
        Ok(report) => ([(header::CONTENT_TYPE, kind)], metrics::exposition(&report)).into_response(),
        Err(response) => *response,
    }
}

async fn latest(server: &Server) -> Result<Arc<StatusReport>, Box<Response>> {
    let why = match tokio::time::timeout(PATIENCE, server.board.latest()).await {
        Ok(Some(report)) => return Ok(report),
        Ok(None) => "the state could not be gathered; the log tells why\n",
        Err(_) => "the state could not be gathered in time; the machine or its disk is very busy\n",
    };
    Err(Box::new((StatusCode::SERVICE_UNAVAILABLE, [(header::CONTENT_TYPE, TEXT)], why).into_response()))
}
