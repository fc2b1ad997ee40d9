//! The engine for JSON documents.

use std::ops::ControlFlow;

use crate::context::ParseLimits;
use crate::record::{Engine, Glance, Item};

#[derive(Debug)]
pub(crate) struct JsonDocument {
    pub encodings: Vec<crate::encoding::Encoding>,
    /// Path to the list of records; empty where the document itself is the list.
    pub property: Vec<String>,
}

impl Engine for JsonDocument {
    fn glance(&self, _bytes: &[u8]) -> Glance {
        Glance { obstacle: Some("not built yet".to_owned()), ..Glance::default() }
    }

    fn read(&self, _bytes: &[u8], _limits: &ParseLimits, _take: &mut dyn FnMut(Item<'_>) -> ControlFlow<()>) {}

    fn complete(&self, _tail: &[u8]) -> bool {
        true
    }
}
