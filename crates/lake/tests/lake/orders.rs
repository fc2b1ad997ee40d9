//! In whatever order and grouping segments are published, the same rows stand.

use std::collections::BTreeMap;
use std::fs;

use proptest::prelude::*;

use crate::support::*;

/// One import: which of six shots it holds, each in which of three months.
fn import() -> impl Strategy<Value = Import> {
    prop::collection::btree_map(0..6_u8, 0..3_u8, 1..5)
}

type Import = BTreeMap<u8, u8>;
type History = (Vec<Import>, Vec<usize>, Vec<bool>, Vec<bool>);

/// Imports, the order of their publication, after which of them a publication happens, and when the indexes are lost.
fn history() -> impl Strategy<Value = History> {
    prop::collection::vec(import(), 1..6).prop_flat_map(|imports| {
        let count = imports.len();
        let order = Just((0..count).collect::<Vec<_>>()).prop_shuffle();
        let flags = || prop::collection::vec(any::<bool>(), count);
        (Just(imports), order, flags(), flags())
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn equal_rows_in_any_order((imports, order, publishes, loses_index) in history()) {
        let place = Place::new();
        let lake = place.lake();
        let days = [JANUARY, FEBRUARY, MARCH];
        // The oracle knows only: per shot, the highest import stands.
        let mut expected = BTreeMap::new();
        for (number, import) in imports.iter().enumerate() {
            for (id, month) in import {
                expected.insert(*id, format!("2026-{:02} s{id} {number} {number}.5", month + 1));
            }
        }
        let mut expected: Vec<String> = expected.into_values().collect();
        expected.sort();

        let mut waiting = Vec::new();
        for (position, number) in order.iter().enumerate() {
            let hits: Vec<Hit> = imports[*number]
                .iter()
                .map(|(id, month)| hit(&format!("s{id}"), days[usize::from(*month)], *number as f64 + 0.5))
                .collect();
            let sequence = i64::try_from(*number).expect("a small number");
            waiting.push(stage(&lake, sequence, &format!("f{number}"), &hits));
            if publishes[position] || position + 1 == order.len() {
                lake.publish(&waiting, &[], &provenance()).expect("published");
                prop_assert!(times_seen(&lake).values().all(|times| *times == 1));
                for segment in waiting.drain(..) {
                    lake.discard_segment(&segment).expect("discarded");
                }
            }
            if loses_index[position] {
                let _ = fs::remove_file(place.staging().join("key-index.sqlite"));
            }
        }
        prop_assert_eq!(shots(&lake), expected);
        assert_sound(&place, &lake, "after all");
    }
}
