//! The command line; `borewright --help` is its manual.

#[expect(
    clippy::disallowed_methods,
    reason = "commands are given at a time of day"
)]
mod cli;

fn main() -> std::process::ExitCode {
    cli::run()
}
