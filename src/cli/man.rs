//! The manual page, from the same descriptions as `--help`.

use clap::CommandFactory;
use std::io::Write;

/// Writes the manual page of a command and of all its verbs on standard output, in the format of `man`.
///
/// # Errors
/// When standard output cannot be written.
pub fn man<C: CommandFactory>() -> anyhow::Result<()> {
    let mut out = Vec::new();
    page(&C::command(), &mut out)?;
    std::io::stdout().lock().write_all(&out)?;
    Ok(())
}

fn page(command: &clap::Command, out: &mut Vec<u8>) -> std::io::Result<()> {
    let mut command = command.clone().disable_help_subcommand(true);
    command.build();
    clap_mangen::Man::new(command.clone()).render(out)?;
    for verb in command.get_subcommands() {
        verb_section(verb, "", out)?;
    }
    Ok(())
}

/// A verb with its flags, as a section of the page.
fn verb_section(verb: &clap::Command, of: &str, out: &mut Vec<u8>) -> std::io::Result<()> {
    let name = format!("{of}{}", verb.get_name());
    let man = clap_mangen::Man::new(verb.clone());
    writeln!(out, ".SH {}", name.to_uppercase())?;
    man.render_description_section(out)?;
    man.render_options_section(out)?;
    for inner in verb.get_subcommands() {
        verb_section(inner, &format!("{name} "), out)?;
    }
    Ok(())
}
