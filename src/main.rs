//! The `rigtide` program: hands its arguments to the library and exits with the code it gets back.

#[path = "../demo/mod.rs"]
mod demo;
#[path = "../demo/stage.rs"]
mod stage;

use mimalloc::MiMalloc;
use std::process::ExitCode;

// Reading a catalogue is many small allocations on two threads, for which glibc's takes longer, and
// SQLite's pages leave holes there (DEVELOPERS.md, decision 24).
#[global_allocator]
static ALLOCATOR: MiMalloc = MiMalloc;

fn main() -> ExitCode {
    rigtide::cli::run(std::env::args_os(), stage::open)
}
