//! Aliases, consent, and the datasets that describe.

use std::path::Path;
use std::sync::Arc;

use arrow::array::AsArray;
use intake::Roster;
use shot::{Hand, placeholder_player};

use crate::site::{HEADER, Site, at, row};

const COLUMNS: &str = "player_id,shown_as,aliases,hand,coach,groups,consent,clubs,stock_path_deg,stock_face_deg\n";

fn roster(lines: &str) -> (Roster, Vec<intake::TableFault>) {
    Roster::parse(Path::new("config/roster.csv"), &format!("{COLUMNS}{lines}"))
}

#[test]
fn aliases_resolve_and_consent_rules() {
    let (roster, faults) = roster(
        "# the academy's players\n\
         wren,Wren,Wren;W. 01,left,heron,juniors;elite,yes,driver=modern-driver; 7-iron=iron-mid,1.5,-0.5\n\
         \"dipper\",,\"Dipper, the younger\",right,,,no,,,\n",
    );
    assert_eq!(faults, []);
    let wren = roster.resolve("north", "  w. 01 ");
    assert_eq!((wren.player_id.as_str(), wren.hand), ("wren", Some(Hand::Left)));
    let dipper = roster.resolve("north", "Dipper, the younger");
    assert_eq!(dipper.player_id, placeholder_player("north", "Dipper, the younger"));
    assert_eq!(dipper.hand, None);
    assert_eq!(roster.resolve("north", "stranger").player_id, placeholder_player("north", "stranger"));

    let mut site = Site::new();
    site.roster = Arc::new(roster);
    let running = site.start();
    let text = format!("{HEADER}{}{}{}", row(1, "WREN"), row(2, "\"Dipper, the younger\""), row(3, "Stranger"));
    site.drop_file("session_1_bay2.csv", text);
    running.settle_and_scan(0);
    let mut players = running.texts(&shot::shots(), "player_id");
    players.sort();
    let mut expected = vec![
        "wren".to_owned(),
        placeholder_player("north", "Dipper, the younger"),
        placeholder_player("north", "Stranger"),
    ];
    expected.sort();
    assert_eq!(players, expected);

    running.intake.publish_dimensions(at(10)).expect("dimensions");
    assert_eq!(running.texts(&shot::players(), "player_id"), ["dipper", "wren"]);
    assert_eq!(running.texts(&shot::players(), "groups"), ["-", "juniors;elite"]);
    let consent = &running.rows(&shot::players())[0];
    let consent = consent.column_by_name("consent").expect("column").as_boolean();
    assert_eq!((consent.value(0), consent.value(1)), (false, true));
    assert_eq!(running.texts(&shot::clubs(), "club_kind"), ["iron", "driver"]);
    assert!(running.texts(&shot::devices(), "format").contains(&"strike-lines".to_owned()));
    let generation = running.lake.manifest().expect("manifest").generation;
    running.intake.publish_dimensions(at(20)).expect("dimensions again");
    assert_eq!(running.lake.manifest().expect("manifest").generation, generation, "nothing changed");
}

#[test]
fn every_fault_is_told_with_its_place() {
    let (roster, faults) = roster(
        "wren,Wren,W1,right,,,yes,,,\n\
         Bad Name,,,right,,,yes,,,\n\
         dipper,,w1,rigt,,,maybe,putter=x;driver;7-iron=a;7-iron=b,90,\n\
         finch,,w1;F1,left,,,yes,,,\n\
         wren,,,left,,,yes,,,\n\
         short,line\n",
    );
    let told: Vec<(u64, &str)> = faults.iter().map(|fault| (fault.line, fault.column.as_str())).collect();
    let expected = [
        (3, "player_id"),
        (4, "hand"),
        (4, "consent"),
        (4, "clubs"),
        (4, "clubs"),
        (4, "clubs"),
        (4, "stock_path_deg"),
        (6, "player_id"),
        (7, ""),
        (5, "aliases"),
    ];
    assert_eq!(told, expected);
    for fault in &faults {
        let text = fault.to_string();
        assert!(text.contains("config/roster.csv:") && text.contains("hint: "), "{text}");
    }
    let ids: Vec<&str> = roster.players().iter().map(|player| player.player_id.as_str()).collect();
    assert_eq!(ids, ["wren", "finch"]);
    // Claimed by two, W1 is nobody's; what is not contested stands.
    assert_eq!(roster.resolve("north", "W1").player_id, placeholder_player("north", "W1"));
    assert_eq!(roster.resolve("north", "f1").player_id, "finch");
}

#[test]
fn a_wrong_file_is_told_as_a_whole() {
    let (_, faults) = Roster::parse(Path::new("r.csv"), "player_id;shown_as\nwren;Wren\n");
    assert!(faults[0].hint.contains("commas"), "{:?}", faults[0]);
    let (_, faults) = Roster::parse(Path::new("r.csv"), "player_id,nickname\n");
    assert!(faults.iter().any(|fault| fault.column == "nickname") && faults.len() == 10, "{faults:?}");
    let folder = tempfile::tempdir().expect("folder");
    let (roster, faults) = Roster::load(&folder.path().join("absent.csv"));
    assert_eq!((roster.players().len(), faults.len(), faults[0].line), (0, 1, 0));
    let path = folder.path().join("latin.csv");
    std::fs::write(&path, [COLUMNS.as_bytes(), b"wren,B\xe4r,,right,,,yes,,,\n"].concat()).expect("a file");
    let (_, faults) = Roster::load(&path);
    assert!(faults[0].message.contains("line 2"), "{:?}", faults[0]);
    std::fs::write(&path, format!("\u{feff}{COLUMNS}wren,,,right,,,yes,,,\r\n")).expect("a file");
    let (roster, faults) = Roster::load(&path);
    assert_eq!((roster.players().len(), faults), (1, vec![]));
}
