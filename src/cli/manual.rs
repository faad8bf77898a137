//! `walewise completion` and `walewise manual`: what a shell and the manual show of all commands.

use super::{ExitStatus, output, output_file};
use clap::{Args, Command};
use clap_complete::Shell;
use std::path::{Path, PathBuf};

/// Write the completion script for a shell to stdout
#[derive(Args)]
#[command(after_help = "Example:
  walewise completion bash > walewise.bash")]
pub struct CompletionArguments {
    /// The shell
    #[arg(value_enum)]
    shell: Shell,
}

/// Write the manual page to stdout, or the pages of all commands to a folder
#[derive(Args)]
#[command(after_help = "Examples:
  walewise manual > walewise.1
  walewise manual --folder man")]
pub struct ManualArguments {
    /// Folder for walewise.1, walewise-measure.1 and so on; made when it is missing
    #[arg(long, value_name = "FOLDER")]
    folder: Option<PathBuf>,
}

/// Runs `completion`.
pub fn completion(arguments: &CompletionArguments, mut command: Command) -> ExitStatus {
    let mut script = Vec::new();
    clap_complete::generate(arguments.shell, &mut command, "walewise", &mut script);
    written(output::print(&String::from_utf8_lossy(&script)))
}

/// Runs `manual`.
pub fn manual(arguments: &ManualArguments, command: Command) -> ExitStatus {
    match &arguments.folder {
        None => written(page(&command).and_then(|text| output::print(&text))),
        Some(folder) => match pages(folder, command) {
            Ok(()) => ExitStatus::Done,
            Err(message) => {
                output::complain(&message);
                ExitStatus::Other
            }
        },
    }
}

fn page(command: &Command) -> std::io::Result<String> {
    let mut text = Vec::new();
    clap_mangen::Man::new(command.clone()).render(&mut text)?;
    Ok(String::from_utf8_lossy(&text).into_owned())
}

fn pages(folder: &Path, command: Command) -> Result<(), String> {
    std::fs::create_dir_all(folder).map_err(|error| output_file::unwritable(folder, &error))?;
    let mut command = command.disable_help_subcommand(true);
    command.build();
    write_page(folder, &command)
}

/// The pages of a command and of its subcommands.
fn write_page(folder: &Path, command: &Command) -> Result<(), String> {
    for subcommand in command.get_subcommands().filter(|c| !c.is_hide_set()) {
        write_page(folder, subcommand)?;
    }
    let file = folder.join(clap_mangen::Man::new(command.clone()).get_filename());
    let text = page(command).map_err(|error| output_file::unwritable(&file, &error))?;
    output_file::write(&file, text.as_bytes())
}

fn written(result: std::io::Result<()>) -> ExitStatus {
    match result {
        Ok(()) => ExitStatus::Done,
        Err(error) => output::unwritten(&error),
    }
}
