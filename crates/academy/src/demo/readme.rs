//! The README of the demo data, with its counts taken from the data.

use std::fmt::Write as _;

use super::record::Recorded;
use super::timetable::Bay;
use super::{DemoFile, FileKind, tally};
use crate::TrueCause;

/// The text of `README.md`.
pub fn text(seed: u64, files: &[DemoFile], recorded: &[Recorded]) -> String {
    let of_kind = |kind: FileKind| files.iter().filter(|file| file.kind == kind).count();
    let shots: usize = recorded.iter().map(|session| session.shots.len()).sum();
    let broken: usize = files.iter().map(|file| file.broken).sum();
    let marks: usize = files.iter().map(|file| file.marks).sum();
    let bays = tally::by_bay(recorded);
    let mut rows = String::new();
    for bay in Bay::ALL {
        let _ = writeln!(rows, "| `{}/` | {} | {} |", bay.folder(), about(bay), bays.get(&bay).copied().unwrap_or(0));
    }

    let mut text = format!(
        "# Demo data\n\n\
        Eight weeks at an academy that does not exist, Monday 2026-09-28 to Sunday 2026-11-22, zone Europe/Dublin (the clocks go \
        back on 2026-10-25). **Everyone and everything in it is invented**: birds stand for players, trees for coaches, no number \
        was ever measured.\n\n\
        Made by `cargo run -p academy -- --seed {seed} --out demo-data --roster config/roster.csv`; the same seed gives the same \
        bytes. A test makes it again and compares.\n\n\
        | folder | device | shots |\n|---|---|---|\n\
        {rows}| together | | {shots} |\n\n",
    );
    let _ = write!(
        text,
        "Files: {} sound exports, {} exports with broken rows ({broken} broken rows in all), {} byte-identical duplicate \
        under another name, {} file that is no export, {} lists with {marks} strike marks noted by hand.\n\n",
        of_kind(FileKind::Export),
        of_kind(FileKind::BrokenRows),
        of_kind(FileKind::Duplicate),
        of_kind(FileKind::NoExport),
        of_kind(FileKind::StrikeMarks),
    );
    table(&mut text, "purpose", &tally::by_intent(recorded));
    table(&mut text, "club", &tally::by_club(recorded));
    table(&mut text, "logged as", &tally::by_player(recorded));
    text.push_str(STORY);
    let all = tally::together(&tally::drivers(recorded));
    let _ = write!(
        text,
        "## Truth among the drivers\n\nOf {} full driver shots {} miss (corridor 7 %, carry tolerance 8 %). True causes:",
        all.shots, all.misses
    );
    for cause in TrueCause::ALL {
        let _ = write!(text, " {} {:.0} %,", cause.word(), 100.0 * all.share(cause));
    }
    let _ = writeln!(
        text,
        " of the misses. Median carry lost to the strike: {:.1} m.",
        all.median_carry_lost_m().unwrap_or(0.0)
    );
    text
}

/// A bay's device in a few words: the pack, what it delivers, how it writes.
fn about(bay: Bay) -> &'static str {
    match bay {
        Bay::One => "hall-metric: ball and club speed; UTF-16, decimal commas",
        Bay::Two => "plain-imperial: ball and swing; mph and yards, American dates",
        Bay::Three => "strike-lines: ball, swing and strike position; JSON Lines",
        Bay::Four => {
            "session-tree: ball and swing with loft, and a spray list by hand in some weeks; XML, left is positive"
        }
        Bay::Five => "range-book: ball and swing, face at the strike point; workbook",
        Bay::Six => "ball-journal: the ball alone, spin computed; JSON",
        Bay::TeeOne => "tee-columns: in the open; ball, club speed, wind and the landing, all measured; Parquet",
    }
}

fn table(text: &mut String, title: &str, counts: &std::collections::BTreeMap<&'static str, usize>) {
    let _ = write!(text, "| {title} | shots |\n|---|---|\n");
    for (word, count) in counts {
        let _ = writeln!(text, "| {word} | {count} |");
    }
    text.push('\n');
}

const STORY: &str = "## What is hidden in it\n\n\
- wren (toe), plover (heel, left-handed), linnet (heel) and avocet (low) swing soundly and meet the ball off the middle.\n\
- heron and dunlin (left-handed) strike the middle and deliver across the line.\n\
- curlew, siskin and merlin do both; kestrel, swift and osprey neither.\n\
- wren and avocet practise with a strike gate from the fourth week, and their strikes tighten from the next session on; \
curlew does from the fifth week, and nothing changes.\n\
- In the sixth week coach alder shows toe, heel, high and low strikes in bay 3, and coach rowan does so in bay 2 while heron is \
still logged in: purpose demonstration, nobody's statistics.\n\
- merlin gave no consent; siskin, linnet and dunlin are juniors; the golfer `Stork` stands in no roster.\n\
- Bay 3 misses the strike of about 4 % of the shots, bays 2, 4 and 5 the swing of about 2 %. Every carry but that of the tee is \
computed by the device.\n\
- Bay 4 does not notice about 5 % of the shots at all. From the fifth week on, after an update, it writes m/s for km/h and turns a \
second for turns a minute; the unit stands beside every number.\n\
- In the weeks 2, 3, 5, 6 and 8 a coach reads the strikes of bay 4 off a sprayed face (2 mm) and lists them, the unnoticed shots too; \
about 5 % of the shots are not noted. The coach's clock is one to two minutes ahead of the bay's and gains a little every day; in the \
sixth week it is noted to the minute only.\n\
- At the tee the wind is never the same twice; what the device says of it is off by half a knot.\n\n\
## Truth\n\n\
`truth/truth.csv` has one row a sound shot: file and row (from 1), swing, strike and launch as they were, where the ball \
came down, and where it would have come down centred, with the intended delivery, with both, and in the reference shot, each with the \
player's true head and ball. A row is a line, a row of the sheet, or the number of a record. Angles and lateral metres are positive to the right for both hands. `cause` is the true cause of a \
miss, `none` where there is no miss, empty where the shot is not judged. `truth/files.csv` says what each file is. \
`truth/marks.csv` has a row a strike mark: the shot it belongs to (none where the export has no sound row of it) and where the ball \
really met the face. The product never reads this folder.\n\n\
The launches carry an error that no model of the product knows: ball speed 0.5 %, elevation and azimuth 0.25 degrees, spin 4 %, tilt 0.8 \
degrees. Heads and balls differ from their profiles.\n\n";
