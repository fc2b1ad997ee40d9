//! `plugins/jobs/job.schema.json` as the code has it, and the closed lists of words in it. Only tests know this module.

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde_json::{Value, json};
use shot::ColumnKind;

use super::file::PackFile;

/// A value of `[parameters]`.
#[derive(JsonSchema)]
#[schemars(untagged)]
#[expect(dead_code, reason = "only its schema is used")]
pub(super) enum ParameterWord {
    Integer(i64),
    Real(f64),
    Text(String),
    Flag(bool),
}

/// A type of a column.
pub(super) struct TypeWord;

impl JsonSchema for TypeWord {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "TypeWord".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string", "enum": ColumnKind::WORDS.map(|(_, word)| word) })
    }
}

/// The schema as text with a line end.
fn job_schema() -> String {
    let settings = schemars::generate::SchemaSettings::draft07();
    let mut schema = settings.into_generator().into_root_schema_for::<PackFile>().to_value();
    if let Value::Object(root) = &mut schema {
        root.insert("title".to_owned(), json!("strikemill job pack: job.toml"));
    }
    format!("{schema:#}\n")
}

#[test]
fn the_checked_in_schema_is_that_of_the_code() {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../plugins/jobs/job.schema.json");
    let made = job_schema();
    if std::env::var_os("STRIKEMILL_WRITE_SCHEMAS").is_some() {
        std::fs::write(&path, &made).expect("the schema can be written");
    }
    let checked_in = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(
        checked_in == made,
        "{} is not that of the code\nhint: renew it with STRIKEMILL_WRITE_SCHEMAS=1 cargo test -p jobs schema",
        path.display()
    );
    let schema: Value = serde_json::from_str(&made).expect("JSON");
    assert_eq!(schema["required"], json!(["name", "version", "description", "output"]));
    assert_eq!(schema["additionalProperties"], json!(false));
}
