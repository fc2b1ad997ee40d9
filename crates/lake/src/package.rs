//! `<site>.datapackage.json`: what the columns mean, in the Frictionless Data Package form, for people and tools outside
//! strikemill. It stands at the lake's root, since the form allows no path that climbs out of the document's folder.

use serde_json::{Map, Value, json};
use shot::{ColumnKind, TableSchema};

use crate::manifest::json_bytes;
use crate::store::Store;
use crate::{LakeError, Manifest};

/// Brings the package up to date with the manifest; `schemas` are those of this publication, other datasets keep the description
/// they have. Writes only when something changed.
pub(crate) fn refresh(store: &Store, manifest: &Manifest, schemas: &[TableSchema]) -> Result<(), LakeError> {
    let path = store.package_path();
    // Older versions kept it beside the manifest.
    let outdated = store.site_folder().join("datapackage.json");
    let stands_outdated = store.bytes_of(&outdated)?.is_some();
    let before = store.read_document(&path)?;
    let described = if before.is_none() && stands_outdated { store.read_document(&outdated)? } else { before.clone() };
    let mut resources: Map<String, Value> = Map::new();
    for resource in described.as_deref().map(known_resources).unwrap_or_default() {
        if let Some(name) = resource.get("name").and_then(Value::as_str) {
            resources.insert(name.to_owned(), resource);
        }
    }
    for schema in schemas {
        resources.insert(schema.name.clone(), describe(schema));
    }
    let mut live = Vec::new();
    for (dataset, mut resource) in resources {
        let paths: Vec<String> = manifest.of_dataset(&dataset).map(|file| file.path.clone()).collect();
        if !paths.is_empty() {
            resource["path"] = json!(paths);
            live.push(resource);
        }
    }
    if live.is_empty() && described.is_none() {
        return Ok(());
    }
    let package = json!({
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "name": format!("lake-{}", store.site_id),
        "description": "Shots of one site and what was derived from them. Units are UCUM codes; signs and axes stand in the field descriptions.",
        "resources": live,
    });
    let after = json_bytes(&path, &package)?;
    if before.as_deref() != Some(&after[..]) {
        store.write_document(&path, &after)?;
    }
    if stands_outdated {
        store.remove(&outdated)?;
    }
    Ok(())
}

/// The resources of the document that stands; none if it does not read, since all of it can be written anew.
fn known_resources(bytes: &[u8]) -> Vec<Value> {
    let document: Value = serde_json::from_slice(bytes).unwrap_or(Value::Null);
    document.get("resources").and_then(Value::as_array).cloned().unwrap_or_default()
}

fn describe(schema: &TableSchema) -> Value {
    let mut fields = Vec::with_capacity(schema.columns.len());
    for column in &schema.columns {
        let mut field = json!({
            "name": column.name,
            "type": field_type(column.kind),
            "description": column.description,
        });
        if !column.unit.is_empty() {
            field["unit"] = json!(column.unit);
        }
        if column.required {
            field["constraints"] = json!({ "required": true });
        }
        fields.push(field);
    }
    json!({
        "name": schema.name,
        "type": "table",
        "description": schema.description,
        "version": schema.version.to_string(),
        "format": "parquet",
        "mediatype": "application/vnd.apache.parquet",
        // A text may be empty, which is not the same as missing; in Parquet missing is null.
        "schema": { "fields": fields, "primaryKey": schema.key, "missingValues": [] },
    })
}

fn field_type(kind: ColumnKind) -> &'static str {
    match kind {
        ColumnKind::Text => "string",
        ColumnKind::Integer => "integer",
        ColumnKind::Real => "number",
        ColumnKind::Flag => "boolean",
        ColumnKind::Day => "date",
        ColumnKind::Instant => "datetime",
    }
}
