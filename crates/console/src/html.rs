//! Just enough HTML: every text that goes in is escaped, so that a file's name is never more than a name.

use std::fmt::Write as _;

/// A page under construction.
#[derive(Debug, Default)]
pub(crate) struct Html {
    text: String,
}

impl Html {
    /// Markup of ours, as it is.
    pub(crate) fn markup(&mut self, markup: &'static str) -> &mut Html {
        self.text.push_str(markup);
        self
    }

    /// A text of anybody's.
    pub(crate) fn text(&mut self, text: &str) -> &mut Html {
        for letter in text.chars() {
            match letter {
                '&' => self.text.push_str("&amp;"),
                '<' => self.text.push_str("&lt;"),
                '>' => self.text.push_str("&gt;"),
                '"' => self.text.push_str("&quot;"),
                '\'' => self.text.push_str("&#39;"),
                // What turns the direction of writing could make a name look like another one.
                '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' => self.text.push('\u{fffd}'),
                letter if letter.is_control() => self.text.push(' '),
                letter => self.text.push(letter),
            }
        }
        self
    }

    /// An element with a text: `tag` may bear attributes of ours.
    pub(crate) fn element(&mut self, tag: &'static str, text: &str) -> &mut Html {
        let name = tag.split(' ').next().unwrap_or(tag);
        let _ = write!(self.text, "<{tag}>"); // writing to a String cannot fail
        self.text(text);
        let _ = write!(self.text, "</{name}>");
        self
    }

    /// A table; the first cell of each row names the row. On a narrow page each cell stands on a line of its own behind its
    /// heading.
    pub(crate) fn table(&mut self, caption: &str, headings: &[&str], rows: &[Vec<String>]) -> &mut Html {
        self.markup("<table>\n").element("caption", caption).markup("\n<thead><tr>");
        for heading in headings {
            self.element("th scope=\"col\"", heading);
        }
        self.markup("</tr></thead>\n<tbody>\n");
        for row in rows {
            self.markup("<tr>");
            for (position, (heading, cell)) in headings.iter().zip(row).enumerate() {
                if position == 0 {
                    self.element("th scope=\"row\"", cell);
                } else {
                    self.markup("<td data-heading=\"").text(heading).markup("\">").text(cell).markup("</td>");
                }
            }
            self.markup("</tr>\n");
        }
        self.markup("</tbody>\n</table>\n")
    }

    pub(crate) fn finish(self) -> String {
        self.text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_are_never_markup() {
        let mut html = Html::default();
        html.element("p class=\"a\"", "<script>alert('x')</script> & \"b\"\u{202e}\n\u{7}.csv");
        let shown =
            "<p class=\"a\">&lt;script&gt;alert(&#39;x&#39;)&lt;/script&gt; &amp; &quot;b&quot;\u{fffd}  .csv</p>";
        assert_eq!(html.finish(), shown);
    }

    #[test]
    fn a_table_names_its_columns_and_rows() {
        let mut html = Html::default();
        html.table("Jobs", &["job", "a \"b\""], &[vec!["one".into(), "<2>".into()]]);
        let text = html.finish();
        for part in [
            "<caption>Jobs</caption>",
            "<th scope=\"col\">job</th>",
            "<th scope=\"row\">one</th>",
            "<td data-heading=\"a &quot;b&quot;\">&lt;2&gt;</td>",
        ] {
            assert!(text.contains(part), "{part} is missing in {text}");
        }
    }
}
