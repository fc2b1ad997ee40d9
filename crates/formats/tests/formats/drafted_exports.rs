//! Exports made up in random dialects, units and languages: the drafted pack must read the values that were written. And no bytes make
//! a draft panic.

use formats::{PackSet, draft};
use proptest::prelude::*;
use proptest::sample::{Index, select};
use shot::Quantity;

use crate::{shipped, shipped_dir, site};

/// One shot in our units.
#[derive(Debug, Clone)]
struct Shot {
    ball_mps: f64,
    club_mps: f64,
    elevation_deg: f64,
    azimuth_deg: f64,
    spin_rpm: f64,
    carry_m: f64,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum UnitPlace {
    Header,
    Row,
    Value,
}

/// Where and how an export is written.
#[derive(Debug, Clone)]
#[expect(clippy::struct_excessive_bools, reason = "each is drawn apart")]
struct Dialect {
    delimiter: char,
    decimal: char,
    language: usize,
    units: usize,
    unit_place: UnitPlace,
    sides: bool,
    preamble: bool,
    clock_apart: bool,
    day_first: bool,
    utf16: bool,
    missing: Option<Index>,
}

/// Words for number, time, date, player, club, ball speed, club speed, launch angle, launch direction, spin, carry.
const HEADERS: [[&str; 11]; 4] = [
    [
        "No",
        "Time",
        "Date",
        "Player",
        "Club",
        "Ball Speed",
        "Club Speed",
        "Launch Angle",
        "Launch Direction",
        "Spin Rate",
        "Carry",
    ],
    [
        "Nr",
        "Zeit",
        "Datum",
        "Spieler",
        "Schläger",
        "Ballgeschwindigkeit",
        "Schlägergeschwindigkeit",
        "Abflugwinkel",
        "Abflugrichtung",
        "Drall",
        "Flugweite",
    ],
    [
        "Numéro",
        "Heure",
        "Date",
        "Joueur",
        "Club",
        "Vitesse de balle",
        "Vitesse du club",
        "Angle de lancement",
        "Direction de lancement",
        "Taux de rotation",
        "Portée",
    ],
    [
        "Número",
        "Hora",
        "Fecha",
        "Jugador",
        "Palo",
        "Velocidad de la bola",
        "Velocidad del palo",
        "Ángulo de lanzamiento",
        "Dirección de lanzamiento",
        "Rotación",
        "Carry",
    ],
];

/// Words for speed, length, angle, rate; and how much of them one of our units is.
// [source: NIST SP 811 appendix B.8: mile per hour 0.447 04 m/s, yard 0.914 4 m]
const UNITS: [([&str; 4], f64, f64); 3] = [
    (["m/s", "m", "deg", "rpm"], 1.0, 1.0),
    (["mph", "yd", "deg", "rpm"], 1.0 / 0.447_04, 1.0 / 0.914_4),
    (["km/h", "m", "°", "U/min"], 3.6, 1.0),
];

impl Dialect {
    fn number(&self, value: f64, unit: usize) -> String {
        let text = format!("{value:.2}").replace('.', &self.decimal.to_string());
        if self.unit_place == UnitPlace::Value { format!("{text} {}", UNITS[self.units].0[unit]) } else { text }
    }

    fn azimuth(&self, value: f64) -> String {
        if !self.sides {
            return self.number(value, 2);
        }
        let text = format!("{:.2}", value.abs()).replace('.', &self.decimal.to_string());
        format!("{text} {}", if value < 0.0 { "L" } else { "R" })
    }

    fn write(&self, shots: &[Shot]) -> Vec<u8> {
        let (words, speed, length) = UNITS[self.units];
        let names = HEADERS[self.language];
        // Unit word of each column, where it has one; sides stand where a unit would.
        let unit_of = [None, None, None, None, None, Some(0), Some(0), Some(2), Some(2), Some(3), Some(1)];
        let mut rows: Vec<Vec<String>> = Vec::new();
        let mut header: Vec<String> = names.iter().map(|name| (*name).to_owned()).collect();
        if self.unit_place == UnitPlace::Header {
            for (name, unit) in header.iter_mut().zip(unit_of) {
                *name = unit.map_or(name.clone(), |unit| format!("{name} [{}]", words[unit]));
            }
        }
        rows.push(header);
        if self.unit_place == UnitPlace::Row {
            rows.push(unit_of.iter().map(|unit| unit.map_or("", |unit| words[unit]).to_owned()).collect());
        }
        for (place, shot) in shots.iter().enumerate() {
            let clock = format!("15:{:02}:{:02}", place / 60 + 7, place % 60);
            let day = if self.day_first { "28.04.2026" } else { "2026-04-28" };
            let club = ["Driver", "7 Iron", "PW"][place % 3];
            let player = ["Wren", "Heron"][place % 2];
            let mut row = vec![
                (place + 1).to_string(),
                if self.clock_apart { clock.clone() } else { format!("{day} {clock}") },
                if self.clock_apart { day.to_owned() } else { String::new() },
                player.to_owned(),
                club.to_owned(),
                self.number(shot.ball_mps * speed, 0),
                self.number(shot.club_mps * speed, 0),
                self.number(shot.elevation_deg, 2),
                self.azimuth(shot.azimuth_deg),
                self.number(shot.spin_rpm, 3),
                self.number(shot.carry_m * length, 1),
            ];
            if self.missing.is_some_and(|lacking| lacking.index(shots.len()) == place) {
                "--".clone_into(&mut row[6]);
            }
            rows.push(row);
        }
        let mut text = String::new();
        if self.preamble {
            text.push_str("Bay: 4\nSite: North\n---\n");
        }
        for row in rows {
            text.push_str(&row.join(&self.delimiter.to_string()));
            text.push_str("\r\n");
        }
        if self.utf16 {
            [0xff, 0xfe].into_iter().chain(text.encode_utf16().flat_map(u16::to_le_bytes)).collect()
        } else {
            text.into_bytes()
        }
    }
}

fn dialect() -> impl Strategy<Value = Dialect> {
    let shape = (select(vec![',', ';', '\t', '|']), any::<bool>(), 0..HEADERS.len(), 0..UNITS.len());
    let place = select(vec![UnitPlace::Header, UnitPlace::Row, UnitPlace::Value]);
    let flags = (any::<bool>(), any::<bool>(), any::<bool>(), any::<bool>(), any::<bool>());
    (shape, place, flags, any::<Option<Index>>()).prop_map(|(shape, unit_place, flags, missing)| {
        let (delimiter, comma, language, units) = shape;
        let (sides, preamble, clock_apart, day_first, utf16) = flags;
        let decimal = if comma && delimiter != ',' { ',' } else { '.' };
        Dialect {
            delimiter,
            decimal,
            language,
            units,
            unit_place,
            sides,
            preamble,
            clock_apart,
            day_first,
            utf16,
            missing,
        }
    })
}

fn shots() -> impl Strategy<Value = Vec<Shot>> {
    let shot = (40.0..75.0, 1.2..1.5, 5.0..30.0, -5.0..5.0, 1500.0..9000.0, 80.0..240.0_f64);
    let shot = shot.prop_map(|(ball_mps, ratio, elevation_deg, azimuth_deg, spin_rpm, carry_m)| Shot {
        ball_mps,
        club_mps: ball_mps / ratio,
        elevation_deg,
        azimuth_deg,
        spin_rpm,
        carry_m,
    });
    prop::collection::vec(shot, 4..30)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 120, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn drafted_packs_read_what_was_written(dialect in dialect(), shots in shots()) {
        let bytes = dialect.write(&shots);
        let drafted = draft("made-up", "export-7.txt", &bytes);
        prop_assert!(drafted.obstacle.is_none(), "{:?}\n{}", drafted.obstacle, drafted.format_toml);
        prop_assert!(!String::from_utf8_lossy(&drafted.sample_bytes).replace('\0', "").contains("Wren"));
        let folder = tempfile::tempdir().expect("a folder");
        let pack = folder.path().join("made-up");
        std::fs::create_dir(&pack).expect("a folder");
        std::fs::write(pack.join("format.toml"), &drafted.format_toml).expect("a file");
        std::fs::write(pack.join(&drafted.sample_name), &drafted.sample_bytes).expect("a file");
        std::fs::write(pack.join("expected.csv"), &drafted.expected_csv).expect("a file");
        let (set, faults) = PackSet::load(folder.path());
        prop_assert!(faults.is_empty(), "{faults:?}");
        let pack = crate::only(&set);
        prop_assert!(formats::test_pack(pack).passed(), "{}", formats::test_pack(pack));
        let file = pack.parse("export-7.txt", &bytes, &site());
        prop_assert_eq!(file.shots.len(), shots.len(), "{:?}\n{}", file.problems, drafted.format_toml);
        for (place, (read, written)) in file.shots.iter().zip(&shots).enumerate() {
            let lacks = dialect.missing.is_some_and(|lacking| lacking.index(shots.len()) == place);
            let pairs = [
                (Quantity::BallSpeedMps, Some(written.ball_mps)),
                (Quantity::ClubSpeedMps, (!lacks).then_some(written.club_mps)),
                (Quantity::LaunchElevationDeg, Some(written.elevation_deg)),
                (Quantity::LaunchAzimuthDeg, Some(written.azimuth_deg)),
                (Quantity::SpinRpm, Some(written.spin_rpm)),
                (Quantity::CarryM, Some(written.carry_m)),
            ];
            for (quantity, wanted) in pairs {
                let found = read.measures.get(quantity);
                let near = match (found, wanted) {
                    (Some(found), Some(wanted)) => (found - wanted).abs() < 0.02,
                    (found, wanted) => found.is_none() && wanted.is_none(),
                };
                prop_assert!(near, "{quantity:?}: {found:?} is not {wanted:?}\n{}", drafted.format_toml);
            }
            prop_assert_eq!(read.player_text.as_deref(), Some(["Wren", "Heron"][place % 2]));
            prop_assert_eq!(read.club_id.as_deref(), Some(["driver", "7-iron", "pitching-wedge"][place % 3]));
            prop_assert_eq!(read.shot_text.clone(), Some((place + 1).to_string()));
        }
    }

    #[test]
    fn arbitrary_bytes_are_drafted_without_panic(bytes in prop::collection::vec(any::<u8>(), 0..400), name in ".{0,20}") {
        let drafted = draft("any", &name, &bytes);
        prop_assert!(drafted.obstacle.is_some() || drafted.report.is_some_and(|report| report.passed()));
    }

    #[test]
    fn arbitrary_tables_are_drafted_without_panic(text in "([A-Za-z0-9.,;:/ \"'#%\\[\\]-]{0,30}[,;\t|\n]){0,40}") {
        let drafted = draft("any", "any.csv", text.as_bytes());
        prop_assert!(drafted.obstacle.is_some() || drafted.report.is_some_and(|report| report.passed()), "{text}");
    }

}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn changed_samples_are_drafted_without_panic(pack in any::<Index>(), changes in prop::collection::vec((any::<Index>(), any::<u8>()), 1..8)) {
        let set = shipped();
        let folder = shipped_dir().join(set.packs()[pack.index(set.packs().len())].name());
        let entries = std::fs::read_dir(folder).expect("a folder").map(|entry| entry.expect("an entry").path());
        for path in entries.filter(|path| path.file_name().expect("a name").to_string_lossy().starts_with("sample")) {
            let mut bytes = std::fs::read(&path).expect("a file");
            for (at, byte) in &changes {
                let at = at.index(bytes.len());
                bytes[at] = *byte;
            }
            let drafted = draft("any", "any", &bytes);
            let sound = drafted.obstacle.is_some() || drafted.report.as_ref().is_some_and(formats::PackTestReport::passed);
            prop_assert!(sound, "{}", drafted.format_toml);
        }
    }
}

#[test]
fn what_cannot_be_a_pack_is_said_plainly() {
    let cases: [(&[u8], &str); 6] = [
        (b"", "empty"),
        (b"hello world", "columns"),
        (b"PK\x03\x04 archive", "workbook"),
        (b"Ball Speed [mph],Carry [yd]\n141.2,230.1\n140.1,228.0\n", "time"),
        (b"Date,Ball Speed [mph]\n2026-04-12,141.2\n2026-04-13,140.1\n", "time of day"),
        (b"Time,Note\n2026-04-12 15:07:09,7\n2026-04-12 15:08:00,9\n", "number of a shot"),
    ];
    for (bytes, reason) in cases {
        let drafted = draft("none", "none.csv", bytes);
        let obstacle = drafted.obstacle.expect("an obstacle");
        assert!(obstacle.contains(reason), "{obstacle}");
        assert!(drafted.sample_bytes.is_empty() && drafted.expected_csv.is_empty());
    }
}
