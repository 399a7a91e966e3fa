//! The command line; `borewright --help` is its manual.

#[expect(
    clippy::disallowed_methods,
    reason = "commands are given at a time of day"
)]
mod cli;

/// That of the C library keeps what was freed, for each thread by itself: after some hundred answers or sign-ins that is more than
/// all else together.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> std::process::ExitCode {
    cli::run()
}
