//! A strict reader for the pages: every element closed, in order, attributes quoted, headings in order, figures named,
//! numbers finite, nothing fetched, enough contrast.

/// Elements that stand alone; the pages close them with `/>`.
const ALONE: [&str; 1] = ["meta"];

/// Walks the page and panics at the first fault.
pub fn check(page: &str) {
    let body = page.strip_prefix("<!DOCTYPE html>\n").expect("a doctype");
    assert!(body.starts_with("<html lang=\"en\">"), "the language is named");
    assert_balanced(body);
    assert_headings(body);
    assert_unique_ids(body);
    assert_figures(body);
    assert_tables(body);
    assert_self_contained(body);
    assert_contrast(body);
}

/// Name, attributes, whether it closes, whether it stands alone.
type Tag = (String, Vec<(String, String)>, bool, bool);

/// Tags of the page in order.
fn tags(body: &str) -> Vec<Tag> {
    let mut found = Vec::new();
    let mut rest = body;
    while let Some(start) = rest.find('<') {
        let end = start + rest[start..].find('>').expect("a tag ends");
        let inner = &rest[start + 1..end];
        assert!(!inner.contains('<'), "a tag within a tag: {inner}");
        let closes = inner.starts_with('/');
        let alone = inner.ends_with('/');
        let inner = inner.trim_start_matches('/').trim_end_matches('/');
        let name_end = inner.find(char::is_whitespace).unwrap_or(inner.len());
        let name = inner[..name_end].to_owned();
        let attributes = attributes(&inner[name_end..]);
        rest = &rest[end + 1..];
        if name == "style" && !closes {
            rest = &rest[rest.find("</style>").expect("the style ends")..];
        }
        found.push((name, attributes, closes, alone));
    }
    found
}

fn attributes(mut text: &str) -> Vec<(String, String)> {
    let mut found = Vec::new();
    loop {
        text = text.trim_start();
        if text.is_empty() {
            return found;
        }
        let (name, rest) = text.split_once("=\"").unwrap_or_else(|| panic!("an attribute without value: {text}"));
        let (value, rest) = rest.split_once('"').expect("a closed value");
        assert!(name.chars().all(|letter| letter.is_ascii_alphanumeric() || letter == '-'), "attribute {name}");
        found.push((name.to_owned(), value.to_owned()));
        text = rest;
    }
}

fn assert_balanced(body: &str) {
    let mut open: Vec<String> = Vec::new();
    for (name, _, closes, alone) in tags(body) {
        if closes {
            assert_eq!(open.pop().as_deref(), Some(name.as_str()), "closed out of order");
        } else if !alone {
            assert!(!ALONE.contains(&name.as_str()), "{name} stands alone");
            open.push(name);
        }
    }
    assert_eq!(open, Vec::<String>::new(), "left open");
    for piece in body.split('&').skip(1) {
        let entity = piece.split(';').next().unwrap_or_default();
        assert!(entity.len() <= 6 && entity.chars().all(|c| c.is_ascii_alphanumeric() || c == '#'), "&{entity}");
    }
}

fn assert_headings(body: &str) {
    let mut level = 0;
    for (name, _, closes, _) in tags(body) {
        if let Some(next) = name.strip_prefix('h').and_then(|digits| digits.parse::<u32>().ok()).filter(|_| !closes) {
            assert!(next <= level + 1, "h{next} after h{level}");
            level = next;
        }
    }
    assert_eq!(body.matches("<h1>").count(), 1);
    assert_eq!(body.matches("<title>").count(), 1);
}

fn assert_unique_ids(body: &str) {
    let mut ids = Vec::new();
    let mut wanted = Vec::new();
    for (_, attributes, _, _) in tags(body) {
        for (name, value) in attributes {
            match name.as_str() {
                "id" => ids.push(value),
                "aria-labelledby" => wanted.extend(value.split(' ').map(str::to_owned)),
                _ => {}
            }
        }
    }
    let count = ids.len();
    for id in wanted {
        assert!(ids.contains(&id), "nothing has the id {id}");
    }
    ids.sort();
    ids.dedup();
    assert_eq!(ids.len(), count, "an id stands twice");
}

fn assert_figures(body: &str) {
    for figure in body.split("<svg ").skip(1) {
        let figure = figure.split("</svg>").next().expect("a figure ends");
        assert!(figure.contains("role=\"img\"") && figure.contains("<title id=") && figure.contains("<desc id="));
        for (_, attributes, _, _) in tags(&format!("<svg {figure}")) {
            for (name, value) in attributes {
                if ["x", "y", "x1", "y1", "x2", "y2", "cx", "cy", "r", "width", "height"].contains(&name.as_str()) {
                    assert!(value.parse::<f64>().expect("a number").is_finite());
                }
                if ["points", "viewBox", "d"].contains(&name.as_str()) {
                    for number in value.split(|c: char| " ,MLCZ".contains(c)).filter(|piece| !piece.is_empty()) {
                        assert!(number.parse::<f64>().expect("a number").is_finite());
                    }
                }
            }
        }
    }
}

fn assert_tables(body: &str) {
    for (name, attributes, closes, _) in tags(body) {
        if name == "th" && !closes {
            assert!(attributes.iter().any(|(name, _)| name == "scope"), "a header cell without scope");
        }
    }
    for table in body.split("<table").skip(1) {
        let table = table.split("</table>").next().expect("a table ends");
        let cells = |row: &str| row.matches("<th").count() + row.matches("<td").count() - row.matches("<thead").count();
        let mut rows = table.split("<tr").skip(1).map(cells);
        let columns = rows.next().expect("a heading row");
        assert!(rows.all(|count| count == columns), "rows of different length");
    }
}

fn assert_self_contained(body: &str) {
    for forbidden in
        ["<script", "<link", "<img", "<iframe", "http:", "https:", "url(", "@import", "src=", "href=", "onload"]
    {
        assert!(!body.contains(forbidden), "the page holds {forbidden}");
    }
}

/// Text colours against both backgrounds: at least 4.5 to 1. [source: WCAG 2.2, 1.4.3 and its definition of contrast ratio]
fn assert_contrast(body: &str) {
    for ink in ["ink", "soft", "accent"] {
        for paper in ["paper", "wash"] {
            let ratio = contrast(&colour(body, ink), &colour(body, paper));
            assert!(ratio >= 4.5, "{ink} on {paper}: {ratio:.2}");
        }
    }
}

fn colour(body: &str, name: &str) -> String {
    let rest = body.split_once(&format!("--{name}: #")).expect("a colour").1;
    rest[..6].to_owned()
}

fn contrast(one: &str, other: &str) -> f64 {
    let luminance = |hex: &str| {
        let channel = |from: usize| {
            let value = f64::from(u8::from_str_radix(&hex[from..from + 2], 16).expect("hexadecimal")) / 255.0;
            if value <= 0.04045 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * channel(0) + 0.7152 * channel(2) + 0.0722 * channel(4)
    };
    let (a, b) = (luminance(one), luminance(other));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

/// The page without what stands between two tags of a kind.
fn without(page: &str, from: &str, to: &str) -> String {
    let mut pieces = page.split(from);
    let mut kept = pieces.next().unwrap_or_default().to_owned();
    for piece in pieces {
        kept.push_str(piece.split_once(to).expect("a closing tag").1);
    }
    kept
}

/// The words of the page, one block a line, without styles, folded tables and drawings (their titles and descriptions
/// stay).
pub fn text_of(page: &str) -> String {
    let page = without(&without(page, "<style>", "</style>"), "<details", "</details>");
    let mut text = String::new();
    let mut tag = String::new();
    let mut inside = false;
    let mut drawn_text = false;
    for letter in page.chars() {
        match letter {
            '<' => {
                inside = true;
                tag.clear();
            }
            '>' => {
                inside = false;
                let name = tag.trim_start_matches('/').split([' ', '/']).next().unwrap_or_default();
                drawn_text = tag.starts_with("text ");
                match name {
                    "td" | "th" => text.push_str(" | "),
                    "span" | "strong" | "text" => {}
                    _ => text.push('\n'),
                }
            }
            _ if inside => tag.push(letter),
            _ if drawn_text => {}
            _ => text.push(letter),
        }
    }
    let lines = text.lines().map(|line| line.split_whitespace().collect::<Vec<_>>().join(" "));
    let lines = lines.map(|line| line.replace(" | | ", " | ").trim_matches([' ', '|']).to_owned());
    lines.filter(|line| !line.is_empty()).collect::<Vec<_>>().join("\n")
}
