#![no_main]
//! Any bytes as a file of the engine `parquet`.

use std::sync::LazyLock;

use strikemill_fuzz::Target;

static TARGET: LazyLock<Target> = LazyLock::new(|| Target::new("parquet", "", ["t", "v", "who"]));

libfuzzer_sys::fuzz_target!(|data: &[u8]| TARGET.run(data));
