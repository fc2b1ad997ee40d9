//! Connections that end by themselves: bounded in number, in time and in what they may send.

use std::io;
use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::Duration;

use axum::serve::Listener;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio::time::Sleep;

/// So many connections are served at a time; the next one waits in the system's queue.
pub(crate) const MOST_CONNECTIONS: usize = 64;
/// A connection is cut after this time, whatever it is doing: each carries one small question.
pub(crate) const LONGEST: Duration = Duration::from_secs(10);
/// What one connection may send: a line and some headers.
pub(crate) const MOST_SENT: usize = 16 * 1024;
/// After a failed accept, for example for want of file handles, so much time to recover.
const AFTER_FAILURE: Duration = Duration::from_millis(500);

/// The listening socket.
pub(crate) struct BoundedListener {
    inner: TcpListener,
    places: Arc<Semaphore>,
    longest: Duration,
}

impl BoundedListener {
    pub(crate) fn new(inner: TcpListener) -> BoundedListener {
        BoundedListener { inner, places: Arc::new(Semaphore::new(MOST_CONNECTIONS)), longest: LONGEST }
    }
}

impl Listener for BoundedListener {
    type Io = BoundedConnection;
    type Addr = SocketAddr;

    async fn accept(&mut self) -> (BoundedConnection, SocketAddr) {
        loop {
            // Never closed, so this cannot fail; if it did, the place is only missing from the count.
            let place = Arc::clone(&self.places).acquire_owned().await.ok();
            match self.inner.accept().await {
                Ok((stream, address)) => {
                    let deadline = Box::pin(tokio::time::sleep(self.longest));
                    return (BoundedConnection { stream, deadline, left: MOST_SENT, _place: place }, address);
                }
                Err(error) => {
                    tracing::debug!("a connection to the status page failed: {error}");
                    tokio::time::sleep(AFTER_FAILURE).await;
                }
            }
        }
    }

    fn local_addr(&self) -> io::Result<SocketAddr> {
        self.inner.local_addr()
    }
}

/// One connection.
pub(crate) struct BoundedConnection {
    stream: TcpStream,
    deadline: Pin<Box<Sleep>>,
    /// Bytes that the other side may still send.
    left: usize,
    _place: Option<OwnedSemaphorePermit>,
}

impl BoundedConnection {
    /// An error once the time is over. Also asks to be woken then.
    fn in_time(&mut self, context: &mut Context<'_>) -> io::Result<()> {
        match self.deadline.as_mut().poll(context) {
            Poll::Ready(()) => Err(io::Error::new(io::ErrorKind::TimedOut, "the connection took too long")),
            Poll::Pending => Ok(()),
        }
    }
}

impl AsyncRead for BoundedConnection {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        self.in_time(context)?;
        let before = buffer.filled().len();
        let polled = Pin::new(&mut self.stream).poll_read(context, buffer);
        let sent = buffer.filled().len() - before;
        if sent > self.left {
            return Poll::Ready(Err(io::Error::new(io::ErrorKind::InvalidData, "the request is too large")));
        }
        self.left -= sent;
        polled
    }
}

impl AsyncWrite for BoundedConnection {
    fn poll_write(mut self: Pin<&mut Self>, context: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        self.in_time(context)?;
        Pin::new(&mut self.stream).poll_write(context, bytes)
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        self.in_time(context)?;
        Pin::new(&mut self.stream).poll_flush(context)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(context)
    }
}
