//! One run of one job: which windows are due, what their rows are, and what of it must be published.

use std::collections::BTreeMap;
use std::sync::Arc;

use arrow::array::{AsArray, BooleanArray, RecordBatch};
use arrow::compute::{concat_batches, filter_record_batch, take_record_batch};
use arrow::datatypes::Date32Type;
use lake::{Manifest, Replacement};
use shot::{LocalDay, Month, TableSchema};

use crate::apart::rows_by_helper;
use crate::error::JobsError;
use crate::history::local_day;
use crate::pack::JobPack;
use crate::revision::{equal_rows, rows_by_day, with_revisions};
use crate::run::RunFacts;
use crate::runner::Runner;
use crate::scope::{Due, Generations, Window, due, from_text, output_months, to_text};
use crate::{append, compute, contract};

/// Entry of the generations that stands for the job itself; no dataset has a `#` in its name.
const FINGERPRINT: &str = "#job";

/// What a run is going to do.
pub(crate) struct Plan {
    /// The moment that the run reads, however long it takes: its files are frozen.
    manifest: Manifest,
    pub due: Due,
    pub generations_text: String,
    is_refit: bool,
}

/// What a run did.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Done {
    /// Whether anything was due.
    pub computed: bool,
    pub rows: usize,
    pub written: usize,
    pub unchanged: usize,
}

impl Runner {
    pub(crate) fn plan(
        &self,
        pack: &JobPack,
        days: Option<(LocalDay, LocalDay)>,
        is_refit: bool,
    ) -> Result<Plan, JobsError> {
        let manifest = self.engine.lake().manifest()?;
        let now = self.generations(pack, &manifest);
        if is_refit {
            let due = Due::Windows(vec![Window::ALL]);
            return Ok(Plan { manifest, due, generations_text: to_text(&now), is_refit });
        }
        let last = self.ledger.last_good_run(&pack.name)?;
        let before = last.and_then(|run| from_text(&run.start.input_generations));
        if let Some((first, last)) = days {
            // Such a run does not bring everything up to date, so what changed stays due.
            let due = Due::Windows(vec![Window::of_weeks(first, last)]);
            let generations_text = to_text(&before.unwrap_or_default());
            return Ok(Plan { manifest, due, generations_text, is_refit });
        }
        // An output that went missing is made again, whatever the ledger remembers.
        let is_there = manifest.of_dataset(&pack.output.name).next().is_some();
        let due = due(&pack.inputs, pack.output.partition_day.is_some(), &now, before.as_ref().filter(|_| is_there));
        Ok(Plan { manifest, due, generations_text: to_text(&now), is_refit })
    }

    /// What the job would read now: one entry for each input file and one for the job and its method.
    fn generations(&self, pack: &JobPack, manifest: &Manifest) -> Generations {
        let mut generations = input_generations(pack, manifest);
        let job = format!("{} {:?} {:?} {}", pack.sql, pack.output, pack.parameters, self.engine.method_text());
        generations.insert(FINGERPRINT.to_owned(), short_mark(&files::sha256_of_bytes(job.as_bytes())));
        generations
    }

    /// Computes what is due and publishes what differs.
    pub(crate) fn bring_up_to_date(
        &self,
        pack: &JobPack,
        plan: &Plan,
        run_id: &str,
        started: i64,
    ) -> Result<Done, JobsError> {
        let Due::Windows(windows) = &plan.due else { return Ok(Done::default()) };
        let last_good = self.ledger.last_good_run(&pack.name)?;
        // Rows without a remembered publication are taken as told today: a change then raises the revision, never hides.
        let published_at = last_good.and_then(|run| run.finished).unwrap_or(started);
        let published_on = local_day(published_at, self.zone);
        let facts = self.facts(pack, plan.is_refit, started)?;
        let mut changes = Changes::default();
        let mut rows_made = 0;
        for window in windows {
            let rows = self.rows_of_moment(pack, &plan.manifest, *window, facts)?;
            self.note_progress();
            rows_made += rows.num_rows();
            self.compare(pack, *window, &rows, published_on, facts, &mut changes)?;
        }
        let extra = vec![
            ("job".to_owned(), pack.name.clone()),
            ("job_version".to_owned(), pack.version.clone()),
            ("input_generations".to_owned(), plan.generations_text.clone()),
        ];
        self.note_progress();
        let lake = self.engine.lake();
        if !changes.replacements.is_empty() {
            lake.replace_many(&changes.replacements, &self.provenance(run_id, started, extra))?;
        }
        for month in &changes.emptied {
            lake.remove_partition(&pack.output, *month)?;
        }
        let written = changes.replacements.len() + changes.emptied.len();
        Ok(Done { computed: true, rows: rows_made, written, unchanged: changes.unchanged })
    }

    /// What a run of a job whose rows stay tells its SQL.
    fn facts(&self, pack: &JobPack, is_refit: bool, started: i64) -> Result<Option<RunFacts>, JobsError> {
        if pack.append_only.is_none() {
            return Ok(None);
        }
        let current = append::current_series(self.engine.lake(), pack)?;
        Ok(Some(RunFacts { series: if is_refit { current + 1 } else { current }, run_at: started }))
    }

    /// The rows of a window at the plan's moment. What imports publish meanwhile is due at the next run: a steady flow of files
    /// neither holds a run up nor mixes two moments.
    fn rows_of_moment(
        &self,
        pack: &JobPack,
        moment: &Manifest,
        window: Window,
        facts: Option<RunFacts>,
    ) -> Result<RecordBatch, JobsError> {
        let rows = self.rows_at(pack, moment, window, facts);
        if rows.is_ok() && self.stands(pack, moment) {
            return rows;
        }
        // Frozen files go some time after they were replaced, and at once when a person is forgotten: whose rows must not
        // come back by a run that had read them before.
        let newest = self.engine.lake().manifest()?;
        if input_generations(pack, &newest) == input_generations(pack, moment) {
            return rows;
        }
        self.rows_at(pack, &newest, window, facts)
    }

    /// Whether every input file of a moment is still there.
    fn stands(&self, pack: &JobPack, moment: &Manifest) -> bool {
        let root = self.engine.lake().root();
        let mut inputs = pack.inputs.iter().flat_map(|input| moment.of_dataset(&input.dataset));
        inputs.all(|file| file.frozen.as_ref().is_none_or(|frozen| root.join(frozen).exists()))
    }

    fn rows_at(
        &self,
        pack: &JobPack,
        manifest: &Manifest,
        window: Window,
        facts: Option<RunFacts>,
    ) -> Result<RecordBatch, JobsError> {
        let mut pieces = vec![window];
        if let Some(months_at_once) = pack.limits.months_at_once {
            let months = output_months(&pack.inputs, &input_generations(pack, manifest));
            pieces = window.in_pieces(months_at_once, &months);
        }
        let mut parts = Vec::with_capacity(pieces.len());
        for piece in &pieces {
            self.note_progress();
            let (engine, pack, manifest, piece) = (Arc::clone(&self.engine), pack.clone(), manifest.clone(), *piece);
            let seconds = compute::seconds(&engine, &pack);
            if let Some(command) = &self.helper
                && let Some(rows) = rows_by_helper(command, &engine, &pack, &manifest, piece, facts, seconds)?
            {
                parts.push(rows);
                continue;
            }
            parts.push(self.engine.wait_for(seconds, |stop| async move {
                compute::rows(&engine, &pack, &manifest, piece, facts, &stop).await
            })?);
        }
        let rows = concat_batches(&pack.output.arrow_schema(), &parts)?;
        if pieces.len() > 1 {
            contract::check_keys(&pack.name, &rows, &pack.output)?;
        }
        Ok(rows)
    }

    /// Adds to `changes` what a window's rows change. Windows of one run never share a month.
    fn compare(
        &self,
        pack: &JobPack,
        window: Window,
        rows: &RecordBatch,
        published_on: LocalDay,
        facts: Option<RunFacts>,
        changes: &mut Changes,
    ) -> Result<(), JobsError> {
        let contract = &pack.output;
        let published = self.published(pack, window)?;
        let old: Vec<RecordBatch> = published.values().map(|parts| parts.inside.clone()).collect();
        let old = concat_batches(&contract.arrow_schema(), &old)?;
        let rows = match (&pack.revision_by, &pack.append_only, facts) {
            (Some(column), ..) => with_revisions(&old, rows, contract, column, published_on)?,
            (None, Some(rule), Some(facts)) => {
                let consents = append::consenting(self.engine.lake(), rule)?;
                append::kept_and_added(&old, rows, contract, rule, facts, consents.as_ref())?
            }
            _ => rows.clone(),
        };
        let mut fresh = by_partition(&rows, contract)?;
        for month in published.keys() {
            fresh.entry(*month).or_insert_with(|| RecordBatch::new_empty(contract.arrow_schema()));
        }
        let replace = |month, batches| Replacement { schema: contract.clone(), month, batches };
        for (month, rows) in fresh {
            let rows = contract::sorted(&rows, contract)?;
            let Some(old) = published.get(&month) else {
                changes.replacements.push(replace(month, vec![rows]));
                continue;
            };
            if old.is_current && equal_rows(&contract::sorted(&old.inside, contract)?, &rows, contract, None) {
                changes.unchanged += 1;
            } else if rows.num_rows() + old.outside.num_rows() == 0 && month.is_some() {
                changes.emptied.push(month);
            } else {
                changes.replacements.push(replace(month, vec![old.outside.clone(), rows]));
            }
        }
        Ok(())
    }

    /// The published partitions that the window touches.
    fn published(&self, pack: &JobPack, window: Window) -> Result<BTreeMap<Option<Month>, Published>, JobsError> {
        let contract = &pack.output;
        let lake = self.engine.lake();
        let mut found = BTreeMap::new();
        for file in lake.manifest()?.of_dataset(&contract.name) {
            if !file.month.is_none_or(|month| window.touches(month)) {
                continue;
            }
            // Where everything is made anew, a file of other columns is replaced whole: its rows are derived. Rows that stay
            // cannot be made again, so there it is an error.
            let mut is_current = file.schema_version == contract.version;
            let batches = match lake.read_partition(contract, file.month) {
                Ok(batches) => batches,
                Err(_) if window.is_all() && pack.append_only.is_none() => {
                    is_current = false;
                    Vec::new()
                }
                Err(error) => return Err(error.into()),
            };
            let rows = concat_batches(&contract.arrow_schema(), &batches)?;
            let (inside, outside) = split(&rows, contract, window)?;
            found.insert(file.month, Published { inside, outside, is_current });
        }
        Ok(found)
    }
}

/// What a run changes in the lake.
#[derive(Default)]
struct Changes {
    replacements: Vec<Replacement>,
    /// Partitions without any row left.
    emptied: Vec<Option<Month>>,
    /// Partitions that were computed and say what they said.
    unchanged: usize,
}

/// A published partition: its rows of the window, and the others, which stay.
struct Published {
    inside: RecordBatch,
    outside: RecordBatch,
    is_current: bool,
}

fn split(rows: &RecordBatch, contract: &TableSchema, window: Window) -> Result<(RecordBatch, RecordBatch), JobsError> {
    let Some(day) = contract.partition_day.as_ref().filter(|_| !window.is_all()) else {
        return Ok((rows.clone(), rows.slice(0, 0)));
    };
    let days = rows.column(rows.schema().index_of(day)?).as_primitive::<Date32Type>();
    let inside: BooleanArray = (0..days.len()).map(|row| Some(window.holds(days.value(row)))).collect();
    let outside = arrow::compute::not(&inside)?;
    Ok((filter_record_batch(rows, &inside)?, filter_record_batch(rows, &outside)?))
}

/// Rows by the month of their partition day; all under `None` where the dataset has no months.
fn by_partition(rows: &RecordBatch, contract: &TableSchema) -> Result<BTreeMap<Option<Month>, RecordBatch>, JobsError> {
    let Some(day) = &contract.partition_day else { return Ok(BTreeMap::from([(None, rows.clone())])) };
    let mut parts: BTreeMap<Option<Month>, Vec<RecordBatch>> = BTreeMap::new();
    for (day, positions) in rows_by_day(rows, day)? {
        parts.entry(Some(Month::of_day(day))).or_default().push(take_record_batch(rows, &positions)?);
    }
    let mut joined = BTreeMap::new();
    for (month, batches) in parts {
        joined.insert(month, concat_batches(&rows.schema(), &batches)?);
    }
    Ok(joined)
}

/// One entry for each file of the job's inputs.
fn input_generations(pack: &JobPack, manifest: &Manifest) -> Generations {
    let mut generations = Generations::new();
    for input in &pack.inputs {
        for file in manifest.of_dataset(&input.dataset) {
            let name = match file.month {
                Some(month) => format!("{}/{month}", input.dataset),
                None => input.dataset.clone(),
            };
            // The hash tells generations apart that a rebuilt manifest numbers alike.
            generations.insert(name, format!("{}.{}", file.generation, short_mark(&file.sha256)));
        }
    }
    generations
}

/// The first letters of a hash: enough to tell versions of one file apart.
fn short_mark(hash: &str) -> String {
    hash.chars().take(12).collect()
}
