use std::process::ExitCode;

/// Pictures come and go by the dozen: their memory is kept for the next ones, in large pages where the system has them.
/// A tenth of the time of a plan from 12 megapixels; `benches/whole.rs` measures it.
#[cfg(target_os = "linux")]
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    match penstrata::cli::run() {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("penstrata: {error}");
            ExitCode::FAILURE
        }
    }
}
