#![no_main]
//! Any bytes as a file of the engine `json-lines`.

use std::sync::LazyLock;

use strikemill_fuzz::Target;

static TARGET: LazyLock<Target> =
    LazyLock::new(|| Target::new("json-lines", "encoding = ['utf-8', 'utf-16le']", ["t", "b.v", "who"]));

libfuzzer_sys::fuzz_target!(|data: &[u8]| TARGET.run(data));
