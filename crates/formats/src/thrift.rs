//! As much of Thrift's compact protocol as it takes to look at a Parquet file's headers before its reader trusts them.

/// Deepest nesting of structures; Parquet's own headers nest four deep.
const DEEPEST: usize = 16;

/// Types of fields (Thrift compact protocol, "Struct encoding"); the first stands behind the last field.
const STOP: u8 = 0;
pub(crate) const LIST: u8 = 9;
pub(crate) const STRUCT: u8 = 12;

/// A place in encoded bytes. Every step says nothing where the bytes end or make no sense.
#[derive(Debug, Clone)]
pub(crate) struct Thrift<'a> {
    rest: &'a [u8],
}

/// A field of a structure that is about to be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Field {
    pub id: i16,
    pub kind: u8,
}

impl<'a> Thrift<'a> {
    pub fn new(bytes: &'a [u8]) -> Thrift<'a> {
        Thrift { rest: bytes }
    }

    /// Bytes behind this place.
    pub fn left(&self) -> usize {
        self.rest.len()
    }

    pub fn byte(&mut self) -> Option<u8> {
        let (first, rest) = self.rest.split_first()?;
        self.rest = rest;
        Some(*first)
    }

    /// Passes over bytes.
    pub fn pass(&mut self, count: usize) -> Option<()> {
        self.rest = self.rest.get(count..)?;
        Some(())
    }

    /// A number that is never negative.
    pub fn varint(&mut self) -> Option<u64> {
        let mut value = 0_u64;
        for shift in (0..64).step_by(7) {
            let byte = self.byte()?;
            value |= u64::from(byte & 0x7f) << shift;
            if byte & 0x80 == 0 {
                return Some(value);
            }
        }
        None
    }

    /// A number of any width.
    pub fn number(&mut self) -> Option<i64> {
        let value = self.varint()?;
        Some((value >> 1).cast_signed() ^ -(value & 1).cast_signed())
    }

    /// The next field of a structure whose last field had this number; its kind is `STOP` at the end.
    fn field(&mut self, last: i16) -> Option<Field> {
        let head = self.byte()?;
        if head == STOP {
            return Some(Field { id: last, kind: STOP });
        }
        let id = match head >> 4 {
            0 => i16::try_from(self.number()?).ok()?,
            step => last.checked_add(i16::from(step))?,
        };
        Some(Field { id, kind: head & 0x0f })
    }

    /// Type of the elements of a list and their count, which is never more than bytes are left.
    pub fn list(&mut self) -> Option<(u8, usize)> {
        let head = self.byte()?;
        let count = match head >> 4 {
            15 => usize::try_from(self.varint()?).ok()?,
            few => usize::from(few),
        };
        (count <= self.left()).then_some((head & 0x0f, count))
    }

    /// Passes over a value.
    pub fn skip(&mut self, kind: u8) -> Option<()> {
        self.skip_within(kind, DEEPEST)
    }

    fn skip_within(&mut self, kind: u8, depth: usize) -> Option<()> {
        let depth = depth.checked_sub(1)?;
        match kind {
            // A truth in a structure lies in the field's type.
            1 | 2 => Some(()),
            3 => self.pass(1),
            4..=6 => self.number().map(|_| ()),
            7 => self.pass(8),
            8 => {
                let length = usize::try_from(self.varint()?).ok()?;
                self.pass(length)
            }
            LIST | 10 => {
                let (kind, count) = self.list()?;
                for _ in 0..count {
                    // In a list a truth takes a byte.
                    if matches!(kind, 1 | 2) { self.pass(1)? } else { self.skip_within(kind, depth)? }
                }
                Some(())
            }
            STRUCT => {
                let mut field = self.field(0)?;
                while field.kind != STOP {
                    self.skip_within(field.kind, depth)?;
                    field = self.field(field.id)?;
                }
                Some(())
            }
            _ => None,
        }
    }

    /// Reads the numbers of a structure by their field numbers, and passes over all else but structures, which `inner` reads.
    pub fn structure(
        &mut self,
        numbers: &mut [Option<i64>],
        mut inner: impl FnMut(&mut Self, Field) -> Option<()>,
    ) -> Option<()> {
        let mut field = self.field(0)?;
        while field.kind != STOP {
            match (field.kind, numbers.get_mut(usize::try_from(field.id).ok()?)) {
                (4..=6, Some(slot)) => *slot = Some(self.number()?),
                (LIST | STRUCT, _) => inner(self, field)?,
                (kind, _) => self.skip(kind)?,
            }
            field = self.field(field.id)?;
        }
        Some(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn structures_are_read_and_passed_over() {
        // [derived from the Thrift compact protocol specification: zigzag varints, field deltas]
        // 1: i32 = -3, 2: binary "ab", 5: list<i32> [1, 2], 6: struct { 1: bool }, 40: i64 = 300.
        let bytes = [
            0x15, 0x05, 0x18, 0x02, b'a', b'b', 0x39, 0x25, 0x02, 0x04, 0x1c, 0x11, 0x00, 0x06, 0x50, 0xd8, 0x04, 0x00,
            0xff,
        ];
        let mut numbers = [None; 41];
        let mut seen = Vec::new();
        let mut thrift = Thrift::new(&bytes);
        let outcome = thrift.structure(&mut numbers, |thrift, field| {
            seen.push(field.id);
            thrift.skip(field.kind)
        });
        assert_eq!(outcome, Some(()));
        assert_eq!((numbers[1], numbers[40], seen, thrift.left()), (Some(-3), Some(300), vec![5, 6], 1));
        for cut in 0..bytes.len() - 1 {
            let mut numbers = [None; 41];
            let whole = Thrift::new(&bytes[..cut]).structure(&mut numbers, |thrift, field| thrift.skip(field.kind));
            assert_eq!(whole, None, "cut at {cut}");
        }
        assert_eq!(Thrift::new(&[0x1c; 100]).skip(STRUCT), None, "too deep");
        assert_eq!(Thrift::new(&[0x18, 0xff, 0xff, 0xff, 0xff, 0x7f]).skip(STRUCT), None, "a length that lies");
    }
}
