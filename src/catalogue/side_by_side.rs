//! Work on several things that know nothing of one another: the caller says where it runs.

/// Runs the same work on each of several things.
pub trait SideBySide {
    /// Whether what is made is kept for long, so that it is worth a copy that lies closer together.
    const IS_FOR_LONG: bool = false;

    /// What the work made of each, in the order of the things.
    fn each<T: Send, R: Send>(&self, things: Vec<T>, work: impl Fn(T) -> R + Sync) -> Vec<R>;

    /// Does work whose memory is to lie apart from that of all work before.
    fn apart<R: Send>(&self, work: impl FnOnce() -> R + Send) -> R {
        work()
    }
}

/// One thing after the other, where the caller is.
pub struct InTurn;

impl SideBySide for InTurn {
    fn each<T: Send, R: Send>(&self, things: Vec<T>, work: impl Fn(T) -> R + Sync) -> Vec<R> {
        things.into_iter().map(work).collect()
    }
}
