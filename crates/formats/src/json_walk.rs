//! The way through a JSON document to its records: along the pack's path, handing on one record at a time.

use std::ops::ControlFlow;

use crate::context::ParseLimits;
use crate::json_record::{Enclosing, Scalars, read_object, read_value};
use crate::json_scan::{Cursor, Fault};

/// One step of the path to the records.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Step {
    /// The member of this name, or the element of this index, from 0.
    Name(String),
    /// Every element or member, as the wildcard of RFC 9535.
    Every,
}

impl Step {
    fn text(&self) -> &str {
        match self {
            Step::Name(name) => name,
            Step::Every => "*",
        }
    }
}

/// The path as a pack writes it.
pub(crate) fn path_text(path: &[Step]) -> String {
    path.iter().map(Step::text).collect::<Vec<_>>().join(".")
}

/// What is met at the end of the path.
pub(crate) enum Met<'a> {
    /// An element of the list of records, as text, and where it begins.
    Record { text: &'a str, at: usize, enclosing: &'a [Enclosing] },
    /// Something else than a list where one is expected.
    NoList { text: &'a str, at: usize },
}

/// How a walk ended before the end of the document.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Halt {
    /// Whoever takes the records has enough.
    Enough,
    /// The text ends within the record that begins at the given byte, or outside of any.
    Cut { record: Option<usize> },
    /// The rest cannot be told into records.
    Broken { at: usize, what: String },
}

impl From<Fault> for Halt {
    fn from(fault: Fault) -> Halt {
        match fault {
            Fault::Cut => Halt::Cut { record: None },
            Fault::Broken { at, what } => Halt::Broken { at, what },
        }
    }
}

pub(crate) struct Walk<'a, 't> {
    pub text: &'a str,
    pub path: &'a [Step],
    pub limits: &'a ParseLimits,
    pub take: &'t mut dyn FnMut(Met<'_>) -> ControlFlow<()>,
    /// Whether the path led to a list, however empty.
    pub found: bool,
}

impl<'a> Walk<'a, '_> {
    /// Walks the whole document. Gives the place behind it.
    pub fn run(&mut self) -> Result<usize, Halt> {
        let mut cursor = Cursor::new(self.text);
        self.descend(&mut cursor, 0, &mut Vec::new())?;
        Ok(cursor.position())
    }

    /// Goes into the value at the cursor and behind it. As deep as the path is long.
    fn descend(&mut self, cursor: &mut Cursor<'a>, depth: usize, around: &mut Vec<Enclosing>) -> Result<(), Halt> {
        let byte = cursor.peek()?;
        let Some(step) = self.path.get(depth) else { return self.records(cursor, byte, around) };
        let mut first = true;
        match (step, byte) {
            (Step::Name(wanted), b'{') => {
                cursor.enter();
                while let Some(name) = cursor.next_member(&mut first)? {
                    self.descend_if(name == *wanted, cursor, depth, around)?;
                }
            }
            (Step::Name(wanted), b'[') => {
                cursor.enter();
                let wanted: Option<usize> = wanted.parse().ok();
                let mut index = 0;
                while cursor.next_element(&mut first)? {
                    self.descend_if(wanted == Some(index), cursor, depth, around)?;
                    index += 1;
                }
            }
            (Step::Every, b'{') => {
                self.found = true;
                cursor.enter();
                while let Some(name) = cursor.next_member(&mut first)? {
                    self.descend_each(name, cursor, depth, around)?;
                }
            }
            (Step::Every, b'[') => {
                self.found = true;
                cursor.enter();
                let mut index = 0;
                while cursor.next_element(&mut first)? {
                    self.descend_each(index.to_string(), cursor, depth, around)?;
                    index += 1;
                }
            }
            _ => {
                cursor.skip_value()?;
            }
        }
        Ok(())
    }

    fn descend_if(
        &mut self,
        is_way: bool,
        cursor: &mut Cursor<'a>,
        depth: usize,
        around: &mut Vec<Enclosing>,
    ) -> Result<(), Halt> {
        if is_way {
            return self.descend(cursor, depth + 1, around);
        }
        cursor.skip_value()?;
        Ok(())
    }

    fn descend_each(
        &mut self,
        name: String,
        cursor: &mut Cursor<'a>,
        depth: usize,
        around: &mut Vec<Enclosing>,
    ) -> Result<(), Halt> {
        // Scalars behind the records count as well, hence a look ahead over the element.
        let scalars = beside_records(cursor.clone(), &self.path[depth + 1..], self.limits).scalars;
        around.push(Enclosing { path: path_text(&self.path[..=depth]), name, scalars });
        let outcome = self.descend(cursor, depth + 1, around);
        around.pop();
        outcome
    }

    fn records(&mut self, cursor: &mut Cursor<'a>, byte: u8, around: &[Enclosing]) -> Result<(), Halt> {
        if byte != b'[' {
            let at = cursor.position();
            let text = cursor.skip_value()?;
            // A null is a list that is not there.
            return if text == "null" { Ok(()) } else { self.hand_on(Met::NoList { text, at }) };
        }
        self.found = true;
        cursor.enter();
        let mut first = true;
        while cursor.next_element(&mut first)? {
            let at = cursor.position();
            let text = match cursor.skip_value() {
                Ok(text) => text,
                Err(fault) => return Err(self.within_record(at, fault)),
            };
            self.hand_on(Met::Record { text, at, enclosing: around })?;
        }
        Ok(())
    }

    /// A record that runs to the end of the text was cut short only if nothing else is wrong with it. Otherwise a bracket or quote is
    /// missing somewhere, and other records may have been taken for parts of this one.
    fn within_record(&self, at: usize, fault: Fault) -> Halt {
        match fault {
            Fault::Broken { what, .. } => Halt::Broken { at, what },
            Fault::Cut => match read_object(&self.text[at..], self.limits) {
                Err(other) if !other.ends_early => Halt::Broken { at, what: other.message },
                _ => Halt::Cut { record: Some(at) },
            },
        }
    }

    fn hand_on(&mut self, met: Met<'_>) -> Result<(), Halt> {
        match (self.take)(met) {
            ControlFlow::Continue(()) => Ok(()),
            ControlFlow::Break(()) => Err(Halt::Enough),
        }
    }
}

/// What stands beside the records.
#[derive(Debug, Default)]
pub(crate) struct Beside {
    pub scalars: Scalars,
    /// Path and fault of values that are no JSON.
    pub faults: Vec<(String, String)>,
}

/// The scalars of the value at a cursor, without those of the records and of what a `*` goes through. They are as many as the
/// limit of fields, and what is larger than a record may be is passed over. Reading stops without a word where the text cannot be
/// read on; the walk over the records reports that.
pub(crate) fn beside_records(mut cursor: Cursor<'_>, path: &[Step], limits: &ParseLimits) -> Beside {
    let mut beside = Beside::default();
    let _ = gather(&mut cursor, path, "", limits, &mut beside);
    beside
}

fn gather(
    cursor: &mut Cursor<'_>,
    path: &[Step],
    prefix: &str,
    limits: &ParseLimits,
    beside: &mut Beside,
) -> Result<(), Fault> {
    let join = |name: &str| if prefix.is_empty() { name.to_owned() } else { format!("{prefix}.{name}") };
    let mut first = true;
    match (path.first(), cursor.peek()?) {
        (Some(Step::Name(wanted)), b'{') => {
            cursor.enter();
            while let Some(name) = cursor.next_member(&mut first)? {
                if name == *wanted {
                    gather(cursor, &path[1..], &join(&name), limits, beside)?;
                } else {
                    keep(cursor.skip_value()?, &join(&name), limits, beside);
                }
            }
        }
        (Some(Step::Name(wanted)), b'[') => {
            cursor.enter();
            let wanted: Option<usize> = wanted.parse().ok();
            let mut index = 0;
            while cursor.next_element(&mut first)? {
                if wanted == Some(index) {
                    gather(cursor, &path[1..], &join(&index.to_string()), limits, beside)?;
                } else {
                    // The elements beside the one that is read are others of its kind, and may be many.
                    cursor.skip_value()?;
                }
                index += 1;
            }
        }
        (Some(Step::Name(_)), _) if !prefix.is_empty() => keep(cursor.skip_value()?, prefix, limits, beside),
        _ => {
            cursor.skip_value()?;
        }
    }
    Ok(())
}

fn keep(text: &str, path: &str, limits: &ParseLimits, beside: &mut Beside) {
    match read_value(text, limits) {
        Ok(value) => beside.scalars.collect(path, &value, limits.max_fields),
        Err(fault) if fault.rule == crate::rule::Rule::BadJson && beside.faults.len() < limits.max_fields => {
            beside.faults.push((path.to_owned(), fault.message));
        }
        Err(_) => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn path(text: &str) -> Vec<Step> {
        let step = |name: &str| if name == "*" { Step::Every } else { Step::Name(name.to_owned()) };
        text.split('.').filter(|name| !name.is_empty()).map(step).collect()
    }

    /// Texts of the records with what encloses them, and how the walk ended.
    fn walk(text: &str, way: &str) -> (Vec<String>, Result<usize, Halt>, bool) {
        let (mut met, way) = (Vec::new(), path(way));
        let mut take = |found: Met<'_>| {
            met.push(match found {
                Met::Record { text, enclosing, .. } => {
                    let around = enclosing.iter().map(|e| format!("{}={}", e.path, e.name)).collect::<Vec<_>>();
                    format!("{} {text}", around.join(" ")).trim().to_owned()
                }
                Met::NoList { text, .. } => format!("no list: {text}"),
            });
            ControlFlow::Continue(())
        };
        let mut walk = Walk { text, path: &way, limits: &ParseLimits::default(), take: &mut take, found: false };
        let outcome = walk.run();
        let found = walk.found;
        (met, outcome, found)
    }

    #[test]
    fn paths_lead_to_the_records() {
        let text = r#"{"a":{"l":[1,2]},"s":[{"l":[3]},{"l":null},{},{"l":{}},{"l":[]}],"m":{"x":{"l":[4]}}}"#;
        assert_eq!(walk(text, "a.l").0, ["1", "2"]);
        assert_eq!(walk(text, "s.0.l").0, ["3"]);
        assert_eq!(walk(text, "s.*.l").0, ["s.*=0 3", "no list: {}"]);
        assert_eq!(walk(text, "m.*.l").0, ["m.*=x 4"]);
        assert_eq!(walk(text, "*.l").0, ["*=a 1", "*=a 2"]);
        assert_eq!(walk("[5, 6]", "").0, ["5", "6"]);
        assert!(!walk(text, "a.q").2 && !walk(text, "q").2 && !walk("7", "").2, "nothing found");
        assert!(walk("[]", "").2 && walk("{\"s\":[]}", "s.*.l").2, "found, though empty");
    }

    #[test]
    fn a_cut_is_told_from_a_missing_bracket() {
        let end = |text: &str| walk(text, "").1;
        assert_eq!(end("[{\"a\":1},{\"a\""), Err(Halt::Cut { record: Some(9) }));
        assert_eq!(end("[{\"a\":1},"), Err(Halt::Cut { record: None }));
        assert!(matches!(end("[{\"a\":1,{\"a\":2},{\"a\":3}]"), Err(Halt::Broken { at: 1, .. })));
        assert!(matches!(end("[{\"a\":\"1},{\"a\":\"2\"},{\"a\":3}]"), Err(Halt::Broken { at: 1, .. })));
        assert!(matches!(end("[{} {}]"), Err(Halt::Broken { at: 4, .. })));
        assert!(matches!(end("[{},]"), Err(Halt::Broken { at: 4, .. })));
        assert_eq!(end("[{}] x"), Ok(4));
    }

    #[test]
    fn scalars_stand_beside_the_records_on_both_sides() {
        let text = r#"{"v":1,"d":{"u":"m","l":[{"x":9}],"n":null},"t":["p",{"q":true}],"v":2,"z":bad}"#;
        let found = beside_records(Cursor::new(text), &path("d.l"), &ParseLimits::default());
        let list: Vec<String> = found.scalars.iter().map(|(path, value)| format!("{path}={value}")).collect();
        assert_eq!(list, ["v=2", "d.u=\"m\"", "t.0=\"p\"", "t.1.q=true"]);
        assert_eq!(found.faults.len(), 1, "{:?}", found.faults);
        let starred = beside_records(Cursor::new(text), &path("d.*"), &ParseLimits::default());
        assert!(!starred.scalars.iter().any(|(path, _)| path.starts_with("d.")), "{starred:?}");
    }
}
