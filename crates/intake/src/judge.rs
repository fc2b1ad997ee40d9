//! Whether a file's bytes are an export that can be taken, and if so with which rows.

use formats::{Drift, Pack, PackScore, PackSet, ParsedFile, Recognition, SiteContext};
use shot::{Problem, Severity};

use crate::Roster;
use crate::settings::{IntakeSettings, WatchedFolder};

/// The judgement on a file.
pub(crate) enum Judgement<'a> {
    /// It is taken.
    Accept { pack: &'a Pack, parsed: ParsedFile, scores: Vec<PackScore> },
    /// The device may still be writing: the format's structural end is missing, or there is no row yet.
    Unfinished { note: String, is_rowless: bool },
    /// It is refused whole.
    Refuse(Box<Refusal>),
}

/// Why a file is refused, in full, for the person who has to mend it.
#[derive(Debug, Clone, Default)]
pub(crate) struct Refusal {
    pub(crate) reason: String,
    pub(crate) hint: String,
    pub(crate) format: Option<String>,
    pub(crate) format_version: Option<String>,
    pub(crate) scores: Vec<PackScore>,
    /// What changed about the export since the nearest pack was written, and the lines of the pack that would follow it.
    pub(crate) drift: Option<Drift>,
    pub(crate) rows_seen: u64,
    pub(crate) rows_accepted: usize,
    pub(crate) problems: Vec<Problem>,
}

pub(crate) fn site_context(settings: &IntakeSettings, folder: Option<&WatchedFolder>, roster: &Roster) -> SiteContext {
    SiteContext {
        site_id: settings.site_id.clone(),
        zone: settings.zone,
        bay: folder.and_then(|folder| folder.bay.clone()),
        environment: folder.and_then(|folder| folder.environment.clone()),
        limits: settings.limits,
        hands: roster.hands(),
    }
}

/// Recognises and reads a file. `patient` asks for the structural end.
pub(crate) fn judge<'a>(
    packs: &'a PackSet,
    name: &str,
    bytes: &[u8],
    patient: bool,
    site: &SiteContext,
) -> Judgement<'a> {
    let judgement = recognise_and_read(packs, name, bytes, patient, site);
    match judgement {
        Judgement::Refuse(refusal) => Judgement::Refuse(Box::new(with_drift(*refusal, packs, name, bytes))),
        other => other,
    }
}

/// A device's update that renames a column is the usual cause of a refusal: says what changed, and how the pack follows.
fn with_drift(mut refusal: Refusal, packs: &PackSet, name: &str, bytes: &[u8]) -> Refusal {
    let Some(drift) = packs.drift(name, bytes) else { return refusal };
    if refusal.format.as_ref().is_some_and(|pack| *pack != drift.pack) {
        return refusal;
    }
    let changes = drift.changes.join("; ");
    refusal.reason = format!("{}; against the pack {}: {changes}", refusal.reason, drift.pack);
    if !drift.edits.is_empty() {
        let edits = drift.edits.join("\n  ");
        refusal.hint = format!(
            "mend the pack {}; look at each edit before you paste it, and write several for one place as one block:\n  {edits}\n  then {RETRY}",
            drift.pack
        );
    }
    refusal.drift = Some(drift);
    refusal
}

fn recognise_and_read<'a>(
    packs: &'a PackSet,
    name: &str,
    bytes: &[u8],
    patient: bool,
    site: &SiteContext,
) -> Judgement<'a> {
    match packs.recognise(name, bytes) {
        Recognition::Match { pack, scores } => {
            if patient && !pack.structural_end(bytes) {
                let note = format!("it has no end as the pack {} expects it", pack.name());
                return Judgement::Unfinished { note, is_rowless: false };
            }
            judge_with(pack, name, bytes, scores, site)
        }
        Recognition::NoMatch { scores } => Judgement::Refuse(Box::new(Refusal {
            reason: match scores.first() {
                // With no point at all a pack is no nearer than any other, unless the file bears its kind of name.
                Some(best) if best.score == 0 => match scores.iter().find_map(obstacle_of_named) {
                    Some((pack, obstacle)) => format!("it bears the name of a file of the pack {pack}, but {obstacle}"),
                    None => "no mapping pack fits this file".to_owned(),
                },
                Some(best) => {
                    format!("no mapping pack fits this file; the nearest is {} ({} points)", best.pack, best.score)
                }
                None => "no mapping pack is installed".to_owned(),
            },
            hint: format!(
                "if it is an export, draft a mapping pack (strikemill formats draft FILE) or mend one, then {RETRY}; \
                 a damaged file is exported again; what is no export goes by strikemill remove --file with the first digits of its hash"
            ),
            scores,
            ..Refusal::default()
        })),
        Recognition::Tie { packs, scores } => {
            let names: Vec<&str> = packs.iter().map(|pack| pack.name()).collect();
            Judgement::Refuse(Box::new(Refusal {
                reason: format!("several mapping packs fit this file equally well: {}", names.join(", ")),
                hint: format!("tell the packs apart with [recognise] fileNames or contains, then {RETRY}"),
                scores,
                ..Refusal::default()
            }))
        }
    }
}

/// Reads a file with a given pack.
pub(crate) fn judge_with<'a>(
    pack: &'a Pack,
    name: &str,
    bytes: &[u8],
    scores: Vec<PackScore>,
    site: &SiteContext,
) -> Judgement<'a> {
    let parsed = pack.parse(name, bytes, site);
    // Devices open the file of a session with its header and write the first shot whenever it is struck.
    if parsed.rows_seen == 0 && parsed.problems.is_empty() && parsed.shots.is_empty() && parsed.marks.is_empty() {
        let note = format!("it is an export as the pack {} expects it, but has no rows yet", pack.name());
        return Judgement::Unfinished { note, is_rowless: true };
    }
    let Some((reason, hint)) = objection(pack, &parsed) else { return Judgement::Accept { pack, parsed, scores } };
    Judgement::Refuse(Box::new(Refusal {
        reason,
        hint,
        format: Some(pack.name().to_owned()),
        format_version: Some(pack.version().to_owned()),
        scores,
        drift: None,
        rows_seen: parsed.rows_seen,
        rows_accepted: parsed.shots.len() + parsed.marks.len(),
        problems: parsed.problems,
    }))
}

/// A running daemon notices a changed pack by itself, but what it refused before it takes again only at a person's word.
const RETRY: &str = "use strikemill retry";

/// The pack whose kind of name a file bears, and what speaks against it.
fn obstacle_of_named(score: &PackScore) -> Option<(String, String)> {
    let behind_name = score.because.strip_prefix("the name fits ").filter(|text| !text.starts_with("no pattern"))?;
    let (_, obstacle) = behind_name.split_once("; but ")?;
    Some((score.pack.clone(), obstacle.to_owned()))
}

fn objection(pack: &Pack, parsed: &ParsedFile) -> Option<(String, String)> {
    let whole = parsed.problems.iter().find(|problem| problem.line == 0 && problem.severity == Severity::Rejected);
    if let Some(problem) = whole {
        return Some((
            problem.message.clone(),
            format!("{}; mend the pack or export again, then {RETRY}", problem.hint),
        ));
    }
    if parsed.shots.is_empty() && parsed.marks.is_empty() {
        let reason = format!("not one of its {} rows could be taken", parsed.rows_seen);
        let hint = match parsed.problems.first() {
            None => format!("export it again, or mend the pack, then {RETRY}"),
            Some(first) => format!("{}; mend the pack or export again, then {RETRY}", first.hint),
        };
        return Some((reason, hint));
    }
    if parsed.problem_share() > pack.max_problem_share() {
        let reason = format!(
            "{} of its {} rows were refused, more than the share of {} that the pack {} allows",
            parsed.rows_rejected(),
            parsed.rows_seen,
            pack.max_problem_share(),
            pack.name()
        );
        return Some((reason, format!("the device's export has probably changed; mend the pack, then {RETRY}")));
    }
    None
}
