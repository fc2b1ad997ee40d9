//! What scans did, in the log.

use intake::ScanReport;
use tokio::sync::mpsc;

/// One log event a scan that did something; silence while nothing happens.
pub async fn tell_reports(mut reports: mpsc::Receiver<ScanReport>) -> anyhow::Result<()> {
    let mut told: Vec<String> = Vec::new();
    while let Some(report) = reports.recv().await {
        if report.files_published + report.duplicates + report.quarantined > 0 {
            tracing::info!(
                files = report.files_published,
                shots = report.shots,
                rejected = report.rejected,
                duplicates = report.duplicates,
                quarantined = report.quarantined,
                "imported"
            );
        }
        if report.rejected > 0 {
            tracing::warn!(rows = report.rejected, "rows were rejected; the dataset rejects tells which and why");
        }
        if report.amended > 0 {
            tracing::info!(partitions = report.amended, "roster, corrections or strike marks changed published rows");
        }
        // A trouble that stays is told once, not at every scan.
        let troubles: Vec<String> =
            report.troubles.iter().map(|trouble| format!("{}: {}", trouble.path.display(), trouble.message)).collect();
        for trouble in troubles.iter().filter(|trouble| !told.contains(trouble)) {
            tracing::warn!("{trouble}");
        }
        told = troubles;
    }
    Ok(())
}
