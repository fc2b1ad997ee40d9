//! XML documents: fields as paths, ancestors, entities, and what a broken document still gives.

use shot::Severity;

use crate::documents::{T, players, speeds, xml};
use crate::{only, parse, rules};

/// An export with two runs.
pub fn runs() -> String {
    format!(
        "<?xml version=\"1.0\" encoding=\"utf-8\"?>\n<!-- made up -->\n<export xmlns=\"urn:x\" version=\"2\">\n\
         <site name=\"north\"><hall>1</hall></site>\n<run day=\"mon\">\n\
         <shot id=\"a\"><t>{T}</t><v>50</v><who> Wren &amp; Rook </who></shot>\n\
         <shot id='b'><t>{T}</t><v><![CDATA[51]]></v><who>x&#x3c;y</who></shot></run>\n\
         <x:run day=\"tue\" xmlns:x=\"urn:x\"><note/>\n<x:shot id=\"c\"><x:t>{T}</x:t><x:v xsi:nil=\"true\"/></x:shot>\n</x:run>\n\
         <made by=\"y\"/></export>\n"
    )
}

#[test]
fn xml_records_see_themselves_and_their_ancestors() {
    let further = "player = { field = \"who\" }\nshot = { field = \"@id\" }\nsession = { field = \"../@day\" }\n\
                   bay = { field = \"../../site/@name\" }\nballKind = { preamble = \"export/made/@by\" }";
    let set = xml(further);
    let file = parse(&set, runs().as_bytes());
    assert_eq!(rules(&file), []);
    assert_eq!(speeds(&file), [(6, Some(50.0)), (7, Some(51.0)), (9, None)], "lines of the start tags");
    assert_eq!(players(&file), [Some("Wren & Rook"), Some("x<y"), None]);
    let texts = |index: usize| {
        let shot = &file.shots[index];
        [&shot.shot_text, &shot.session_text, &shot.bay, &shot.ball_kind].map(|text| text.as_deref().unwrap_or("none"))
    };
    assert_eq!(texts(0), ["a", "mon", "north", "y"]);
    assert_eq!(texts(2), ["c", "tue", "north", "y"]);
    assert!(only(&set).structural_end(runs().as_bytes()));
}

#[test]
fn a_preamble_that_stands_twice_is_none() {
    let set = xml("session = { preamble = \"export/run/@day\" }");
    let run = |day: &str| format!("<run day=\"{day}\"><shot><t>{T}</t><v>50</v></shot></run>");
    let once = parse(&set, format!("<export>{}</export>", run("mon")).as_bytes());
    assert_eq!(once.shots[0].session_text.as_deref(), Some("mon"));
    let twice = parse(&set, format!("<export>{}{}</export>", run("mon"), run("tue")).as_bytes());
    assert_eq!(twice.shots.iter().map(|shot| shot.session_text.as_deref()).collect::<Vec<_>>(), [None, None]);
}

#[test]
fn xml_fields_are_paths() {
    let read = |field: &str, shot: &str| {
        let set = xml(&format!("player = {{ field = \"{field}\" }}"));
        let file = parse(&set, format!("<export><run>{shot}</run></export>").as_bytes());
        assert_eq!(rules(&file), [], "{shot}");
        file.shots[0].player_text.clone()
    };
    let with = |inside: &str| format!("<shot id=\"7\"><t>{T}</t>{inside}</shot>");
    let cases = [
        ("@id", with(""), Some("7")),
        ("ball/v", with("<ball><v unit=\"m/s\"> 5 </v></ball>"), Some("5")),
        ("ball/v/@unit", with("<ball><v unit=\"m/s\"> 5 </v></ball>"), Some("m/s")),
        ("mark[1]/x", with("<mark><x>1</x></mark><mark><x>2</x></mark>"), Some("1")),
        ("mark[2]/x", with("<mark><x>1</x></mark><mark><x>2</x></mark>"), Some("2")),
        ("who", with("<who>a<b>not this</b>c</who>"), Some("ac")),
        ("who", with("<who>a<!-- x -->b<?z?><![CDATA[<c>]]></who>"), Some("ab<c>")),
        ("who", with("<who/>"), None),
        ("who", with("<who xsi:nil='1'>x</who>"), None),
        ("who", with("<who nil='1'>x</who>"), Some("x")),
        ("who", with("<who>Rook & Daughters &co</who>"), Some("Rook & Daughters &co")),
        (".", with("loose"), Some("loose")),
        ("who", with("<p:who xmlns:p='urn:y' p:k='1' k='2'>z</p:who>"), Some("z")),
    ];
    for (field, shot, expected) in cases {
        assert_eq!(read(field, &shot).as_deref(), expected, "{field} of {shot}");
    }
}

#[test]
fn a_faulty_element_costs_itself() {
    let good = |second: i64| format!("<shot><t>{}</t><v>50</v></shot>", T + second);
    let names = (0..1_500).map(|n| format!(" a{n}=\"\"")).collect::<Vec<_>>().concat();
    let children = (0..1_500).map(|n| format!("<c{n}/>")).collect::<Vec<_>>().concat();
    let twin = "<c/>".repeat(1_500);
    let cases = [
        ("<who>&nbsp;</who>".to_owned(), "xml-entity"),
        ("<who k=\"&own;\"/>".to_owned(), "xml-entity"),
        ("<who>&#0;</who>".to_owned(), "bad-xml"),
        ("<who>\u{1}</who>".to_owned(), "bad-xml"),
        ("<who>\u{fffd}</who>".to_owned(), "bad-encoding"),
        ("<who k='1' k='2'/>".to_owned(), "bad-xml"),
        ("<who k=1/>".to_owned(), "bad-xml"),
        ("<who k/>".to_owned(), "bad-xml"),
        (format!("<who{names}/>"), "too-many-fields"),
        (children, "too-many-fields"),
        (twin, "too-many-fields"),
        (format!("{}{}", "<d>".repeat(40), "</d>".repeat(40)), "too-deep"),
        (format!("<who>{}</who>", "x".repeat(2 << 20)), "line-too-long"),
        (format!("<{0}><e/></{0}>", "n".repeat(2_000)), "bad-xml"),
    ];
    for (inside, rule) in cases {
        let bad = format!("<shot><t>{T}</t><v>50</v>{inside}</shot>");
        let file = parse(&xml(""), format!("<export><run>{}{bad}{}</run></export>", good(0), good(1)).as_bytes());
        let shown: String = inside.chars().take(60).collect();
        assert_eq!(speeds(&file), [(1, Some(50.0)), (3, Some(50.0))], "{shown}");
        assert_eq!(rules(&file), [(2, rule)], "{shown}");
    }
    let beside = format!("<export><run note=\"&own;\"><w>&own;</w>{}</run></export>", good(0));
    let file = parse(&xml(""), beside.as_bytes());
    assert_eq!((file.shots.len(), rules(&file)), (1, vec![(0, "xml-entity")]));
    assert_eq!(file.problems[0].severity, Severity::Noted);
}

#[test]
fn what_breaks_an_xml_document_refuses_it() {
    let shot = format!("<shot><t>{T}</t><v>50</v></shot>");
    let cases = [
        (format!("<export><run>{shot}<shot></run></export>"), 1, "bad-xml"),
        (format!("<export><run>{shot}<shot k=\"></shot></run></export>"), 1, "bad-xml"),
        (format!("<export><run>{shot}</run></export></export>"), 1, "bad-xml"),
        (format!("<export><run>{shot}</run></export><export/>"), 1, "bad-xml"),
        (format!("<export><run>{shot}</run></export>x"), 1, "bad-xml"),
        (format!("<!DOCTYPE export [<!ENTITY a \"b\">]><export><run>{shot}</run></export>"), 0, "xml-entity"),
        (
            format!(
                "<!DOCTYPE export [<!ENTITY % p SYSTEM \"http://localhost/\">%p;]><export><run>{shot}</run></export>"
            ),
            0,
            "xml-entity",
        ),
        (format!("<other><run>{shot}</run></other>"), 0, "no-records"),
        ("<export/>".to_owned(), 0, "no-records"),
        (String::new(), 0, "no-records"),
        ("t,v\n1,2\n".to_owned(), 0, "bad-xml"),
        ("<".repeat(100_000), 0, "no-records"),
        ("<run>".repeat(100_000), 0, "too-deep"),
        ("<?xml version='1.0' encoding='made-up'?><export/>".to_owned(), 0, "bad-encoding"),
    ];
    for (text, shots, rule) in cases {
        let file = parse(&xml(""), text.as_bytes());
        let shown: String = text.chars().take(100).collect();
        assert_eq!((file.shots.len(), rules(&file)), (shots, vec![(0, rule)]), "{shown}");
        assert!((file.problem_share() - 1.0).abs() < f64::EPSILON, "{shown}");
    }
    let named =
        format!("<!DOCTYPE export SYSTEM \"http://localhost/export.dtd\"><export><run>{shot}</run><run/></export>");
    assert_eq!(rules(&parse(&xml(""), named.as_bytes())), [], "a DOCTYPE is passed over and nothing fetched");
}

#[test]
fn an_xml_file_cut_anywhere_gives_the_rows_before_the_cut() {
    let text = runs();
    let set = xml("");
    let ends: Vec<usize> = ["</shot>", "</shot>", "</x:shot>"]
        .iter()
        .scan(0, |from, end| {
            *from += text[*from..].find(end)? + end.len();
            Some(*from)
        })
        .collect();
    for cut in 0..text.len() - 2 {
        let file = parse(&set, &text.as_bytes()[..cut]);
        let whole = ends.iter().filter(|end| **end <= cut).count();
        assert_eq!(file.shots.len(), whole, "{cut}: {file:?}");
        let last = file.problems.last().expect("a problem");
        assert!(["truncated", "no-records"].contains(&last.rule.as_str()), "{cut}: {last:?}");
        assert!(!only(&set).structural_end(&text.as_bytes()[..cut]), "{cut}");
    }
}
