//! The places to hit from, each with its device.

use crate::DeviceKind;

/// A bay, or a tee in the open, with the device that stands in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Bay {
    /// hall-metric.
    One,
    /// plain-imperial.
    Two,
    /// strike-lines.
    Three,
    /// session-tree; in some weeks the strike is noted by hand.
    Four,
    /// range-book.
    Five,
    /// ball-journal.
    Six,
    /// tee-columns, in the open.
    TeeOne,
}

impl Bay {
    /// Every bay.
    pub const ALL: [Bay; 7] = [Bay::One, Bay::Two, Bay::Three, Bay::Four, Bay::Five, Bay::Six, Bay::TeeOne];

    /// The folder of the bay's exports.
    pub fn folder(self) -> &'static str {
        match self {
            Bay::One => "bay1",
            Bay::Two => "bay2",
            Bay::Three => "bay3",
            Bay::Four => "bay4",
            Bay::Five => "bay5",
            Bay::Six => "bay6",
            Bay::TeeOne => "tee1",
        }
    }

    /// The bay as the data name it.
    pub fn id(self) -> &'static str {
        match self {
            Bay::TeeOne => "tee1",
            indoor => &indoor.folder()["bay".len()..],
        }
    }

    /// Whether the ball flies through the open air.
    pub fn is_outdoor(self) -> bool {
        self == Bay::TeeOne
    }

    /// Whether the device's clock shows whole seconds; what it does not show is nowhere else either.
    pub fn shows_whole_seconds(self) -> bool {
        matches!(self, Bay::Two | Bay::Five)
    }

    /// Share of the shots that the device does not notice at all.
    pub fn unseen_share(self) -> f64 {
        if self == Bay::Four { 0.05 } else { 0.0 }
    }

    /// The device.
    pub fn device(self) -> DeviceKind {
        match self {
            Bay::One => DeviceKind::hall_metric(),
            Bay::Two => DeviceKind::plain_imperial(),
            Bay::Three => DeviceKind::strike_lines(),
            Bay::Four => DeviceKind::session_tree(),
            Bay::Five => DeviceKind::range_book(),
            Bay::Six => DeviceKind::ball_journal(),
            Bay::TeeOne => DeviceKind::tee_columns(),
        }
    }
}
