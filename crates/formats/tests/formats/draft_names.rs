//! A drafted pack is published together with its sample: no name of a person may stand in it.

/// Names under keys that a person would know to be names, wherever in the document they stand.
#[test]
fn names_deep_in_a_document_are_replaced() {
    for key in ["player", "spieler", "golfer", "coach"] {
        let mut text = "{\"sessions\":[".to_owned();
        for (number, name) in ["Tern Hill", "Lena Roy"].iter().enumerate() {
            let shots: Vec<String> = (0..6)
                .map(|shot| {
                    format!(
                        "{{\"number\":{shot},\"time\":\"2026-11-04T10:0{shot}:00\",\"ball\":{{\"speed\":6{shot}.5}},\
                         \"club\":\"Driver\",\"{key}\":{{\"name\":\"{name}\",\"hand\":\"right\"}}}}"
                    )
                })
                .collect();
            let comma = if number == 0 { "," } else { "" };
            let shots = shots.join(",");
            text += format!("{{\"id\":\"S{number}\",\"shots\":[{shots}]}}{comma}").as_str();
        }
        text.push_str("]}");
        let draft = formats::draft("small", "sessions-20261104.json", text.as_bytes());
        let sample = String::from_utf8_lossy(&draft.sample_bytes).into_owned();
        for name in ["Tern Hill", "Lena Roy"] {
            assert!(!sample.contains(name), "{key}: {name} stands in the sample\n{sample}");
            assert!(!draft.format_toml.contains(name), "{key}: {name} stands in the pack");
        }
        assert!(sample.contains("Driver") && sample.contains("right"), "{key}: what is no name stays\n{sample}");
    }
}
