//! A table schema as it stands in a segment's description, so that a segment is readable whatever version staged it.

use serde::{Deserialize, Serialize};
use shot::{Column, ColumnKind, TableSchema};

#[derive(Debug, Serialize, Deserialize)]
pub(crate) struct SchemaRecord {
    name: String,
    version: i64,
    description: String,
    columns: Vec<ColumnRecord>,
    key: Vec<String>,
    sort: Vec<String>,
    partition_day: Option<String>,
}

#[derive(Debug, Serialize, Deserialize)]
struct ColumnRecord {
    name: String,
    kind: String,
    unit: String,
    description: String,
    required: bool,
}

impl From<&TableSchema> for SchemaRecord {
    fn from(schema: &TableSchema) -> SchemaRecord {
        let columns = schema.columns.iter().map(|column| ColumnRecord {
            name: column.name.clone(),
            kind: column.kind.word().to_owned(),
            unit: column.unit.clone(),
            description: column.description.clone(),
            required: column.required,
        });
        SchemaRecord {
            name: schema.name.clone(),
            version: schema.version,
            description: schema.description.clone(),
            columns: columns.collect(),
            key: schema.key.clone(),
            sort: schema.sort.clone(),
            partition_day: schema.partition_day.clone(),
        }
    }
}

impl SchemaRecord {
    /// The schema; the error names a column of unknown kind.
    pub(crate) fn into_schema(self) -> Result<TableSchema, String> {
        let mut columns = Vec::with_capacity(self.columns.len());
        for column in self.columns {
            let Some(kind) = ColumnKind::parse(&column.kind) else {
                return Err(format!("column \"{}\" has the unknown kind \"{}\"", column.name, column.kind));
            };
            columns.push(Column {
                name: column.name,
                kind,
                unit: column.unit,
                description: column.description,
                required: column.required,
            });
        }
        Ok(TableSchema {
            name: self.name,
            version: self.version,
            description: self.description,
            columns,
            key: self.key,
            sort: self.sort,
            partition_day: self.partition_day,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_published_schema_survives_the_record() {
        for schema in shot::published_datasets() {
            let text = serde_json::to_string(&SchemaRecord::from(&schema)).expect("it serialises");
            let record: SchemaRecord = serde_json::from_str(&text).expect("it reads");
            assert_eq!(record.into_schema().expect("known kinds"), schema);
        }
    }
}
