//! Work on several things that know nothing of one another: the caller says where it runs.

/// Runs the same work on each of several things.
pub trait SideBySide {
    /// What the work made of each, in the order of the things.
    fn each<T: Send, R: Send>(&self, things: Vec<T>, work: impl Fn(T) -> R + Sync) -> Vec<R>;
}

/// One thing after the other, where the caller is.
pub struct InTurn;

impl SideBySide for InTurn {
    fn each<T: Send, R: Send>(&self, things: Vec<T>, work: impl Fn(T) -> R + Sync) -> Vec<R> {
        things.into_iter().map(work).collect()
    }
}
