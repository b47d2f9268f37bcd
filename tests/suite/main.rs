//! The program's tests by capability, in one binary.
#![expect(
    clippy::unwrap_used,
    clippy::print_stderr,
    clippy::too_many_lines,
    reason = "a test that cannot go on fails where it stands"
)]

mod answer;
mod architecture;
#[path = "../support/mod.rs"]
mod support;
