//! The engine for column files: Apache Parquet and Arrow IPC.

use std::ops::ControlFlow;

use crate::context::ParseLimits;
use crate::record::{Engine, Glance, Item};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Container {
    Parquet,
    Arrow,
}

#[derive(Debug)]
pub(crate) struct Columnar {
    pub container: Container,
}

impl Engine for Columnar {
    fn glance(&self, _bytes: &[u8]) -> Glance {
        Glance { obstacle: Some("not built yet".to_owned()), ..Glance::default() }
    }

    fn read(&self, _bytes: &[u8], _limits: &ParseLimits, _take: &mut dyn FnMut(Item<'_>) -> ControlFlow<()>) {}

    fn complete(&self, _tail: &[u8]) -> bool {
        true
    }
}
