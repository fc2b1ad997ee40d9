//! Which job comes after which, and what makes a set of packs unsound.

use super::check::Draft;
use super::fault::PackFault;
use crate::history;

/// The drafts that can run together, each after those it builds on. Drafts that cannot are told as faults; so are those
/// that build on them, since they would read what nobody makes.
pub(super) fn sound(mut drafts: Vec<Draft>, faults: &mut Vec<PackFault>) -> Vec<Draft> {
    drafts.sort_by(|left, right| left.pack.name.cmp(&right.pack.name));
    let mut kept = outputs_are_unique(drafts, faults);
    // Leaving one out may leave its readers without input, so look again until nothing changes.
    loop {
        let before = kept.len();
        kept = references_exist(kept, faults);
        if kept.len() == before {
            break;
        }
    }
    in_order(kept, faults)
}

fn reserved_names() -> Vec<String> {
    let mut names: Vec<String> = shot::published_datasets().into_iter().map(|dataset| dataset.name).collect();
    names.push(history::job_runs().name);
    names
}

/// Two packs with one output are both left out: whichever ran, the data would not be what their name says.
fn outputs_are_unique(drafts: Vec<Draft>, faults: &mut Vec<PackFault>) -> Vec<Draft> {
    let reserved = reserved_names();
    let makers: Vec<(String, String)> =
        drafts.iter().map(|draft| (draft.pack.output.name.clone(), draft.pack.name.clone())).collect();
    let mut kept: Vec<Draft> = Vec::new();
    for draft in drafts {
        let dataset = &draft.pack.output.name;
        let other = makers.iter().find(|(made, maker)| made == dataset && *maker != draft.pack.name);
        let message = if reserved.contains(dataset) {
            format!("the dataset \"{dataset}\" is made by strikemill itself")
        } else if let Some((_, other)) = other {
            format!("the dataset \"{dataset}\" is also made by the job \"{other}\"; both jobs are left out")
        } else {
            kept.push(draft);
            continue;
        };
        let hint = "give the output of the newer job another name";
        faults.push(PackFault::at(&draft.path, &draft.text, Some(draft.output_span.clone()), message, hint));
    }
    kept
}

fn references_exist(drafts: Vec<Draft>, faults: &mut Vec<PackFault>) -> Vec<Draft> {
    let mut datasets = reserved_names();
    datasets.extend(drafts.iter().map(|draft| draft.pack.output.name.clone()));
    datasets.sort();
    let jobs: Vec<String> = drafts.iter().map(|draft| draft.pack.name.clone()).collect();
    let mut kept = Vec::new();
    for draft in drafts {
        let mut sound = true;
        for (input, span) in draft.pack.inputs.iter().zip(&draft.input_spans) {
            if !datasets.contains(&input.dataset) {
                let message = format!("no dataset is called \"{}\"", input.dataset);
                let hint = format!("the datasets are {}", datasets.join(", "));
                faults.push(PackFault::at(&draft.path, &draft.text, Some(span.clone()), message, &hint));
                sound = false;
            }
        }
        if let Some(job) = &draft.pack.trigger.after_job
            && !jobs.contains(job)
        {
            let message = format!("after_job names \"{job}\", which is no job");
            let hint = format!("the jobs are {}", jobs.join(", "));
            faults.push(PackFault::at(&draft.path, &draft.text, draft.after_job_span.clone(), message, &hint));
            sound = false;
        }
        if sound {
            kept.push(draft);
        }
    }
    kept
}

/// Whether `draft` must run after `other`.
fn builds_on(draft: &Draft, other: &Draft) -> bool {
    draft.pack.trigger.after_job.as_ref() == Some(&other.pack.name)
        || draft.pack.inputs.iter().any(|input| input.dataset == other.pack.output.name)
}

fn in_order(drafts: Vec<Draft>, faults: &mut Vec<PackFault>) -> Vec<Draft> {
    let mut waiting = drafts;
    let mut ordered: Vec<Draft> = Vec::new();
    loop {
        let free = waiting.iter().position(|draft| waiting.iter().all(|other| !builds_on(draft, other)));
        match free {
            Some(position) => ordered.push(waiting.remove(position)),
            None if waiting.is_empty() => return ordered,
            None => break,
        }
    }
    // Whatever is left waits for itself, directly or through others.
    let names: Vec<&str> = waiting.iter().map(|draft| draft.pack.name.as_str()).collect();
    for draft in &waiting {
        let message = format!("the job waits for itself: {}", names.join(", "));
        let hint = "break the circle of after_job and of inputs that other jobs make";
        let span = draft.after_job_span.clone().or_else(|| draft.input_spans.first().cloned());
        faults.push(PackFault::at(&draft.path, &draft.text, span, message, hint));
    }
    ordered
}
