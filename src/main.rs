//! The command line; `borewright --help` is its manual.

mod cli;

fn main() -> std::process::ExitCode {
    cli::run()
}
