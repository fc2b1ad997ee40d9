//! Keeps the engine from calling a dear function a second time.
//!
//! The engine's filter pushdown carries a condition below a projection by writing the projected expression into it. For a
//! condition on a verdict that means judging every shot twice. Logical plans respect that `verdict` is told to be volatile;
//! physical ones do not, so the rule is only let loose on the parts of a plan that call no such function.

use std::sync::Arc;

use datafusion::common::Result;
use datafusion::config::ConfigOptions;
use datafusion::physical_expr_common::physical_expr::is_volatile;
use datafusion::physical_optimizer::PhysicalOptimizerRule;
use datafusion::physical_optimizer::optimizer::PhysicalOptimizer;
use datafusion::physical_plan::projection::ProjectionExec;
use datafusion::physical_plan::{ExecutionPlan, replace_children_if_necessary};

/// The engine's rules, with its filter pushdown held back.
pub(crate) fn rules() -> Vec<Arc<dyn PhysicalOptimizerRule + Send + Sync>> {
    let mut rules = PhysicalOptimizer::new().rules;
    for rule in &mut rules {
        if rule.name().starts_with("FilterPushdown") {
            *rule = Arc::new(JudgeOnce(Arc::clone(rule)));
        }
    }
    rules
}

#[derive(Debug)]
struct JudgeOnce(Arc<dyn PhysicalOptimizerRule + Send + Sync>);

impl JudgeOnce {
    fn below(&self, plan: Arc<dyn ExecutionPlan>, config: &ConfigOptions) -> Result<Arc<dyn ExecutionPlan>> {
        if !calls_dear_function(&plan) {
            return self.0.optimize(plan, config);
        }
        let mut children = Vec::new();
        for child in plan.children() {
            children.push(self.below(Arc::clone(child), config)?);
        }
        replace_children_if_necessary(plan, children)
    }
}

impl PhysicalOptimizerRule for JudgeOnce {
    fn optimize(&self, plan: Arc<dyn ExecutionPlan>, config: &ConfigOptions) -> Result<Arc<dyn ExecutionPlan>> {
        self.below(plan, config)
    }

    fn name(&self) -> &str {
        self.0.name()
    }

    fn schema_check(&self) -> bool {
        self.0.schema_check()
    }
}

/// Whether a plan, or one below it, projects an expression that must not be repeated.
fn calls_dear_function(plan: &Arc<dyn ExecutionPlan>) -> bool {
    let projects = plan
        .downcast_ref::<ProjectionExec>()
        .is_some_and(|projection| projection.expr().iter().any(|projected| is_volatile(&projected.expr)));
    projects || plan.children().into_iter().any(calls_dear_function)
}
