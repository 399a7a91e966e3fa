//! Search for a better plan. Tabu search and path relinking on the disjunctive graph where nothing but machines and
//! order matters; search in the space of problems and then simulated annealing for everything else.

pub(super) mod anneal;
mod forbidden;
pub(super) mod graph;
mod moves;
pub(super) mod problem_space;
pub(super) mod relink;
mod tabu;
