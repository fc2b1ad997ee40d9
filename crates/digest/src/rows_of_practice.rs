//! Rows of the datasets that tell where the ball is met and what to practise.

use std::collections::BTreeMap;

use shot::LocalDay;

use crate::DigestError;
use crate::coach_week::Pattern;
use crate::gate::Gate;
use crate::published::Batches;
use crate::tables::Table;

/// Alias and club.
pub type Holder = (String, String);

/// A row of `strike_pattern`.
#[derive(Debug, Clone, PartialEq)]
pub struct PatternRow {
    /// Mean and spread, where the mean is identified.
    pub pattern: Option<Pattern>,
    /// Share of centred strikes.
    pub centre_share: Option<f64>,
}

/// A row of `practice_plan`.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanRow {
    /// Advice.
    pub practise_next: Option<String>,
    /// Its reason.
    pub practise_why: Option<String>,
    /// The gate, where it rests on the player's own pattern.
    pub gate: Option<Gate>,
}

/// The strike patterns of one week, by alias and club.
pub fn patterns(batches: &Batches, site_id: &str, week: LocalDay) -> Result<BTreeMap<Holder, PatternRow>, DigestError> {
    let mut found = BTreeMap::new();
    for batch in batches {
        let table = Table::new("strike_pattern", batch);
        let holders = holders(&table, site_id, week)?;
        let (mean_toe, mean_up) = (table.reals("mean_toe_mm")?, table.reals("mean_up_mm")?);
        let (spread_toe, spread_up) = (table.reals("spread_toe_mm")?, table.reals("spread_up_mm")?);
        let centre_share = table.reals("centre_share")?;
        for (row, holder) in holders.into_iter().enumerate() {
            let Some(holder) = holder else { continue };
            let pattern = match (mean_toe[row], mean_up[row], spread_toe[row]) {
                (Some(mean_toe_mm), Some(mean_up_mm), Some(spread_toe_mm)) => {
                    Some(Pattern { mean_toe_mm, mean_up_mm, spread_toe_mm, spread_up_mm: spread_up[row] })
                }
                _ => None,
            };
            found.insert(holder, PatternRow { pattern, centre_share: centre_share[row] });
        }
    }
    Ok(found)
}

/// What to practise after one week, by alias and club.
pub fn plans(batches: &Batches, site_id: &str, week: LocalDay) -> Result<BTreeMap<Holder, PlanRow>, DigestError> {
    let mut found = BTreeMap::new();
    for batch in batches {
        let table = Table::new("practice_plan", batch);
        let holders = holders(&table, site_id, week)?;
        let (nexts, whys) = (table.texts("practise_next")?, table.texts("practise_why")?);
        let (clearances, shares) = (table.reals("gate_toe_mm")?, table.reals("gate_pass_share")?);
        for (row, holder) in holders.into_iter().enumerate() {
            let Some(holder) = holder else { continue };
            let gate = clearances[row].zip(shares[row]);
            found.insert(
                holder,
                PlanRow {
                    practise_next: nexts[row].clone(),
                    practise_why: whys[row].clone(),
                    gate: gate.map(|(clearance_mm, pass_share)| Gate { clearance_mm, pass_share }),
                },
            );
        }
    }
    Ok(found)
}

/// Whether strike practice worked as of one week, by alias and club; who did not practise has none.
pub fn effects(batches: &Batches, site_id: &str, week: LocalDay) -> Result<BTreeMap<Holder, String>, DigestError> {
    let mut found = BTreeMap::new();
    for batch in batches {
        let table = Table::new("practice_effect", batch);
        let (effects, whys) = (table.texts("effect")?, table.texts("why")?);
        for (row, holder) in holders(&table, site_id, week)?.into_iter().enumerate() {
            if let (Some(holder), Some(_), Some(why)) = (holder, &effects[row], &whys[row]) {
                found.insert(holder, why.clone());
            }
        }
    }
    Ok(found)
}

/// Whose each row is, where it is of this site and week.
fn holders(table: &Table<'_>, site_id: &str, week: LocalDay) -> Result<Vec<Option<Holder>>, DigestError> {
    let (sites, aliases, clubs) = (table.texts("site_id")?, table.texts("player_id")?, table.texts("club_id")?);
    let weeks = table.days("week")?;
    let mut found = Vec::with_capacity(weeks.len());
    for row in 0..table.rows() {
        let is_wanted = sites[row].as_deref() == Some(site_id) && weeks[row] == Some(week);
        found.push(aliases[row].clone().zip(clubs[row].clone()).filter(|_| is_wanted));
    }
    Ok(found)
}
