//! Where finished pages stand.

use std::path::{Path, PathBuf};

use files::Files;

use crate::coach_week::CoachWeek;
use crate::page::try_render;
use crate::{DigestError, calendar};

/// The page of a coach and week below the digests folder: `<YYYY-Www>/<coach>.html`.
pub fn page_path(digests_dir: &Path, week: &CoachWeek) -> Result<PathBuf, DigestError> {
    let folder = calendar::week_name(calendar::date(week.week)?);
    Ok(digests_dir.join(folder).join(format!("{}.html", file_stem(week.coach.as_deref()))))
}

/// Renders a week and writes it durably, replacing an earlier page in one act. Answers the path.
pub fn write(files: &Files, digests_dir: &Path, week: &CoachWeek) -> Result<PathBuf, DigestError> {
    let path = page_path(digests_dir, week)?;
    let page = try_render(week)?;
    if let Some(folder) = path.parent() {
        files.create_dir_all(folder)?;
    }
    files.write_durable(&path, page.as_bytes())?;
    Ok(path)
}

/// A file name for a coach's alias that every file system takes, different for different aliases.
fn file_stem(coach: Option<&str>) -> String {
    // An alias is never turned into a name that starts with an underscore, so this one stays free.
    let Some(alias) = coach else { return "_whole-site".to_owned() };
    let safe = |letter: char| letter.is_ascii_lowercase() || letter.is_ascii_digit() || letter == '-';
    if alias.starts_with(safe) && alias.chars().all(safe) && alias.len() <= 60 {
        return alias.to_owned();
    }
    let kept: String = alias.chars().map(|letter| if safe(letter) { letter } else { '-' }).take(40).collect();
    let hash = shot::text_hash(alias);
    format!("coach-{kept}-{}", hash.chars().take(12).collect::<String>())
}

#[cfg(test)]
mod tests {
    use super::file_stem;

    #[test]
    fn aliases_become_safe_and_stay_apart() {
        assert_eq!(file_stem(Some("coach-a")), "coach-a");
        assert_eq!(file_stem(None), "_whole-site");
        let strange = file_stem(Some("../Ä b"));
        assert!(strange.starts_with("coach-") && !strange.contains(['/', '.', ' ']), "{strange}");
        // Two aliases that a file system without upper case would mix up.
        assert_ne!(file_stem(Some("Coach-A")), file_stem(Some("coach-a")));
        assert_ne!(file_stem(Some("a b")), file_stem(Some("a_b")));
    }
}
