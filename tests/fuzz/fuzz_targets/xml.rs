#![no_main]
//! Any bytes as a file of the engine `xml`.

use std::sync::LazyLock;

use strikemill_fuzz::Target;

static TARGET: LazyLock<Target> =
    LazyLock::new(|| Target::new("xml", "property = 'export/run/shot'", ["t", "b/v", "who"]));

libfuzzer_sys::fuzz_target!(|data: &[u8]| TARGET.run(data));
