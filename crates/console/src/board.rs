//! The newest state of the home, gathered when somebody asks and shared by all who ask within a second.

use std::fmt;
use std::sync::Arc;
use std::time::{Duration, Instant};

use tokio::sync::Mutex;

use crate::StatusReport;

/// How long a gathered state is good enough for everybody who asks.
const FRESH: Duration = Duration::from_secs(1);

/// How the state is gathered. Blocks; called from a blocking task, never twice at the same time.
pub type Gather = Box<dyn Fn() -> StatusReport + Send + Sync>;

/// What the status page, the metrics and the alerts look at.
pub struct Board {
    gather: Arc<Gather>,
    newest: Arc<Mutex<Option<Gathered>>>,
}

struct Gathered {
    at: Instant,
    report: Arc<StatusReport>,
}

impl fmt::Debug for Board {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.debug_struct("Board").finish_non_exhaustive()
    }
}

impl Board {
    /// A board that gathers in this way.
    pub fn new(gather: Gather) -> Board {
        Board { gather: Arc::new(gather), newest: Arc::new(Mutex::new(None)) }
    }

    /// The state of now, or of less than a second ago. `None` only where gathering broke off in a panic.
    pub async fn latest(&self) -> Option<Arc<StatusReport>> {
        let mut newest = Arc::clone(&self.newest).lock_owned().await;
        if let Some(gathered) = &*newest
            && gathered.at.elapsed() < FRESH
        {
            return Some(Arc::clone(&gathered.report));
        }
        let gather = Arc::clone(&self.gather);
        // The lock moves along: who gives up waiting leaves the one gathering under way alone, and no second one starts.
        let gathering = tokio::task::spawn_blocking(move || {
            let report = Arc::new(gather());
            *newest = Some(Gathered { at: Instant::now(), report: Arc::clone(&report) });
            report
        });
        match gathering.await {
            Ok(report) => Some(report),
            Err(error) => {
                tracing::error!("gathering the state broke off: {error}");
                None
            }
        }
    }
}
