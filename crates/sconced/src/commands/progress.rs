//! A sign of life on the terminal for what takes a while. Programs never see it.

use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// A spinner with a text on standard error, if a terminal shows it.
#[derive(Debug)]
pub(super) struct Progress(ProgressBar);

impl Progress {
    pub(super) fn start(text: &str) -> Self {
        // hidden by the library where standard error is no terminal
        let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::stderr());
        if let Ok(style) = ProgressStyle::with_template("{spinner} {msg} {elapsed}") {
            bar.set_style(style);
        }
        bar.set_message(text.to_owned());
        bar.enable_steady_tick(Duration::from_millis(120));
        Self(bar)
    }

    pub(super) fn say(&self, text: String) {
        self.0.set_message(text);
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.0.finish_and_clear();
    }
}
