//! The `rigtide` program: hands its arguments to the library and exits with the code it gets back.

#[path = "../demo/mod.rs"]
mod demo;
#[path = "../demo/stage.rs"]
mod stage;

use std::process::ExitCode;

fn main() -> ExitCode {
    rigtide::cli::run(std::env::args_os(), stage::open)
}
