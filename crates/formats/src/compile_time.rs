//! The time of a pack: zone, formats, counts, month names.

use chrono::format::{Item, Numeric, StrftimeItems};
use chrono_tz::Tz;
use toml::Spanned;

use crate::compile::{Compiler, MANUAL};
use crate::instant::{TWO_DIGIT_YEARS_FROM, TimeSource, TimeStyle};
use crate::number::NumberStyle;
use crate::source::TextSource;
use crate::spec::{OneOrMany, Text, TimeSpec};

const EXAMPLE: &str = "for example %Y-%m-%d %H:%M:%S (chrono's strftime letters)";

impl Compiler<'_> {
    pub fn zone(&mut self, name: &Text) -> Tz {
        name.get_ref().parse().unwrap_or_else(|_| {
            self.fault(
                name.span(),
                format!("\"{}\" is no time zone", name.get_ref()),
                "use an IANA name such as Europe/Berlin",
            );
            Tz::UTC
        })
    }

    pub fn time(&mut self, spec: &Spanned<TimeSpec>) -> TimeSource {
        let written = spec.get_ref();
        if written.parts.is_empty() {
            self.fault(spec.span(), "the time has no parts", "parts = [{ field = \"Date\" }, { field = \"Clock\" }]");
        }
        let parts = written.parts.iter().map(|part| TextSource { required: true, ..self.text_source(part) }).collect();
        let style = match (&written.format, &written.epoch_unit) {
            (Some(formats), None) => self.formats(formats),
            (None, Some(unit)) => TimeStyle::Epoch(*unit.get_ref()),
            _ => {
                self.fault(spec.span(), "the time needs either format or epochUnit", MANUAL);
                TimeStyle::Formats(Vec::new())
            }
        };
        let two_digit_years_from =
            written.two_digit_years_from.as_ref().map_or(TWO_DIGIT_YEARS_FROM, |year| *year.get_ref());
        if let Some(year) = written.two_digit_years_from.as_ref().filter(|year| !(1900..=2100).contains(year.get_ref()))
        {
            self.fault(
                year.span(),
                "twoDigitYearsFrom is a year from 1900 to 2100",
                "1990 reads 90 as 1990 and 89 as 2089",
            );
        }
        TimeSource {
            parts,
            zone: written.zone.as_ref().map(|zone| self.zone(zone)),
            number_style: self.known.style.unwrap_or(NumberStyle { decimal: '.', group: None }),
            month_names: self.month_names(written.month_names.as_ref(), &style),
            style,
            two_digit_years_from,
        }
    }

    fn formats(&mut self, spec: &Spanned<OneOrMany>) -> TimeStyle {
        let formats = spec.get_ref().to_list();
        for (place, format) in formats.iter().enumerate() {
            if format.is_empty() || StrftimeItems::new(format).any(|item| item == Item::Error) {
                self.fault(spec.span(), format!("\"{format}\" is no time format"), EXAMPLE);
            }
            if StrftimeItems::new(format).any(|item| matches!(item, Item::Numeric(Numeric::Nanosecond, _))) {
                let hint = "%.f reads point or comma and any number of digits, %3f three digits";
                self.fault(spec.span(), "%f reads 25 as 25 billionths of a second", hint);
            }
            let swapped = format.replace("%d", "%\0").replace("%m", "%d").replace("%\0", "%m");
            if swapped != *format && formats[..place].contains(&swapped) {
                let message = "two formats differ by the order of day and month only, so that 4/5 has two meanings";
                self.fault(spec.span(), message, "keep the order that this device writes");
            }
        }
        TimeStyle::Formats(formats)
    }

    fn month_names(&mut self, spec: Option<&Spanned<Vec<String>>>, style: &TimeStyle) -> Vec<String> {
        let Some(spec) = spec else { return Vec::new() };
        let names = spec.get_ref();
        let mut folded: Vec<String> = names.iter().map(|name| name.to_lowercase()).collect();
        folded.sort();
        folded.dedup();
        if names.len() != 12 || folded.len() != 12 || names.iter().any(|name| name.trim().is_empty()) {
            let hint = "as the device writes them, January first, with a point where it writes one";
            self.fault(spec.span(), "monthNames are twelve different names", hint);
        }
        let named = |format: &String| format.contains("%b") || format.contains("%B") || format.contains("%h");
        if !matches!(style, TimeStyle::Formats(formats) if formats.iter().any(named)) {
            self.fault(
                spec.span(),
                "monthNames has no effect on this time",
                "a format with %b or %B reads month names",
            );
        }
        names.clone()
    }
}
