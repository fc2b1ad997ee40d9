//! The status page: there from the first moment to the last, wherever the configuration in force wants it.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use console::Board;
use tokio::net::TcpListener;
use tokio::sync::watch;

use crate::daemon::standing::Standing;
use crate::overview::seen_by_daemon;

/// How often it is looked whether the page is to move, or an address that was taken has become free.
const LOOK_EVERY: Duration = Duration::from_secs(2);

/// The board that page, metrics and alerts look at.
pub fn board(standing: &Standing) -> Arc<Board> {
    let standing = standing.clone();
    Arc::new(Board::new(Box::new(move || seen_by_daemon(&standing.bench().studio, standing.vitals()))))
}

/// Serves the page until told to stop. What goes wrong with it is told once and keeps nothing else from working.
pub async fn keep_page(standing: Standing, board: Arc<Board>, mut stopped: watch::Receiver<bool>) {
    let mut told: Option<String> = None;
    while !*stopped.borrow() {
        if let Some(address) = wanted(&standing) {
            match TcpListener::bind(address).await {
                Ok(listener) => {
                    told = None;
                    tracing::info!(%address, "the status page is there");
                    serve_at(address, listener, &standing, &board, stopped.clone()).await;
                    continue;
                }
                Err(error) => {
                    let why = format!("the status page cannot listen on {address}: {error}");
                    if told.as_ref() != Some(&why) {
                        tracing::error!(
                            "{why}\nhint: see whether another program uses the port, or change [console] listen"
                        );
                        told = Some(why);
                    }
                }
            }
        }
        tokio::select! {
            () = asked_to_stop(&mut stopped) => return,
            () = tokio::time::sleep(LOOK_EVERY) => {}
        }
    }
}

fn wanted(standing: &Standing) -> Option<SocketAddr> {
    standing.bench().studio.configuration.console
}

/// Serves at one address until told to stop, or until the configuration wants another one.
async fn serve_at(
    address: SocketAddr,
    listener: TcpListener,
    standing: &Standing,
    board: &Arc<Board>,
    mut stopped: watch::Receiver<bool>,
) {
    let (end, ended) = watch::channel(false);
    let mut serving = tokio::spawn(console::serve(listener, Arc::clone(board), ended));
    loop {
        tokio::select! {
            served = &mut serving => {
                match served {
                    Ok(Ok(())) => {}
                    Ok(Err(error)) => tracing::error!("{error}"),
                    Err(error) => tracing::error!("the status page broke off: {error}"),
                }
                return tokio::time::sleep(LOOK_EVERY).await;
            }
            () = asked_to_stop(&mut stopped) => break,
            () = tokio::time::sleep(LOOK_EVERY) => {
                if wanted(standing) != Some(address) {
                    break;
                }
            }
        }
    }
    // Whoever is being answered is answered; nobody else keeps the daemon from going on.
    let _ = end.send(true);
    let _ = tokio::time::timeout(LOOK_EVERY, &mut serving).await;
    serving.abort();
}

async fn asked_to_stop(stopped: &mut watch::Receiver<bool>) {
    // A sender that is gone says the same.
    let _ = stopped.wait_for(|stop| *stop).await;
}
