//! Identity of shots, and of players nobody has named yet: hashes of what the device wrote, never of what we resolved.

use std::fmt::Write as _;

use sha2::{Digest, Sha256};

/// What identifies a shot: only texts that the device itself wrote, so that a later alias or clock correction keeps the identity.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct NaturalKey<'a> {
    /// The site whose daemon imported the shot.
    pub site_id: &'a str,
    /// Name of the mapping pack (not its version: a mended pack keeps identities).
    pub format: &'a str,
    /// The device's own session text, where it has one.
    pub session_text: Option<&'a str>,
    /// The device's own shot text, where it has one.
    pub shot_text: Option<&'a str>,
    /// Bay text, used where session or shot text is missing.
    pub bay: Option<&'a str>,
    /// Raw time text, used where session or shot text is missing.
    pub time_text: &'a str,
    /// 0, or counts the further rows of the same file that share all of the above.
    pub ordinal: u32,
}

/// The shot's identity: 128 bits of SHA-256 over the natural key, as 32 hexadecimal digits.
pub fn shot_id(key: &NaturalKey<'_>) -> String {
    let mut parts = vec![key.site_id, key.format];
    match (key.session_text, key.shot_text) {
        (Some(session), Some(shot)) => parts.extend(["device", session, shot]),
        (session, shot) => {
            let (session, shot) = (session.unwrap_or(""), shot.unwrap_or(""));
            parts.extend(["time", key.bay.unwrap_or(""), key.time_text, session, shot]);
        }
    }
    let ordinal = key.ordinal.to_string();
    parts.push(&ordinal);
    hash_of_parts(&parts)
}

/// The mark's identity, over the same kind of key as a shot's; no mark has the identity of a shot.
pub fn mark_id(key: &NaturalKey<'_>) -> String {
    hash_of_parts(&["mark", &shot_id(key)])
}

/// The stable placeholder of a player text that the roster does not know (`unknown-` and 12 hexadecimal digits).
/// The same text, without regard to case and blanks around it, always gives the same placeholder, so that adding an alias
/// later finds the shots again.
pub fn placeholder_player(site_id: &str, player_text: &str) -> String {
    format!("unknown-{}", &hash_of_parts(&[site_id, &player_text.trim().to_lowercase()])[..12])
}

/// 128 bits of SHA-256 of one text, as 32 hexadecimal digits.
pub fn text_hash(text: &str) -> String {
    hash_of_parts(&[text])
}

fn hash_of_parts(parts: &[&str]) -> String {
    let mut hasher = Sha256::new();
    for part in parts {
        // The length before each part keeps ("ab","c") and ("a","bc") apart.
        hasher.update((part.len() as u64).to_le_bytes());
        hasher.update(part.as_bytes());
    }
    let mut text = String::with_capacity(32);
    for byte in hasher.finalize().iter().take(16) {
        let _ = write!(text, "{byte:02x}"); // writing to a String cannot fail
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key<'a>() -> NaturalKey<'a> {
        NaturalKey {
            site_id: "north",
            format: "pack",
            session_text: Some("S1"),
            shot_text: Some("17"),
            bay: Some("2"),
            time_text: "10:00",
            ordinal: 0,
        }
    }

    #[test]
    fn device_texts_outrank_bay_and_time() {
        let moved = NaturalKey { bay: Some("3"), time_text: "11:00", ..key() };
        assert_eq!(shot_id(&key()), shot_id(&moved));
        assert_ne!(shot_id(&key()), shot_id(&NaturalKey { ordinal: 1, ..key() }));
        assert_ne!(shot_id(&key()), shot_id(&NaturalKey { shot_text: Some("18"), ..key() }));
    }

    #[test]
    fn without_device_texts_bay_and_time_identify() {
        let bare = NaturalKey { session_text: None, shot_text: None, ..key() };
        assert_ne!(shot_id(&bare), shot_id(&NaturalKey { bay: Some("3"), ..bare.clone() }));
        assert_ne!(shot_id(&bare), shot_id(&NaturalKey { time_text: "10:01", ..bare.clone() }));
    }

    #[test]
    fn placeholders_are_stable_and_apart() {
        assert_eq!(placeholder_player("north", " Wren "), placeholder_player("north", "wren"));
        assert_ne!(placeholder_player("north", "Wren"), placeholder_player("south", "Wren"));
    }
}
