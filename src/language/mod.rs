//! What may be said: grammar files, read once for the engine, the parser and the phrase card alike.

pub mod fault;
pub mod grammar;
pub mod jsgf;
mod compact;
pub mod automaton;
pub mod word_states;
pub mod on_demand_graph;
pub mod graph;
pub mod usage;
pub mod engine;
pub mod closed_sets;
pub mod tags;
pub mod own;
pub mod near;
pub mod pack;
pub mod phrases;
