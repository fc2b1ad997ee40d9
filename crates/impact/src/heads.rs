//! The book of head profiles.

use serde::Deserialize;

use crate::equipment_rules;
use crate::head::HeadProfile;
use crate::plausibility::{self, HeadFault};

/// All head profiles of a site, as `heads.toml` holds them.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct HeadBook {
    /// The profiles, in the file's order.
    #[serde(rename = "head")]
    pub heads: Vec<HeadProfile>,
}

impl HeadBook {
    /// The profile with a name.
    pub fn find(&self, name: &str) -> Option<&HeadProfile> {
        self.heads.iter().find(|head| head.name == name)
    }

    /// What makes profiles unusable; empty for a good book.
    pub fn faults(&self) -> Vec<HeadFault> {
        let mut faults = Vec::new();
        if self.heads.is_empty() {
            faults.push(plausibility::empty_book());
        }
        for (index, head) in self.heads.iter().enumerate() {
            if head.name.trim().is_empty() {
                faults.push(plausibility::nameless(index + 1));
            }
            if self.heads[..index].iter().any(|earlier| earlier.name == head.name) {
                faults.push(plausibility::named_twice(&head.name));
            }
            faults.extend(plausibility::faults_of(head));
        }
        faults
    }

    /// The sentences of [`HeadBook::faults`] without their hints, for a caller with a hint of its own.
    pub fn validate(&self) -> Vec<String> {
        self.faults().iter().map(HeadFault::sentence).collect()
    }

    /// What lies beyond the Equipment Rules (R&A and USGA) or is unusual, one sentence each; such profiles still work.
    pub fn warnings(&self) -> Vec<String> {
        let of_head = |head: &HeadProfile| {
            let warnings = equipment_rules::warnings_of(head);
            warnings.into_iter().map(|warning| format!("head `{}`: {warning}", head.name)).collect::<Vec<_>>()
        };
        self.heads.iter().flat_map(of_head).collect()
    }
}
