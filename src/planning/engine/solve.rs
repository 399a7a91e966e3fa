//! Entry point: a first plan by rules, then the search that fits the model, until time, proof or stagnation.

use rand::SeedableRng;
use rand_pcg::Pcg64;

use crate::planning::engine::{
    bounds::Bound,
    construction::rules::{DispatchRule, best_rule},
    model::{
        Goal, Minute, Model, ModelError,
        build::Shop,
        plan::{Plan, Value},
        validator::validate,
    },
    search::{
        anneal::Anneal,
        graph::{Graph, Sequence},
        problem_space,
        relink::{self, Watch},
    },
    timing::{Choice, Decisions, Timing},
};

/// How to search.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SolveOptions {
    /// Same seed and same iterations, same plan.
    pub seed: u64,
    /// Stop after so many moves; `None` leaves it to the watcher.
    pub iterations: Option<u64>,
    /// Stop after so many rounds in succession that brought nothing.
    pub rounds: u32,
}

impl Default for SolveOptions {
    fn default() -> Self {
        Self {
            seed: 1,
            iterations: None,
            rounds: u32::MAX,
        }
    }
}

/// What the watcher is told, a few thousand times a second.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SearchProgress {
    /// Moves made.
    pub iterations: u64,
    /// The main figure of the best plan: makespan, or weighted lateness.
    pub best: Minute,
    /// What no plan can beat.
    pub bound: Minute,
}

/// Why the search ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Termination {
    /// No plan has a better main figure: the bound is met.
    Proved,
    /// The rounds allowed brought nothing more.
    Stagnated,
    /// The iterations allowed are used up.
    Iterations,
    /// The watcher said so.
    Stopped,
}

/// A plan with what is known of it.
#[derive(Debug, Clone)]
pub struct Outcome {
    /// The best plan found.
    pub plan: Plan,
    /// What no plan can beat in the main figure of the goal.
    pub bound: Minute,
    /// Moves made.
    pub iterations: u64,
    /// Why the search ended.
    pub termination: Termination,
}

/// A first plan, by the best of the priority rules.
///
/// # Errors
/// When the model cannot be planned.
pub fn first_plan(model: &Model) -> Result<Plan, ModelError> {
    let shop = Shop::build(model)?;
    let mut timing = Timing::new(&shop);
    let (_, decisions, value) = best_rule(&shop, &mut timing);
    timing.once(&shop, &decisions);
    Ok(timing.plan(&shop, &decisions, value))
}

/// Plans a model. `watch` is told how it goes and stops the search by returning true: on time, or when cancelled.
///
/// The search is tabu search with path relinking where the disjunctive graph is exact (makespan, hours that never
/// close, no people, setups or lags), and simulated annealing on the exact value for everything else, after a search in
/// the space of problems when there are promises. Both start from the
/// same rules, and both answers are timed by the same pass.
///
/// # Errors
/// When the model cannot be planned.
pub fn solve(
    model: &Model,
    options: &SolveOptions,
    watch: &mut dyn FnMut(&SearchProgress) -> bool,
) -> Result<Outcome, ModelError> {
    let shop = Shop::build(model)?;
    let mut timing = Timing::new(&shop);
    let (how, decisions, value) = best_rule(&shop, &mut timing);
    let bound = Bound::new(&shop);
    let mut search = Search {
        shop: &shop,
        options,
        rng: Pcg64::seed_from_u64(options.seed),
        progress: SearchProgress {
            iterations: 0,
            best: value.main(shop.goal),
            bound: bound.value,
        },
        bound,
        termination: Termination::Stagnated,
        watch,
    };
    let graph = if shop.goal == Goal::Makespan {
        Graph::new(model)
    } else {
        None
    };
    let (decisions, timing, value) = match graph {
        Some(mut graph) => search.on_graph(&mut graph, decisions, timing),
        None => search.by_timing(how, (decisions, value), timing),
    };
    let bound = search.bound.value;
    if value.broken == 0 && value.main(shop.goal) <= bound {
        search.termination = Termination::Proved;
    }
    let plan = timing.plan(&shop, &decisions, value);
    debug_assert!(
        value.broken > 0 || validate(model, &plan).is_empty(),
        "{:?}",
        validate(model, &plan)
    );
    Ok(Outcome {
        plan,
        bound,
        iterations: search.progress.iterations,
        termination: search.termination,
    })
}

/// A search under way.
struct Search<'a> {
    shop: &'a Shop,
    options: &'a SolveOptions,
    rng: Pcg64,
    bound: Bound<'a>,
    progress: SearchProgress,
    termination: Termination,
    watch: &'a mut dyn FnMut(&SearchProgress) -> bool,
}

impl Search<'_> {
    /// Path relinking and tabu search on the disjunctive graph, from the decisions of a rule.
    fn on_graph(
        &mut self,
        graph: &mut Graph,
        decisions: Decisions,
        mut timing: Timing,
    ) -> (Decisions, Timing, Value) {
        let start = to_sequence(&decisions);
        let target = i32::try_from(self.bound.value).unwrap_or(0);
        let limit = self.options.iterations.unwrap_or(u64::MAX);
        let best = std::cell::Cell::new(self.progress.best);
        let made = std::cell::Cell::new(0);
        let (progress, termination, watch) =
            (&mut self.progress, &mut self.termination, &mut self.watch);
        let bound = &mut self.bound;
        let found = relink::search(
            graph,
            &start,
            target,
            self.options.rounds,
            &mut self.rng,
            &mut Watch {
                stop: &mut |k| {
                    progress.iterations += k;
                    made.set(progress.iterations);
                    progress.best = best.get();
                    stopped(progress, limit, watch, termination)
                },
                found: &mut |makespan| best.set(Minute::from(makespan)),
                // A tenth or two of the time goes into proof.
                proved: &mut |makespan| bound.prove(Minute::from(makespan), 2 * made.get()),
            },
        );
        let decisions = from_sequence(&found, decisions);
        let value = timing.once(self.shop, &decisions);
        (decisions, timing, value)
    }

    /// Problem space search where there are promises, then simulated annealing, from the plan of rule `how`.
    fn by_timing(
        &mut self,
        how: DispatchRule,
        mut found: (Decisions, Value),
        mut timing: Timing,
    ) -> (Decisions, Timing, Value) {
        let shop = self.shop;
        let limit = self.options.iterations.unwrap_or(u64::MAX);
        let (progress, termination, watch) =
            (&mut self.progress, &mut self.termination, &mut self.watch);
        let mut ask = |moves: u64, value: &Value| {
            progress.iterations += moves;
            progress.best = value.main(shop.goal);
            stopped(progress, limit, watch, termination)
        };
        if shop.goal == Goal::Promises {
            // A try takes about as long as so many moves.
            let moves = shop.ops.len().div_ceil(50) as u64;
            let ask = &mut |value: &Value| ask(moves, value);
            found = problem_space::search(shop, &mut timing, how, found, &mut self.rng, ask);
        }
        let mut search = Anneal::new(shop, found.0, timing);
        // With few moves allowed, the first cooling takes what there is.
        let usual = 50 * shop.ops.len() as u64;
        search.first_cooling = self
            .options
            .iterations
            .filter(|&all| all < 3 * usual)
            .map(|all| all / 2);
        search.improve(shop, self.options.rounds, &mut self.rng, &mut ask);
        (search.moves.decisions, search.moves.timing, search.value)
    }
}

/// Whether the search must stop, and why in `ended`.
fn stopped(
    progress: &SearchProgress,
    limit: u64,
    watch: &mut dyn FnMut(&SearchProgress) -> bool,
    termination: &mut Termination,
) -> bool {
    if progress.iterations >= limit {
        *termination = Termination::Iterations;
    } else if watch(progress) {
        *termination = Termination::Stopped;
    } else {
        return false;
    }
    true
}

fn to_sequence(d: &Decisions) -> Sequence {
    Sequence {
        order: d.order.clone(),
        mode: d.choice.iter().map(|c| c.mode).collect(),
        makespan: i32::MAX,
    }
}

fn from_sequence(s: &Sequence, like: Decisions) -> Decisions {
    let choice = s
        .mode
        .iter()
        .zip(&like.choice)
        .map(|(&mode, c)| Choice {
            mode,
            person: c.person,
        })
        .collect();
    Decisions {
        order: s.order.clone(),
        choice,
    }
}
