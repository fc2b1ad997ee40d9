//! The closed lists of words that `format.schema.json` offers to editors. Only tests know this module: it is what the checked-in
//! schema is made from.

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde_json::{Map, Value, json};
use shot::Quantity;

use crate::spec::{NumberSpec, PackSpec};
use crate::unit::Unit;

macro_rules! words {
    ($(#[$doc:meta])* $name:ident: $($variant:ident = $word:literal),+) => {
        $(#[$doc])*
        #[derive(JsonSchema)]
        #[expect(dead_code, reason = "only the schema of the words is used")]
        pub(crate) enum $name {
            $(#[schemars(rename = $word)] $variant),+
        }
    };
}

words!(ClubKind: Driver = "driver", FairwayWood = "fairway-wood", Hybrid = "hybrid", Iron = "iron", Wedge = "wedge");
words!(Place: Indoor = "indoor", Outdoor = "outdoor");
words!(Side: Right = "right", Left = "left");
words!(Purpose: Play = "play", Drill = "drill", Partial = "partial", Demonstration = "demonstration", WarmUp = "warm-up");
words!(FaceReference: Centre = "face-centre", Strike = "strike-point");
words!(SpeedColumn: Ball = "ball_speed_mps", Club = "club_speed_mps");
words!(FirstColumn: Heel = "heel", Toe = "toe");
words!(FirstRow: Top = "top", Bottom = "bottom");

/// A UCUM code that we know.
pub(crate) fn unit(_: &mut SchemaGenerator) -> Schema {
    let codes: Vec<String> = Unit::all_codes().split(", ").map(str::to_owned).collect();
    json_schema!({ "type": "string", "enum": codes })
}

/// Any word, and the unit it stands for.
pub(crate) fn unit_words(generator: &mut SchemaGenerator) -> Schema {
    let unit = unit(generator);
    json_schema!({ "type": "object", "additionalProperties": unit })
}

/// One table for each of our columns.
pub(crate) fn measures(generator: &mut SchemaGenerator) -> Schema {
    let number = generator.subschema_for::<NumberSpec>();
    let mut properties = Map::new();
    for quantity in Quantity::all() {
        let mut required = vec!["measured"];
        if quantity == Quantity::FaceDeg {
            required.push("faceReference");
        }
        let description = format!("{} ({})", quantity.meaning(), quantity.unit());
        let entry = json!({ "description": description, "allOf": [number], "required": required });
        properties.insert(quantity.name().to_owned(), entry);
    }
    json_schema!({ "type": "object", "properties": properties, "additionalProperties": false })
}

/// The schema of `format.toml`, as text with a line end.
fn format_schema() -> String {
    let settings = schemars::generate::SchemaSettings::draft07();
    let mut schema = settings.into_generator().into_root_schema_for::<PackSpec>().to_value();
    if let Value::Object(root) = &mut schema {
        root.insert("title".to_owned(), json!("strikemill mapping pack: format.toml"));
    }
    format!("{schema:#}\n")
}

#[test]
fn the_checked_in_schema_is_that_of_the_code() {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../plugins/formats/format.schema.json");
    let made = format_schema();
    if std::env::var_os("STRIKEMILL_WRITE_SCHEMAS").is_some() {
        std::fs::write(&path, &made).expect("the schema can be written");
    }
    let checked_in = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(
        checked_in == made,
        "{} is not that of the code\nhint: renew it with STRIKEMILL_WRITE_SCHEMAS=1 cargo test -p formats schema",
        path.display()
    );
}

#[test]
fn the_words_are_those_the_code_takes() {
    let text = format_schema();
    for word in shot::Intent::WORDS.map(|(_, word)| word) {
        assert!(text.contains(&format!("\"{word}\"")), "{word}");
    }
    let schema: Value = serde_json::from_str(&text).expect("JSON");
    let required = schema["required"].as_array().expect("required keys");
    for key in ["name", "version", "engine", "schema", "time"] {
        assert!(required.contains(&json!(key)), "{key} in {required:?}");
    }
    assert!(!required.contains(&json!("measures")) && !required.contains(&json!("title")), "{required:?}");
    assert_eq!(schema["additionalProperties"], json!(false));
}
