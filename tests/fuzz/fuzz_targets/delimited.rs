#![no_main]
//! Any bytes as a file of the engine `delimited`.

use std::sync::LazyLock;

use strikemill_fuzz::Target;

static TARGET: LazyLock<Target> = LazyLock::new(|| {
    Target::new("delimited", "commentChar = '#'\nencoding = ['utf-8', 'utf-16le', 'windows-1252']", ["t", "v", "who"])
});

libfuzzer_sys::fuzz_target!(|data: &[u8]| TARGET.run(data));
