//! The functions of the room of practice: what a player's strikes tell over weeks.

use ::practice::{Answer, Measurement, PlanFacts, PracticeStrike, Row, Strike};

use super::list_answer::Told;
use super::list_definition::{Definition, Results, Rows, Scalar, ScalarKind};

/// Longest list of shots: far more than a player hits in the weeks that a summary looks at.
const MOST_ROWS: usize = 20_000;
/// Such an answer takes well under a millisecond for a usual week.
const WORTH_THREADS: usize = 16;

pub(super) fn definitions() -> Vec<Definition> {
    let shared = || {
        vec![Scalar {
            name: "shared_variance",
            unit: "1",
            meaning: "share of a value's variance that all values have in common (one head, one device), 0 to 1; null = 0",
            kind: ScalarKind::Number,
        }]
    };
    vec![
        of_rows::<Measurement, _>(
            "mean_by_sessions",
            "The mean of the week's values, by a model of shots and sessions shrunk over the player's history: rows with \
             current = 1 are the week, the others the weeks before. Null without rows.",
            shared(),
            |values, shared_variance| ::practice::mean_by_sessions(values, shared_variance.unwrap_or(0.0)),
        ),
        of_rows::<Measurement, _>(
            "trend",
            "Where a value is going over sessions; not enough below three sessions on three days.",
            shared(),
            |values, shared_variance| ::practice::trend(values, shared_variance.unwrap_or(0.0)),
        ),
        of_rows::<Strike, _>(
            "strike_pattern",
            "Where on the face the ball is met: mean, spread, the ellipse of the next strike, the share in the centre, and the \
             change against the weeks before. Means only where the strike is identified.",
            Vec::new(),
            |strikes, _| ::practice::strike_pattern(strikes),
        ),
        of_rows::<PracticeStrike, _>(
            "practice_effect",
            "Whether strike practice worked: free swings after the first drill session against those before, shrunk against \
             regression to the mean.",
            Vec::new(),
            |strikes, _| ::practice::practice_effect(strikes),
        ),
        plan(),
    ]
}

/// A function of one kind of rows with one number behind the list.
fn of_rows<R: Row + 'static, A: Answer + 'static>(
    name: &'static str,
    description: &'static str,
    scalars: Vec<Scalar>,
    compute: fn(&[R], Option<f64>) -> A,
) -> Definition {
    Definition {
        name,
        description,
        takes_list: true,
        numbers: R::NUMBERS.to_vec(),
        texts: R::TEXTS.to_vec(),
        scalars,
        results: results_of::<A>(),
        most_rows: MOST_ROWS,
        worth_threads: WORTH_THREADS,
        compute: Box::new(move |rows, scalars, _| Ok(vec![told(&compute(&read(rows), scalars.number(0)))])),
    }
}

fn plan() -> Definition {
    Definition {
        name: "practice_plan",
        description: "What to practise next from the figures of a player's week with one club, why, and how to set the gate.",
        takes_list: false,
        numbers: PlanFacts::NUMBERS.to_vec(),
        texts: PlanFacts::TEXTS.to_vec(),
        scalars: Vec::new(),
        results: results_of::<::practice::PracticePlan>(),
        most_rows: 1,
        worth_threads: 4 * WORTH_THREADS,
        compute: Box::new(|rows, _, _| {
            let facts: Vec<PlanFacts> = read(rows);
            Ok(facts.first().map(|facts| told(&::practice::practice_plan(facts))).into_iter().collect())
        }),
    }
}

/// The rows that have what they cannot do without.
fn read<R: Row>(rows: &Rows) -> Vec<R> {
    rows.each().filter_map(|(numbers, texts)| R::from_fields(numbers, &texts)).collect()
}

fn results_of<A: Answer>() -> Results {
    Results { many: false, texts: A::TEXTS.to_vec(), flags: Vec::new(), numbers: A::NUMBERS.to_vec() }
}

fn told<A: Answer>(answer: &A) -> Told {
    Told {
        texts: (0..A::TEXTS.len()).map(|at| answer.text_at(at).map(str::to_owned)).collect(),
        flags: Vec::new(),
        numbers: (0..A::NUMBERS.len()).map(|at| answer.number_at(at)).collect(),
    }
}
