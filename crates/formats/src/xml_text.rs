//! The text of an XML file: its encoding by mark or declaration, and the references in it. No entity is ever expanded but the five that
//! XML itself defines, none is ever fetched.

use std::borrow::Cow;

use crate::rule::Rule;

/// Bytes in which the declaration stands.
const DECLARATION_BYTES: usize = 512;

/// The text of a file, with U+FFFD where bytes are no text in its encoding: by byte order mark, by the look of UTF-16 without one, by
/// declaration, else UTF-8.
pub(crate) fn decode(bytes: &[u8]) -> Result<Cow<'_, str>, String> {
    let (encoding, mark) = match bytes {
        [0xef, 0xbb, 0xbf, ..] => (encoding_rs::UTF_8, 3),
        [0xff, 0xfe, ..] => (encoding_rs::UTF_16LE, 2),
        [0xfe, 0xff, ..] => (encoding_rs::UTF_16BE, 2),
        [b'<', 0, ..] => (encoding_rs::UTF_16LE, 0),
        [0, b'<', ..] => (encoding_rs::UTF_16BE, 0),
        _ => (declared(bytes)?, 0),
    };
    Ok(encoding.decode_without_bom_handling(&bytes[mark..]).0)
}

fn declared(bytes: &[u8]) -> Result<&'static encoding_rs::Encoding, String> {
    let head = String::from_utf8_lossy(&bytes[..bytes.len().min(DECLARATION_BYTES)]);
    let declaration = head.trim_start().strip_prefix("<?xml").and_then(|rest| rest.split_once("?>"));
    let Some(label) = declaration.and_then(|(declaration, _)| pseudo_attribute(declaration, "encoding")) else {
        return Ok(encoding_rs::UTF_8);
    };
    let Some(encoding) = encoding_rs::Encoding::for_label_no_replacement(label.as_bytes()) else {
        return Err(format!("the file declares the encoding \"{}\", which is unknown", shot::Problem::cut(label)));
    };
    // The declaration could be read byte by byte, so it is wrong: programs write what their strings were in, not what the file is in.
    if encoding == encoding_rs::UTF_16LE || encoding == encoding_rs::UTF_16BE {
        return Ok(encoding_rs::UTF_8);
    }
    Ok(encoding)
}

fn pseudo_attribute<'a>(declaration: &'a str, name: &str) -> Option<&'a str> {
    let (_, after) = declaration.split_once(name)?;
    let value = after.trim_start().strip_prefix('=')?.trim_start();
    let quote = value.chars().next().filter(|c| matches!(c, '"' | '\''))?;
    value[1..].split(quote).next()
}

/// Whether the last bytes of a file close the outermost element of this name (`*`: of any).
pub(crate) fn closes(tail: &[u8], root: &str) -> bool {
    // UTF-16 without its NULs is readable enough for the names of elements, which are short.
    let last = &tail[tail.len().saturating_sub(4 << 10)..];
    let plain: Vec<u8> = last.iter().copied().filter(|byte| *byte != 0).collect();
    let text = String::from_utf8_lossy(&plain);
    let mut text = text.trim_end();
    loop {
        let opener = match text {
            comment if comment.ends_with("-->") => "<!--",
            instruction if instruction.ends_with("?>") => "<?",
            _ => break,
        };
        let Some(start) = text.rfind(opener) else { return false };
        text = text[..start].trim_end();
    }
    let Some(tag) = text.strip_suffix('>').and_then(|text| text.rsplit_once('<')).map(|(_, tag)| tag) else {
        return false;
    };
    let name = match (tag.strip_prefix('/'), tag.strip_suffix('/')) {
        (Some(end), _) => end.trim_end(),
        (None, Some(empty)) => empty.split_whitespace().next().unwrap_or_default(),
        _ => return false,
    };
    root == "*" || local(name) == root
}

/// A name without its prefix.
pub(crate) fn local(name: &str) -> &str {
    name.rsplit_once(':').map_or(name, |(_, local)| local)
}

/// Why a text cannot be taken.
pub(crate) type TextFault = (Rule, String);

/// What a reference stands for, `name` being what stands between `&` and `;`. Nothing where this is no reference but a stray `&`,
/// which careless writers leave in names such as "Rook & Daughters".
pub(crate) fn reference(name: &str) -> Result<Option<char>, TextFault> {
    let predefined = match name {
        "lt" => Some('<'),
        "gt" => Some('>'),
        "amp" => Some('&'),
        "apos" => Some('\''),
        "quot" => Some('"'),
        _ => None,
    };
    if predefined.is_some() {
        return Ok(predefined);
    }
    if let Some(number) = name.strip_prefix('#') {
        let digits = number.strip_prefix('x').map_or((number, 10), |hexadecimal| (hexadecimal, 16));
        let plain = digits.0.chars().all(|c| c.is_digit(digits.1));
        let code = u32::from_str_radix(digits.0, digits.1).ok().filter(|_| plain);
        return match code.and_then(char::from_u32).filter(|c| is_allowed(*c)) {
            Some(character) => Ok(Some(character)),
            None => Err((Rule::BadXml, format!("&{}; is no character", shot::Problem::cut(name)))),
        };
    }
    let mut characters = name.chars();
    let begins = characters.next().is_some_and(|c| c.is_alphabetic() || c == '_' || c == ':');
    if begins && characters.all(|c| c.is_alphanumeric() || "_:-.".contains(c)) {
        return Err((Rule::XmlEntity, format!("the entity &{}; is not expanded", shot::Problem::cut(name))));
    }
    Ok(None)
}

/// The text of an attribute value as it stands in the file.
pub(crate) fn resolve(raw: &str) -> Result<Cow<'_, str>, TextFault> {
    if !raw.contains('&') {
        return Ok(Cow::Borrowed(raw));
    }
    let mut text = String::with_capacity(raw.len());
    let mut rest = raw;
    while let Some((before, after)) = rest.split_once('&') {
        text.push_str(before);
        let end = after.find([';', '&']).filter(|end| after.as_bytes()[*end] == b';');
        let found = match end {
            Some(end) => reference(&after[..end])?.map(|character| (character, &after[end + 1..])),
            None => None,
        };
        if let Some((character, beyond)) = found {
            text.push(character);
            rest = beyond;
        } else {
            text.push('&');
            rest = after;
        }
    }
    text.push_str(rest);
    Ok(Cow::Owned(text))
}

/// The characters of XML 1.0 (production `Char`).
pub(crate) fn is_allowed(character: char) -> bool {
    !matches!(character, '\0'..='\u{8}' | '\u{b}' | '\u{c}' | '\u{e}'..='\u{1f}' | '\u{fffe}' | '\u{ffff}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn encodings_come_from_mark_look_or_declaration() {
        let wide = |mark: &[u8], text: &str| -> Vec<u8> {
            mark.iter().copied().chain(text.encode_utf16().flat_map(u16::to_le_bytes)).collect()
        };
        let cases = [
            ("<?xml version='1.0'?><a>\u{e4}</a>".as_bytes().to_vec(), "mark-free UTF-8"),
            ("\u{feff}<a>\u{e4}</a>".as_bytes().to_vec(), "UTF-8 with mark"),
            (b"<?xml version=\"1.0\" encoding=\"ISO-8859-1\"?><a>\xe4</a>".to_vec(), "latin"),
            (b"<?xml version='1.0' encoding = 'windows-1252' ?><a>\xe4</a>".to_vec(), "windows"),
            ("<?xml version='1.0' encoding='utf-16'?><a>\u{e4}</a>".as_bytes().to_vec(), "a wrong declaration"),
            (wide(&[0xff, 0xfe], "<?xml version='1.0' encoding='utf-16'?><a>\u{e4}</a>"), "UTF-16 with mark"),
            (wide(&[], "<a>\u{e4}</a>"), "UTF-16 without mark"),
        ];
        for (bytes, what) in cases {
            assert!(decode(&bytes).expect(what).ends_with("<a>\u{e4}</a>"), "{what}");
        }
        assert!(decode(b"<?xml version='1.0' encoding='ebcdic'?><a/>").is_err());
    }

    #[test]
    fn five_entities_and_characters_are_resolved() {
        // [source: XML 1.0, section 4.6, predefined entities; section 4.1, character references]
        let found = resolve("&lt;&gt;&amp;&apos;&quot;&#228;&#xE4; A & B; C && D;&#x1F3CC;").expect("a text");
        assert_eq!(found, "<>&'\"\u{e4}\u{e4} A & B; C && D;\u{1f3cc}");
        for (raw, rule) in [
            ("&nbsp;", Rule::XmlEntity),
            ("&a.b;", Rule::XmlEntity),
            ("&#0;", Rule::BadXml),
            ("&#x110000;", Rule::BadXml),
            ("&#+5;", Rule::BadXml),
            ("&#;", Rule::BadXml),
        ] {
            assert_eq!(resolve(raw).expect_err(raw).0, rule, "{raw}");
        }
    }

    #[test]
    fn the_end_tag_of_the_root_closes_a_file() {
        for closed in ["<a><b/></a>\n", "<x:a></x:a  >", "<a/>", "<a></a><!-- x > y --> <?z?>\0", "<a k='1' />"] {
            assert!(closes(closed.as_bytes(), "a"), "{closed}");
        }
        for open in ["<a><b></b>", "<a><b/>", "</a", "", "<a>", "-->", "<a></ab>"] {
            assert!(!closes(open.as_bytes(), "a"), "{open}");
        }
    }
}
