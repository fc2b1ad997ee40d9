//! The facts and dimensions that the pipeline itself writes. Analyses declare their columns in their job packs.

use crate::schema::ColumnKind::{Day, Flag, Instant, Integer, Real, Text};
use crate::{Column, Quantity, TableSchema};

/// Every dataset the pipeline writes, facts first.
pub fn published_datasets() -> Vec<TableSchema> {
    vec![shots(), rejects(), imports(), players(), clubs(), devices()]
}

fn quantity(quantity: Quantity) -> Column {
    Column::optional(quantity.name(), Real, quantity.unit(), quantity.meaning())
}

fn table(
    name: &str,
    description: &str,
    columns: Vec<Column>,
    key: &[&str],
    sort: &[&str],
    day: Option<&str>,
) -> TableSchema {
    let owned = |names: &[&str]| names.iter().map(|name| (*name).to_owned()).collect();
    TableSchema {
        name: name.into(),
        version: 1,
        description: description.into(),
        columns,
        key: owned(key),
        sort: owned(sort),
        partition_day: day.map(str::to_owned),
    }
}

fn site_column() -> Column {
    Column::required("site_id", Text, "", "site whose daemon wrote the row")
}

/// `shots`: one row a shot, as recorded.
pub fn shots() -> TableSchema {
    let mut columns = vec![
        Column::required("shot_id", Text, "", "identity of the shot: hash of the device's own texts"),
        site_column(),
        Column::optional("bay", Text, "", "bay the shot was hit in"),
        Column::optional("session_id", Text, "", "the device's own session text"),
        Column::optional(
            "player_id",
            Text,
            "",
            "alias of the player, or unknown-... for a name the roster does not have",
        ),
        Column::optional("hand", Integer, "", "+1 right-handed, -1 left-handed"),
        Column::optional("club_id", Text, "", "club, for example driver"),
        Column::optional("club_kind", Text, "", "driver, fairway-wood, hybrid, iron or wedge"),
        Column::optional("ball_kind", Text, "", "kind of ball, as the site names it"),
        Column::required("intent", Text, "", "play, drill, partial, demonstration or warm-up"),
        Column::required("struck_at", Instant, "", "instant of the shot, UTC"),
        Column::required("local_date", Day, "", "calendar day of the shot in the site's zone"),
        Column::required("zone", Text, "", "IANA zone of local_date"),
        Column::optional("environment", Text, "", "indoor or outdoor"),
    ];
    for number in Quantity::all() {
        columns.push(quantity(number));
        // Where the strike comes from stands beside the strike itself.
        if number == Quantity::StrikeUpMm {
            columns.push(Column::optional(
                "strike_source",
                Text,
                "",
                "measured, linked, or null without a strike position",
            ));
        }
    }
    columns.extend([
        Column::required("source_file_id", Text, "", "SHA-256 of the source file"),
        Column::required("source_row", Integer, "", "line or record of the source file, from 1"),
        Column::required("format", Text, "", "name of the mapping pack"),
        Column::required("format_version", Text, "", "version of the mapping pack"),
        Column::required("import_sequence", Integer, "", "order of imports at this site; the higher one won"),
        Column::required("imported_at", Instant, "", "instant of the import, UTC"),
        Column::optional("quality", Text, "", "quality codes joined by semicolons; null = nothing to report"),
    ]);
    table(
        "shots",
        "one row a shot, as recorded",
        columns,
        &["shot_id"],
        &["player_id", "struck_at", "shot_id"],
        Some("local_date"),
    )
}

/// `rejects`: one row a problem found in an imported file.
pub fn rejects() -> TableSchema {
    let columns = vec![
        site_column(),
        Column::required("source_file_id", Text, "", "SHA-256 of the source file"),
        Column::required("file_name", Text, "", "name under which the file arrived"),
        Column::required("format", Text, "", "name of the mapping pack"),
        Column::required("format_version", Text, "", "version of the mapping pack"),
        Column::required("severity", Text, "", "rejected = the row is not in shots; noted = it is"),
        Column::required("source_row", Integer, "", "line or record of the source file, from 1; 0 = the whole file"),
        Column::optional("source_column", Text, "", "source column or path concerned"),
        Column::required("source_text", Text, "", "the offending text as it stood in the file"),
        Column::required("rule", Text, "", "short word for the rule that was broken"),
        Column::required("message", Text, "", "what is wrong"),
        Column::required("hint", Text, "", "what to do about it"),
        Column::required("local_date", Day, "", "calendar day of the import in the site's zone"),
        Column::required("import_sequence", Integer, "", "order of imports at this site"),
        Column::required("imported_at", Instant, "", "instant of the import, UTC"),
    ];
    let key = ["source_file_id", "source_row", "source_column", "rule"];
    table("rejects", "one row a problem in an imported file", columns, &key, &key, Some("local_date"))
}

/// `imports`: one row a file.
pub fn imports() -> TableSchema {
    let columns = vec![
        Column::required("source_file_id", Text, "", "SHA-256 of the source file"),
        site_column(),
        Column::required("file_name", Text, "", "name under which the file arrived first"),
        Column::required("file_bytes", Integer, "By", "size of the file"),
        Column::required("format", Text, "", "name of the mapping pack"),
        Column::required("format_version", Text, "", "version of the mapping pack"),
        Column::required("rows_accepted", Integer, "", "rows taken into shots"),
        Column::required("rows_rejected", Integer, "", "rows in rejects that are not in shots"),
        Column::optional("first_struck_at", Instant, "", "earliest shot of the file, UTC"),
        Column::optional("last_struck_at", Instant, "", "latest shot of the file, UTC"),
        Column::required("local_date", Day, "", "calendar day of the import in the site's zone"),
        Column::required("import_sequence", Integer, "", "order of imports at this site"),
        Column::required("imported_at", Instant, "", "instant of the import, UTC"),
        Column::required("duration_s", Real, "s", "time from claim to staged"),
    ];
    table("imports", "one row an imported file", columns, &["source_file_id"], &["import_sequence"], Some("local_date"))
}

/// `players`: one row a player of the roster; an alias, never a name.
pub fn players() -> TableSchema {
    let columns = vec![
        site_column(),
        Column::required("player_id", Text, "", "alias of the player"),
        Column::required("hand", Integer, "", "+1 right-handed, -1 left-handed"),
        Column::optional("coach", Text, "", "alias of the coach"),
        Column::optional("groups", Text, "", "groups joined by semicolons"),
        Column::required("consent", Flag, "", "true = shots are analysed and summed up for the coach"),
        Column::required(
            "stock_path_deg",
            Real,
            "deg",
            "path of the player's usual shot about the aim, positive = right",
        ),
        Column::required(
            "stock_face_deg",
            Real,
            "deg",
            "face of the player's usual shot about the aim, positive = right",
        ),
    ];
    table("players", "one row a player of the roster", columns, &["player_id"], &["player_id"], None)
}

/// `clubs`: one row a player and club.
pub fn clubs() -> TableSchema {
    let columns = vec![
        site_column(),
        Column::required("player_id", Text, "", "alias of the player"),
        Column::required("club_id", Text, "", "club, for example driver"),
        Column::required("club_kind", Text, "", "driver, fairway-wood, hybrid, iron or wedge"),
        Column::required("head_profile", Text, "", "profile of config/heads.toml that stands for the head"),
    ];
    table("clubs", "one row a player and club", columns, &["player_id", "club_id"], &["player_id", "club_id"], None)
}

/// `devices`: one row a quantity that a mapping pack delivers, and how far to trust it.
pub fn devices() -> TableSchema {
    let columns = vec![
        site_column(),
        Column::required("format", Text, "", "name of the mapping pack"),
        Column::required("format_version", Text, "", "version of the mapping pack"),
        Column::required("quantity", Text, "", "column of shots"),
        Column::required("measured", Flag, "", "true = measured; false = computed by the device, which is no evidence"),
        Column::optional("standard_deviation", Real, "", "of one reading, in the unit of the quantity's column"),
        Column::optional("face_reference", Text, "", "for face_deg: face-centre or strike-point"),
    ];
    let key = ["format", "format_version", "quantity"];
    table("devices", "one row a quantity a device delivers", columns, &key, &key, None)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_description_is_sound() {
        for dataset in published_datasets() {
            assert_eq!(dataset.faults(), Vec::<String>::new(), "{}", dataset.name);
            assert_eq!(dataset.arrow_schema().fields().len(), dataset.columns.len());
        }
    }

    #[test]
    fn units_travel_in_the_field_metadata() {
        let schema = shots().arrow_schema();
        let field = schema.field_with_name("ball_speed_mps").expect("a column of shots");
        assert_eq!(field.metadata().get("unit").map(String::as_str), Some("m/s"));
        assert!(field.is_nullable());
    }
}
