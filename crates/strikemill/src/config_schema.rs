//! `config/strikemill.schema.json` as the code has it, and the closed lists of words in it. Only tests know this module.

use schemars::JsonSchema;
use serde_json::{Value, json};

use crate::config_file::RawConfiguration;

macro_rules! words {
    ($name:ident: $($variant:ident = $word:literal),+) => {
        #[derive(JsonSchema)]
        #[expect(dead_code, reason = "only the schema of the words is used")]
        pub(crate) enum $name {
            $(#[schemars(rename = $word)] $variant),+
        }
    };
}

words!(Units: Yards = "yards", Metres = "metres");
words!(Environment: Indoor = "indoor", Outdoor = "outdoor");
words!(LogFormat: Text = "text", Json = "json");
words!(LogLevel: Error = "error", Warn = "warn", Info = "info", Debug = "debug", Trace = "trace");

/// The schema as text with a line end.
fn configuration_schema() -> String {
    let settings = schemars::generate::SchemaSettings::draft07();
    let mut schema = settings.into_generator().into_root_schema_for::<RawConfiguration>().to_value();
    if let Value::Object(root) = &mut schema {
        root.insert("title".to_owned(), json!("strikemill configuration: strikemill.toml"));
    }
    format!("{schema:#}\n")
}

#[test]
fn the_checked_in_schema_is_that_of_the_code() {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../config/strikemill.schema.json");
    let made = configuration_schema();
    if std::env::var_os("STRIKEMILL_WRITE_SCHEMAS").is_some() {
        std::fs::write(&path, &made).expect("the schema can be written");
    }
    let checked_in = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(
        checked_in == made,
        "{} is not that of the code\nhint: renew it with STRIKEMILL_WRITE_SCHEMAS=1 cargo test -p strikemill schema",
        path.display()
    );
    let schema: Value = serde_json::from_str(&made).expect("JSON");
    assert_eq!((&schema["required"], &schema["additionalProperties"]), (&json!(["site"]), &json!(false)));
}
