//! What every function answers.

/// What became of a call. Errors are below 0; nothing was written then.
#[repr(i32)]
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SconcedStatus {
    /// Done.
    Ok = 0,
    /// There is nothing to tell: no clock is set, no change comes, no ask is due.
    Nothing = 1,
    /// A pointer is null or not aligned for what it points to.
    ErrorPointer = -1,
    /// A buffer is shorter than what belongs into it.
    ErrorShort = -2,
    /// A number is out of the range that is named where it is described.
    ErrorRange = -3,
    /// A struct to be held was not begun.
    ErrorNotBegun = -4,
    /// The message cannot be read.
    ErrorMessage = -5,
}

/// Runs the body of a function and says what became of it.
pub(crate) fn answer(body: impl FnOnce() -> Result<(), SconcedStatus>) -> SconcedStatus {
    match body() {
        Ok(()) => SconcedStatus::Ok,
        Err(status) => status,
    }
}
