//! SHA-256 as lower-case hexadecimal text, the identity of files.

use std::fmt::Write as _;

use sha2::{Digest, Sha256};

/// A running SHA-256.
#[derive(Debug, Clone, Default)]
pub struct Sha256Text(Sha256);

impl Sha256Text {
    /// Adds bytes.
    pub fn update(&mut self, bytes: &[u8]) {
        self.0.update(bytes);
    }

    /// The hash of all bytes so far, 64 hexadecimal digits as `sha256sum` prints them.
    pub fn finish(self) -> String {
        let mut text = String::with_capacity(64);
        for byte in self.0.finalize() {
            let _ = write!(text, "{byte:02x}"); // writing to a String cannot fail
        }
        text
    }
}

/// SHA-256 of bytes in memory, 64 hexadecimal digits.
pub fn sha256_of_bytes(bytes: &[u8]) -> String {
    let mut hash = Sha256Text::default();
    hash.update(bytes);
    hash.finish()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn agrees_with_the_published_examples() {
        // [source: NIST FIPS 180-4 example values, one-block message "abc" and the empty message]
        assert_eq!(sha256_of_bytes(b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
        assert_eq!(sha256_of_bytes(b""), "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
    }
}
