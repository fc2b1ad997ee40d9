//! The engine for XML documents.

use std::ops::ControlFlow;

use crate::context::ParseLimits;
use crate::record::{Engine, Glance, Item};

#[derive(Debug)]
pub(crate) struct Xml {
    /// Names of the elements from the root to the record.
    pub property: Vec<String>,
}

impl Engine for Xml {
    fn glance(&self, _bytes: &[u8]) -> Glance {
        Glance { obstacle: Some("not built yet".to_owned()), ..Glance::default() }
    }

    fn read(&self, _bytes: &[u8], _limits: &ParseLimits, _take: &mut dyn FnMut(Item<'_>) -> ControlFlow<()>) {}

    fn complete(&self, _tail: &[u8]) -> bool {
        true
    }
}
