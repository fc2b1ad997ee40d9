//! Which names are no exports, and what names we give.

use std::path::Path;

/// Suffixes under which programs write what is not finished, in lower case.
const UNFINISHED: [&str; 8] = [".tmp", ".temp", ".part", ".partial", ".crdownload", ".download", ".filepart", ".swp"];

/// Names that systems put into folders by themselves, in lower case.
const OF_THE_SYSTEM: [&str; 2] = ["thumbs.db", "desktop.ini"];

/// Whether a file or folder name is temporary by the habits of the programs that write such names.
pub(crate) fn is_temporary(name: &str) -> bool {
    let lower = name.to_lowercase();
    name.starts_with('.')
        || name.starts_with('~')
        || name.ends_with('~')
        || UNFINISHED.iter().any(|suffix| lower.ends_with(suffix))
        || OF_THE_SYSTEM.contains(&lower.as_str())
}

/// Whether a name fits a pattern: `*` any characters, `?` one, everything else itself, without regard to case.
pub(crate) fn fits(pattern: &str, name: &str) -> bool {
    let pattern: Vec<char> = pattern.to_lowercase().chars().collect();
    let name: Vec<char> = name.to_lowercase().chars().collect();
    let (mut at_pattern, mut at_name) = (0, 0);
    // Where to go on when the text after the last star did not fit: one character later.
    let mut retreat = None;
    while at_name < name.len() {
        match pattern.get(at_pattern) {
            Some('*') => {
                retreat = Some((at_pattern + 1, at_name));
                at_pattern += 1;
            }
            Some(wanted) if *wanted == '?' || *wanted == name[at_name] => {
                at_pattern += 1;
                at_name += 1;
            }
            _ => {
                let Some((after_star, start)) = retreat else { return false };
                retreat = Some((after_star, start + 1));
                at_pattern = after_star;
                at_name = start + 1;
            }
        }
    }
    pattern[at_pattern..].iter().all(|rest| *rest == '*')
}

/// The first twelve digits of a hash: enough to tell the files of a site apart, short enough for a file name.
pub(crate) fn hash12(source_file_id: &str) -> &str {
    source_file_id.get(..12).unwrap_or(source_file_id)
}

/// Longest name we give to a file of somebody else, in bytes: file systems take 255, and our own additions need room.
const LONGEST_NAME: usize = 180;

/// A name short enough for our folders; a longer one loses its middle, so that its beginning and its ending stay readable.
pub(crate) fn fitting(name: &str) -> String {
    // A line end in a name is legal and breaks every listing.
    let name: String = name.chars().map(|letter| if letter.is_control() { '_' } else { letter }).collect();
    if name.len() <= LONGEST_NAME {
        return name;
    }
    let (begin, end) = (name.floor_char_boundary(LONGEST_NAME - 60), name.ceil_char_boundary(name.len() - 50));
    format!("{}...{}", &name[..begin], &name[end..])
}

/// The last part of a path.
pub(crate) fn name_of(path: &Path) -> String {
    path.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned())
}

/// A path as the ledger holds it. Names that are no Unicode text keep apart.
pub(crate) fn text_of(path: &Path) -> String {
    path.to_str().map_or_else(|| files::readable_path(path), str::to_owned)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn unfinished_files_are_passed_over() {
        for name in [".hidden.csv", "~lock.csv", "a.csv~", "a.csv.tmp", "A.CSV.PART", "a.crdownload", "Thumbs.db"] {
            assert!(is_temporary(name), "{name}");
        }
        for name in ["a.csv", "parts.csv", "tmp.csv", "a~b.csv"] {
            assert!(!is_temporary(name), "{name}");
        }
    }

    #[test]
    fn patterns_fit_as_people_expect() {
        for (pattern, name) in [("*.log", "a.LOG"), ("a?c*", "abcd"), ("*", ""), ("*a*b*", "xxaxxbxx"), ("", "")] {
            assert!(fits(pattern, name), "{pattern} {name}");
        }
        for (pattern, name) in [("*.log", "a.logs"), ("a?c", "ac"), ("", "a"), ("*ab", "abb")] {
            assert!(!fits(pattern, name), "{pattern} {name}");
        }
    }

    #[test]
    fn long_names_lose_their_middle() {
        let long = format!("{}.csv", "ö".repeat(120));
        let short = fitting(&long);
        assert!(short.len() <= LONGEST_NAME && short.ends_with("ö.csv") && short.contains("..."), "{short}");
        assert_eq!(fitting("a.csv"), "a.csv");
        assert_eq!(fitting("a\nb.csv"), "a_b.csv");
    }
}
