//! A small SVG writer: shapes, text and axes. Colours and strokes come from the page's style sheet by class.

use std::fmt::Write as _;

/// A drawing in user units, about one CSS pixel on a phone.
pub struct Drawing {
    width: f64,
    height: f64,
    body: String,
}

/// The shapes of marks. Kinds of data are told apart by shape, never by colour alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mark {
    /// Filled circle.
    Disc,
    /// Open square.
    Square,
    /// Open triangle.
    Triangle,
    /// Open diamond.
    Diamond,
    /// Two crossed strokes.
    Cross,
}

/// Where a text is anchored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// At its left end.
    Start,
    /// In its middle.
    Middle,
    /// At its right end.
    End,
}

impl Drawing {
    /// An empty drawing.
    pub fn new(width: f64, height: f64) -> Drawing {
        Drawing { width, height, body: String::new() }
    }

    /// A straight line.
    pub fn line(&mut self, class: &str, from: (f64, f64), to: (f64, f64)) {
        if !finite(&[from.0, from.1, to.0, to.1]) {
            return;
        }
        self.add(format_args!(
            r#"<line class="{class}" x1="{}" y1="{}" x2="{}" y2="{}"/>"#,
            rounded(from.0),
            rounded(from.1),
            rounded(to.0),
            rounded(to.1)
        ));
    }

    /// A rectangle between two corners.
    pub fn rectangle(&mut self, class: &str, corner: (f64, f64), other: (f64, f64)) {
        if !finite(&[corner.0, corner.1, other.0, other.1]) {
            return;
        }
        self.add(format_args!(
            r#"<rect class="{class}" x="{}" y="{}" width="{}" height="{}"/>"#,
            rounded(corner.0.min(other.0)),
            rounded(corner.1.min(other.1)),
            rounded((corner.0 - other.0).abs()),
            rounded((corner.1 - other.1).abs())
        ));
    }

    /// A closed smooth outline: cubic curves given as start point and triples of control, control, end.
    pub fn outline(&mut self, class: &str, start: (f64, f64), curves: &[[(f64, f64); 3]]) {
        let mut path = format!("M{} {}", rounded(start.0), rounded(start.1));
        for curve in curves {
            path.push('C');
            for (position, (x, y)) in curve.iter().enumerate() {
                let gap = if position == 0 { "" } else { " " };
                let _ = write!(path, "{gap}{} {}", rounded(*x), rounded(*y)); // a String takes everything
            }
        }
        path.push('Z');
        self.add(format_args!(r#"<path class="{class}" d="{path}"/>"#));
    }

    /// A polyline through points.
    pub fn polyline(&mut self, class: &str, points: &[(f64, f64)]) {
        let mut list = String::new();
        for (x, y) in points.iter().filter(|(x, y)| x.is_finite() && y.is_finite()) {
            let _ = write!(list, "{}{},{}", if list.is_empty() { "" } else { " " }, rounded(*x), rounded(*y));
        }
        self.add(format_args!(r#"<polyline class="{class}" points="{list}"/>"#));
    }

    /// A mark about a point.
    pub fn mark(&mut self, mark: Mark, (x, y): (f64, f64)) {
        if !finite(&[x, y]) {
            return;
        }
        let at = |dx: f64, dy: f64| format!("{} {}", rounded(x + dx), rounded(y + dy));
        match mark {
            Mark::Disc => {
                self.add(format_args!(r#"<circle class="full" cx="{}" cy="{}" r="3.6"/>"#, rounded(x), rounded(y)));
            }
            Mark::Square => self.rectangle("open", (x - 3.5, y - 3.5), (x + 3.5, y + 3.5)),
            Mark::Triangle => self.add(format_args!(
                r#"<path class="open" d="M{}L{}L{}Z"/>"#,
                at(0.0, -4.6),
                at(4.4, 3.2),
                at(-4.4, 3.2)
            )),
            Mark::Diamond => self.add(format_args!(
                r#"<path class="open" d="M{}L{}L{}L{}Z"/>"#,
                at(0.0, -4.6),
                at(4.6, 0.0),
                at(0.0, 4.6),
                at(-4.6, 0.0)
            )),
            Mark::Cross => {
                self.line("strong", (x - 6.0, y), (x + 6.0, y));
                self.line("strong", (x, y - 6.0), (x, y + 6.0));
            }
        }
    }

    /// A text.
    pub fn text(&mut self, class: &str, anchor: Anchor, (x, y): (f64, f64), text: &str) {
        let anchor = match anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        self.add(format_args!(
            r#"<text class="{class}" text-anchor="{anchor}" x="{}" y="{}">{}</text>"#,
            rounded(x),
            rounded(y),
            escaped(text)
        ));
    }

    /// A legend line of marks and words, from `x` on; words are about 6.8 units a letter wide.
    pub fn legend(&mut self, mut x: f64, y: f64, entries: &[(Mark, String)]) {
        for (mark, words) in entries {
            self.mark(*mark, (x + 6.0, y - 4.0));
            self.text("note", Anchor::Start, (x + 16.0, y), words);
            x += 16.0 + 6.8 * words.chars().count() as f64 + 12.0;
        }
    }

    /// The finished element, with a title and a description for those who do not see it. `id` must be unique on the page.
    pub fn finish(self, id: &str, title: &str, description: &str) -> String {
        let (width, height) = (rounded(self.width), rounded(self.height));
        format!(
            r#"<svg class="figure" role="img" aria-labelledby="{id}-title {id}-text" viewBox="0 0 {width} {height}"><title id="{id}-title">{}</title><desc id="{id}-text">{}</desc>{}</svg>"#,
            escaped(title),
            escaped(description),
            self.body
        )
    }

    fn add(&mut self, element: std::fmt::Arguments<'_>) {
        let _ = self.body.write_fmt(element); // a String takes everything
    }
}

/// A straight scale from data to drawing.
#[derive(Debug, Clone, Copy)]
pub struct Scale {
    data: (f64, f64),
    drawn: (f64, f64),
}

impl Scale {
    /// From a range of data to a range of the drawing; an empty range is widened to one unit.
    pub fn new(data: (f64, f64), drawn: (f64, f64)) -> Scale {
        let data = if data.1 - data.0 > 0.0 { data } else { (data.0 - 0.5, data.0 + 0.5) };
        Scale { data, drawn }
    }

    /// Where a value is drawn.
    pub fn at(&self, value: f64) -> f64 {
        let share = (value - self.data.0) / (self.data.1 - self.data.0);
        self.drawn.0 + share * (self.drawn.1 - self.drawn.0)
    }

    /// Round values inside the range, about `count` of them.
    pub fn ticks(&self, count: usize) -> Vec<f64> {
        let step = round_step((self.data.1 - self.data.0) / count.max(1) as f64);
        let mut ticks = Vec::new();
        let mut index = (self.data.0 / step).ceil();
        while index * step <= self.data.1 + step * 1e-9 {
            ticks.push(index * step);
            index += 1.0;
        }
        ticks
    }
}

/// The smallest of 1, 2, 5 times a power of ten that is not below `least`.
fn round_step(least: f64) -> f64 {
    let power = 10f64.powf(least.log10().floor());
    for factor in [1.0, 2.0, 5.0] {
        if factor * power >= least * (1.0 - 1e-9) {
            return factor * power;
        }
    }
    10.0 * power
}

/// Smallest and largest of some values; `None` without any.
pub fn range_of(values: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    let mut range: Option<(f64, f64)> = None;
    for value in values.filter(|value| value.is_finite()) {
        range = Some(range.map_or((value, value), |(low, high)| (low.min(value), high.max(value))));
    }
    range
}

fn finite(values: &[f64]) -> bool {
    values.iter().all(|value| value.is_finite())
}

/// One decimal, without a sign on zero: keeps pages small and equal on every machine.
fn rounded(value: f64) -> String {
    let text = format!("{value:.1}");
    let text = text.strip_suffix(".0").unwrap_or(&text);
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        assert_eq!(Scale::new((-37.0, 41.0), (0.0, 100.0)).ticks(5), [-20.0, 0.0, 20.0, 40.0]);
        assert_eq!(Scale::new((0.0, 3.0), (0.0, 100.0)).ticks(3), [0.0, 1.0, 2.0, 3.0]);
        let same = Scale::new((5.0, 5.0), (0.0, 100.0));
        assert!((same.at(5.0) - 50.0).abs() < 1e-9);
    }

    #[test]
    fn nothing_that_is_not_a_number_is_drawn() {
        let mut drawing = Drawing::new(10.0, 10.0);
        drawing.mark(Mark::Disc, (f64::NAN, 1.0));
        drawing.line("thin", (0.0, 0.0), (f64::INFINITY, 1.0));
        let text = drawing.finish("a", "title <b>", "\"text\" & more");
        assert!(!text.contains("NaN") && !text.contains("inf"), "{text}");
        assert!(text.contains("title &lt;b&gt;") && text.contains("&quot;text&quot; &amp; more"), "{text}");
    }
}
