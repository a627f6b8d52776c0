//! The three sizes of firmware that are served.

/// How much of its state a fixture keeps for itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Firmware {
    /// Takes `showing` alone, where everything is resolved already; keeps no document.
    Showing,
    /// Keeps the `desired` document and follows its agenda by its own clock.
    Agenda,
    /// Keeps the document by `patch` alone, and asks for the whole when a patch does not fit what it holds. What to
    /// show now it takes from `showing`, since a patch carries no agenda.
    Patch,
}
