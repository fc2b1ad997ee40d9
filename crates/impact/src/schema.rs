//! `config/heads.schema.json` as the code has it. Only tests know this module.

use serde_json::{Value, json};

use crate::heads::HeadBook;

/// The schema as text with a line end.
fn heads_schema() -> String {
    let settings = schemars::generate::SchemaSettings::draft07();
    let mut schema = settings.into_generator().into_root_schema_for::<HeadBook>().to_value();
    if let Value::Object(root) = &mut schema {
        root.insert("title".to_owned(), json!("strikemill head profiles: heads.toml"));
    }
    format!("{schema:#}\n")
}

#[test]
fn the_checked_in_schema_is_that_of_the_code() {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../config/heads.schema.json");
    let made = heads_schema();
    if std::env::var_os("STRIKEMILL_WRITE_SCHEMAS").is_some() {
        std::fs::write(&path, &made).expect("the schema can be written");
    }
    let checked_in = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(
        checked_in == made,
        "{} is not that of the code\nhint: renew it with STRIKEMILL_WRITE_SCHEMAS=1 cargo test -p impact schema",
        path.display()
    );
    let schema: Value = serde_json::from_str(&made).expect("JSON");
    assert_eq!((&schema["required"], &schema["additionalProperties"]), (&json!(["head"]), &json!(false)));
}

#[test]
fn every_key_of_the_shipped_profiles_is_in_the_schema() {
    let schema: Value = serde_json::from_str(&heads_schema()).expect("JSON");
    let known = &schema["definitions"]["HeadProfile"]["properties"];
    let shipped: toml::Table = include_str!("../../../config/heads.toml").parse().expect("the shipped heads");
    let heads = shipped["head"].as_array().expect("a list of heads");
    assert!(heads.len() >= 8);
    for head in heads {
        for (key, _) in head.as_table().expect("a table") {
            assert!(known[key].is_object(), "{key} is not in the schema");
        }
    }
}
