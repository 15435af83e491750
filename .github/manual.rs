//! Writes the man pages and the shell completions into a folder:
//! `cargo run --release --example manual -- FOLDER`.

use std::path::PathBuf;

use clap_complete::{Shell, generate_to};

fn main() -> std::io::Result<()> {
    let folder: PathBuf = std::env::args_os().nth(1).unwrap_or("manual".into()).into();
    let (pages, completions) = (folder.join("man"), folder.join("completions"));
    std::fs::create_dir_all(&pages)?;
    std::fs::create_dir_all(&completions)?;
    clap_mangen::generate_to(penstrata::cli::command(), pages)?;
    for shell in [
        Shell::Bash,
        Shell::Elvish,
        Shell::Fish,
        Shell::PowerShell,
        Shell::Zsh,
    ] {
        generate_to(
            shell,
            &mut penstrata::cli::command(),
            "penstrata",
            &completions,
        )?;
    }
    Ok(())
}
