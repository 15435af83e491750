use std::process::ExitCode;

fn main() -> ExitCode {
    match penstrata::cli::run() {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("penstrata: {error}");
            ExitCode::FAILURE
        }
    }
}
