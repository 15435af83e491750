use std::process::ExitCode;

use mimalloc::MiMalloc;

/// Pictures come and go by the dozen: their memory is kept for the next ones, in large pages where the system has them.
/// A tenth of the time of a plan from 12 megapixels, by `benches/whole.rs`.
#[global_allocator]
static ALLOCATOR: MiMalloc = MiMalloc;

fn main() -> ExitCode {
    match penstrata::cli::run() {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("penstrata: {error}");
            ExitCode::FAILURE
        }
    }
}
