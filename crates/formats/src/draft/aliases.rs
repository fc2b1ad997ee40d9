//! Made-up names in place of players': a pack is published together with its sample.

/// Names, each with its alias, the longest name first.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Aliases {
    pairs: Vec<(Vec<char>, String)>,
}

/// How much must stand free around a name for it to be one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Bounds {
    /// No letter or digit touches it.
    Words,
    /// It is a whole cell or value: nothing but delimiters, quotes, brackets, blanks and line ends touch it.
    Cells,
}

impl Aliases {
    /// Aliases for names; spellings that differ in case only share one.
    pub fn of<'a>(names: impl Iterator<Item = &'a str>) -> Aliases {
        let mut keys: Vec<Vec<char>> = Vec::new();
        for name in names {
            let key = folded(name.trim());
            if !key.is_empty() && !keys.contains(&key) {
                keys.push(key);
            }
        }
        let mut pairs: Vec<(Vec<char>, String)> =
            keys.into_iter().enumerate().map(|(place, key)| (key, format!("Alias-{}", place + 1))).collect();
        pairs.sort_by_key(|(name, _)| std::cmp::Reverse(name.len()));
        Aliases { pairs }
    }

    /// How many persons there are.
    pub fn count(&self) -> usize {
        self.pairs.len()
    }

    /// Whether a text is one of the names.
    pub fn names(&self, text: &str) -> bool {
        let key = folded(text.trim());
        self.pairs.iter().any(|(name, _)| *name == key)
    }

    /// The text with every name replaced. `written` gives the spellings of a name in the file: escaped, doubled quotes.
    pub fn apply(&self, text: &str, bounds: Bounds, written: &dyn Fn(&str) -> Vec<String>) -> String {
        let letters: Vec<char> = text.chars().collect();
        let small = folded(text);
        let spellings: Vec<(Vec<char>, &str)> = self
            .pairs
            .iter()
            .flat_map(|(name, alias)| {
                let plain: String = name.iter().collect();
                let mut all = written(&plain);
                all.push(plain);
                all.into_iter().map(|spelling| (folded(&spelling), alias.as_str())).collect::<Vec<_>>()
            })
            .filter(|(spelling, _)| !spelling.is_empty())
            .collect();
        let mut out = String::with_capacity(text.len());
        let mut at = 0;
        while at < letters.len() {
            let here = spellings.iter().find(|(name, _)| {
                small[at..].starts_with(name)
                    && bounds.are_free(
                        at.checked_sub(1).map(|before| letters[before]),
                        letters.get(at + name.len()).copied(),
                    )
            });
            if let Some((name, alias)) = here {
                out.push_str(alias);
                at += name.len();
            } else {
                out.push(letters[at]);
                at += 1;
            }
        }
        out
    }
}

impl Bounds {
    fn are_free(self, before: Option<char>, after: Option<char>) -> bool {
        let free = |neighbour: Option<char>| match (neighbour, self) {
            (None, _) => true,
            (Some(letter), Bounds::Words) => !letter.is_alphanumeric(),
            (Some(letter), Bounds::Cells) => {
                matches!(letter, ',' | ';' | '\t' | '|' | '"' | '\'' | '<' | '>' | '\n' | '\r' | ' ')
            }
        };
        free(before) && free(after)
    }
}

/// Letters in lower case, one for one, so that places agree.
fn folded(text: &str) -> Vec<char> {
    text.chars().map(|letter| letter.to_lowercase().next().unwrap_or(letter)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_replaced_alike_everywhere() {
        let aliases = Aliases::of(["Wren", "WREN", "Wren Elder", "İsk"].into_iter());
        let apply = |text: &str| aliases.apply(text, Bounds::Words, &|_| Vec::new());
        assert_eq!(aliases.count(), 3);
        assert_eq!(apply("1,wren,Wren Elder;wrench WREN-7"), "1,Alias-1,Alias-2;wrench Alias-1-7");
        assert_eq!(apply("x=İsk"), "x=Alias-3");
        assert!(aliases.names(" wren ") && !aliases.names("Alias-1"));
        let cells = aliases.apply("wren-7,wren,\"WREN\"", Bounds::Cells, &|_| Vec::new());
        assert_eq!(cells, "wren-7,Alias-1,\"Alias-1\"");
    }

    #[test]
    fn spellings_of_the_file_are_known() {
        let aliases = Aliases::of(["al \"ace\" b"].into_iter());
        let doubled = |name: &str| vec![name.replace('"', "\"\"")];
        assert_eq!(aliases.apply("1,\"Al \"\"Ace\"\" B\",2", Bounds::Words, &doubled), "1,\"Alias-1\",2");
    }
}
