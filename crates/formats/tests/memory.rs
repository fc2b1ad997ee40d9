//! One line that is the whole file. The system's own count of this process is the measure, so the test has a program to itself.

use std::fmt::Write as _;

use formats::{PackSet, ParseLimits, SiteContext};

const HUGE: usize = 64 << 20;

/// Most memory this process ever held, in bytes; nothing where the system does not say.
fn peak() -> Option<usize> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
    Some(line.trim().strip_suffix(" kB")?.trim().parse::<usize>().ok()? << 10)
}

fn pack(engine: &str, dialect: &str) -> PackSet {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::create_dir(folder.path().join("small")).expect("a folder");
    let mut text = format!("name = \"small\"\nversion = \"1\"\nengine = \"{engine}\"\n[dialect]\n{dialect}\n");
    text.write_str(
        "[schema]\nfieldsMatch = \"subset\"\nfields = [\"t\", \"v\"]\n[time]\nparts = [{ field = \"t\" }]\nepochUnit = \"s\"\n\
         [measures]\nball_speed_mps = { field = \"v\", unit = \"m/s\", measured = true }\n",
    )
    .expect("a text");
    std::fs::write(folder.path().join("small/format.toml"), text).expect("a file");
    let (set, faults) = PackSet::load(folder.path());
    assert!(faults.is_empty(), "{faults:?}");
    set
}

fn site(limits: ParseLimits) -> SiteContext {
    let (bay, environment, hands) = (None, None, std::sync::Arc::default());
    SiteContext { site_id: "north".to_owned(), zone: chrono_tz::UTC, bay, environment, limits, hands }
}

#[test]
fn a_line_of_the_whole_file_is_not_held_twice() {
    let cases = [
        ("delimited", "", "t,v\n1776006429,50\n1776006429,", "\n1776006429,51\n"),
        ("json-lines", "", "{\"t\":1776006429,\"v\":50}\n{\"t\":\"", "\"}\n{\"t\":1776006429,\"v\":51}\n"),
        (
            "json",
            "property = \"s\"",
            "{\"s\":[{\"t\":1776006429,\"v\":50},{\"t\":\"",
            "\"},{\"t\":1776006429,\"v\":51}]}",
        ),
        (
            "xml",
            "property = \"e/s\"",
            "<e><s><t>1776006429</t><v>50</v></s><s><t>",
            "</t></s><s><t>1776006429</t><v>51</v></s></e>",
        ),
    ];
    for (engine, dialect, before, behind) in cases {
        let set = pack(engine, dialect);
        let mut bytes = Vec::with_capacity(HUGE + 200);
        bytes.extend_from_slice(before.as_bytes());
        bytes.resize(bytes.len() + HUGE, b'7');
        bytes.extend_from_slice(behind.as_bytes());
        let held = peak();
        let file = set.packs()[0].parse("a", &bytes, &site(ParseLimits::default()));
        let rules: Vec<&str> = file.problems.iter().map(|problem| problem.rule.as_str()).collect();
        assert_eq!((file.shots.len(), rules), (2, vec!["line-too-long"]), "{engine}");
        if let (Some(held), Some(now)) = (held, peak()) {
            assert!(now - held < 16 << 20, "{engine}: {} more bytes for a line of {HUGE}", now - held);
        }
        // Beyond the size of a file nothing is looked at at all.
        let small = ParseLimits { max_file_bytes: HUGE, ..ParseLimits::default() };
        let refused = set.packs()[0].parse("a", &bytes, &site(small));
        assert_eq!((refused.shots.len(), refused.problems[0].rule.as_str()), (0, "file-too-large"), "{engine}");
    }
}
