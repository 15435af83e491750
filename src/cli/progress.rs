//! Progress on a terminal.

use std::io::IsTerminal;
use std::time::Instant;

/// Stages with their time, on a terminal only.
pub struct Progress {
    shown: bool,
    start: Instant,
    current: std::cell::RefCell<Option<(String, Instant)>>,
}

impl Progress {
    pub fn start() -> Self {
        Self {
            shown: std::io::stderr().is_terminal(),
            start: Instant::now(),
            current: Default::default(),
        }
    }

    pub fn stage(&self, name: &str) {
        let last = self
            .current
            .borrow_mut()
            .replace((name.to_owned(), Instant::now()));
        self.print(last);
        if self.shown {
            eprint!("  {name} ...");
        }
    }

    fn print(&self, stage: Option<(String, Instant)>) {
        if let (true, Some((name, since))) = (self.shown, stage) {
            eprintln!("\r  {name:<32} {:>5} ms", since.elapsed().as_millis());
        }
    }

    pub fn done(&self) {
        let last = self.current.borrow_mut().take();
        self.print(last);
        if self.shown {
            eprintln!(
                "  {:<32} {:>5} ms\n",
                "in all",
                self.start.elapsed().as_millis()
            );
        }
    }
}
