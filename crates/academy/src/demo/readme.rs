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
    let bays = tally::by_bay(recorded);
    let bay = |bay: Bay| bays.get(&bay).copied().unwrap_or(0);

    let mut text = format!(
        "# Demo data\n\n\
        Eight weeks at an academy that does not exist, Monday 2026-09-28 to Sunday 2026-11-22, zone Europe/Dublin (the clocks go \
        back on 2026-10-25). **Everyone and everything in it is invented**: birds stand for players, trees for coaches, no number \
        was ever measured.\n\n\
        Made by `cargo run -p academy -- --seed {seed} --out demo-data --roster config/roster.csv`; the same seed gives the same \
        bytes. A test makes it again and compares.\n\n\
        | folder | device | shots |\n|---|---|---|\n\
        | `bay1/` | hall-metric: ball and club speed; UTF-16, decimal commas | {} |\n\
        | `bay2/` | plain-imperial: ball and swing; mph and yards, American dates | {} |\n\
        | `bay3/` | strike-lines: ball, swing and strike position; JSON Lines | {} |\n\
        | together | | {shots} |\n\n",
        bay(Bay::One),
        bay(Bay::Two),
        bay(Bay::Three),
    );
    let _ = write!(
        text,
        "Files: {} sound exports, {} exports with broken rows ({broken} broken rows in all), {} byte-identical duplicate \
        under another name, {} file that is no export.\n\n",
        of_kind(FileKind::Export),
        of_kind(FileKind::BrokenRows),
        of_kind(FileKind::Duplicate),
        of_kind(FileKind::NoExport),
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
- Bay 3 misses the strike of about 4 % of the shots, bay 2 the swing of about 2 %. Every carry is computed by the device.\n\n\
## Truth\n\n\
`truth/truth.csv` has one row a sound shot: file and row (line, from 1), swing, strike and launch as they were, where the ball \
came down, and where it would have come down centred, with the intended delivery, with both, and in the reference shot, each with the \
player's true head and ball. Angles and lateral metres are positive to the right for both hands. `cause` is the true cause of a \
miss, `none` where there is no miss, empty where the shot is not judged. `truth/files.csv` says what each file is. The product \
never reads this folder.\n\n\
The launches carry an error that no model of the product knows: ball speed 0.5 %, elevation and azimuth 0.25 degrees, spin 4 %, tilt 0.8 \
degrees. Heads and balls differ from their profiles.\n\n";
