//! Fields of column files by name: columns, members of structures (`ball.speed`), items of lists (`speeds.0`).

use arrow::datatypes::{DataType, Fields};

/// A step from a structure to a member, or from a list to an item.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Step {
    Member(usize),
    Item(usize),
}

/// The steps to a field; the first is the column. Column names may hold points themselves; the first fit in file order counts.
pub(crate) fn steps_to(fields: &Fields, name: &str) -> Option<Vec<Step>> {
    for (place, field) in fields.iter().enumerate() {
        let Some(rest) = name.strip_prefix(field.name().as_str()) else { continue };
        let further = if rest.is_empty() {
            Some(Vec::new())
        } else {
            rest.strip_prefix('.').and_then(|rest| steps_into(field.data_type(), rest))
        };
        if let Some(further) = further {
            return Some([vec![Step::Member(place)], further].concat());
        }
    }
    None
}

fn steps_into(kind: &DataType, name: &str) -> Option<Vec<Step>> {
    match kind {
        DataType::Struct(fields) => steps_to(fields, name),
        DataType::List(item) | DataType::LargeList(item) | DataType::FixedSizeList(item, _) => {
            let (number, rest) = name.split_once('.').map_or((name, None), |(number, rest)| (number, Some(rest)));
            // "+1" and "01" are no names of items.
            let number = number.parse::<usize>().ok().filter(|parsed| parsed.to_string() == number)?;
            let further = rest.map_or(Some(Vec::new()), |rest| steps_into(item.data_type(), rest))?;
            Some([vec![Step::Item(number)], further].concat())
        }
        _ => None,
    }
}

/// The names of all fields that a schema states, parents before members. Items of lists of any length are not among them;
/// `lists` takes the names of those lists.
pub(crate) fn names_of(fields: &Fields, most: usize, lists: &mut Vec<String>) -> Vec<String> {
    let mut names = Vec::new();
    collect("", fields, most, &mut names, lists);
    names
}

fn collect(prefix: &str, fields: &Fields, most: usize, names: &mut Vec<String>, lists: &mut Vec<String>) {
    for field in fields {
        if names.len() > most {
            return;
        }
        let name = if prefix.is_empty() { field.name().clone() } else { format!("{prefix}.{}", field.name()) };
        names.push(name.clone());
        match field.data_type() {
            DataType::Struct(members) => collect(&name, members, most, names, lists),
            DataType::FixedSizeList(item, length) => {
                for number in 0..usize::try_from(*length).unwrap_or(0).min(most) {
                    let item_name = format!("{name}.{number}");
                    names.push(item_name.clone());
                    if let DataType::Struct(members) = item.data_type() {
                        collect(&item_name, members, most, names, lists);
                    }
                    if names.len() > most {
                        return;
                    }
                }
            }
            DataType::List(_) | DataType::LargeList(_) => lists.push(name),
            _ => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use arrow::datatypes::Field;

    #[test]
    fn names_lead_into_structures_and_lists() {
        let leaf = |name: &str| Field::new(name, DataType::Float64, true);
        let ball = DataType::Struct(vec![leaf("speed"), leaf("spin.rate")].into());
        let list = DataType::new_list(ball.clone(), true);
        let pair = DataType::new_fixed_size_list(DataType::Float32, 2, true);
        let fields: Fields =
            vec![leaf("a.b"), Field::new("ball", ball, true), Field::new("l", list, true), Field::new("p", pair, true)]
                .into();
        let cases: [(&str, Option<&[Step]>); 10] = [
            ("a.b", Some(&[Step::Member(0)])),
            ("ball", Some(&[Step::Member(1)])),
            ("ball.spin.rate", Some(&[Step::Member(1), Step::Member(1)])),
            ("l.3.speed", Some(&[Step::Member(2), Step::Item(3), Step::Member(0)])),
            ("p.1", Some(&[Step::Member(3), Step::Item(1)])),
            ("a", None),
            ("ball.", None),
            ("l.+3.speed", None),
            ("l.x", None),
            ("p.1.x", None),
        ];
        for (name, steps) in cases {
            assert_eq!(steps_to(&fields, name).as_deref(), steps, "{name}");
        }
        let mut lists = Vec::new();
        let names = names_of(&fields, 100, &mut lists);
        assert_eq!(names, ["a.b", "ball", "ball.speed", "ball.spin.rate", "l", "p", "p.0", "p.1"]);
        assert_eq!(lists, ["l"]);
    }
}
