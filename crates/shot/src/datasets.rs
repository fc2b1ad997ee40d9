//! The facts and dimensions that the pipeline itself writes. Analyses declare their columns in their job packs.

use crate::schema::ColumnKind::{Day, Flag, Instant, Integer, Real, Text};
use crate::{Column, Quantity, TableSchema};

/// Every dataset the pipeline writes, facts first.
pub fn published_datasets() -> Vec<TableSchema> {
    vec![shots(), strike_marks(), strike_links(), bay_clocks(), rejects(), imports(), players(), clubs(), devices()]
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
        // What a roster entry or a correction changes stays visible beside it, so that taking it back gives the same row again.
        Column::optional(
            "recorded_player_id",
            Text,
            "",
            "unknown-... of the device's own name, before roster and corrections",
        ),
        Column::optional("recorded_hand", Integer, "", "hand as the device gave it: +1 right-handed, -1 left-handed"),
        Column::optional("recorded_club_id", Text, "", "club as the device gave it, before corrections"),
        Column::optional("recorded_club_kind", Text, "", "kind of that club"),
        Column::optional("recorded_intent", Text, "", "intent as the device gave it, before corrections"),
    ]);
    let table = table(
        "shots",
        "one row a shot, as recorded, with roster, corrections and linked strikes applied",
        columns,
        &["shot_id"],
        &["player_id", "struck_at", "shot_id"],
        Some("local_date"),
    );
    TableSchema { version: 2, ..table }
}

/// The columns that say which import a row comes from.
fn provenance() -> Vec<Column> {
    vec![
        Column::required("source_file_id", Text, "", "SHA-256 of the source file"),
        Column::required("source_row", Integer, "", "line or record of the source file, from 1"),
        Column::required("format", Text, "", "name of the mapping pack"),
        Column::required("format_version", Text, "", "version of the mapping pack"),
        Column::required("import_sequence", Integer, "", "order of imports at this site; the higher one won"),
        Column::required("imported_at", Instant, "", "instant of the import, UTC"),
    ]
}

/// `strike_marks`: one row a strike position that was noted or filmed apart from the shot.
pub fn strike_marks() -> TableSchema {
    let mut columns = vec![
        Column::required("mark_id", Text, "", "identity of the mark: hash of the texts it was noted with"),
        site_column(),
        Column::optional("bay", Text, "", "bay the mark was noted in"),
        Column::optional("session_id", Text, "", "session as the list or camera names it"),
        Column::optional(
            "player_id",
            Text,
            "",
            "alias of the player, or unknown-... for a name the roster does not have",
        ),
        Column::optional("club_id", Text, "", "club, where the list names it"),
        Column::required("noted_at", Instant, "", "instant by the list's or camera's own clock, UTC"),
        Column::required("local_date", Day, "", "calendar day of noted_at in the site's zone"),
        Column::required("zone", Text, "", "IANA zone of local_date"),
        Column::required("time_sd_s", Real, "s", "standard deviation of noted_at apart from the clock's offset"),
    ];
    for number in [Quantity::StrikeToeMm, Quantity::StrikeUpMm, Quantity::StrikeSdMm] {
        columns.push(quantity(number));
    }
    columns.extend(provenance());
    columns.extend([
        Column::optional("quality", Text, "", "quality codes joined by semicolons; null = nothing to report"),
        Column::optional(
            "recorded_player_id",
            Text,
            "",
            "unknown-... of the noted name, before roster and corrections",
        ),
    ]);
    table(
        "strike_marks",
        "one row a strike position noted or filmed apart from the shot",
        columns,
        &["mark_id"],
        &["player_id", "noted_at", "mark_id"],
        Some("local_date"),
    )
}

/// `strike_links`: one row a mark: the shot it belongs to, or why none is named.
pub fn strike_links() -> TableSchema {
    let columns = vec![
        site_column(),
        Column::required("mark_id", Text, "", "the mark"),
        Column::required("fate", Text, "", "linked, ambiguous (several shots fit) or unmatched (none fits)"),
        Column::optional("shot_id", Text, "", "the shot; null unless linked"),
        Column::optional("probability", Real, "1", "probability of the link, or of the likeliest candidate"),
        Column::optional(
            "candidates",
            Text,
            "",
            "shots that fit with their probabilities, likeliest first; null unless ambiguous",
        ),
        Column::optional("bay", Text, "", "bay of the mark"),
        Column::optional("player_id", Text, "", "alias of the player"),
        Column::required("noted_at", Instant, "", "instant of the mark by its own clock, UTC"),
        Column::required("local_date", Day, "", "calendar day of noted_at in the site's zone"),
        Column::optional("clock_offset_s", Real, "s", "estimated lead of the mark's clock over the shots' clock"),
    ];
    table(
        "strike_links",
        "one row a strike mark and what became of it",
        columns,
        &["mark_id"],
        &["local_date", "bay", "noted_at", "mark_id"],
        Some("local_date"),
    )
}

/// `bay_clocks`: one row a bay, player and day with strike marks: how far their clock ran from that of the shots.
pub fn bay_clocks() -> TableSchema {
    let columns = vec![
        site_column(),
        Column::required("bay", Text, "", "bay; empty where marks and shots name none"),
        Column::required("mark_format", Text, "", "mapping pack of the marks"),
        Column::required("local_date", Day, "", "calendar day in the site's zone"),
        Column::optional(
            "clock_offset_s",
            Real,
            "s",
            "lead of the marks' clock over the shots' clock; null where it is not identified",
        ),
        Column::optional("clock_offset_sd_s", Real, "s", "standard deviation of clock_offset_s"),
        Column::required("marks", Integer, "1", "marks of the day"),
        Column::required("marks_linked", Integer, "1", "marks that were linked to a shot"),
        Column::required("marks_ambiguous", Integer, "1", "marks that several shots fit"),
    ];
    let key = ["bay", "mark_format", "local_date"];
    table("bay_clocks", "one row a bay and day with strike marks", columns, &key, &key, Some("local_date"))
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
    // The message too: one cell can break one rule twice, for two quantities.
    let key = ["source_file_id", "source_row", "source_column", "rule", "message"];
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
