//! A connection that ends when the other side takes nothing for too long.

use std::io;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll, ready};
use std::time::Duration;

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::time::{Instant, Sleep, sleep_until};

use super::pulse::Pulse;

/// A stream whose writes fail when nothing could be written for so long.
#[derive(Debug)]
pub(super) struct BoundedWrites<S> {
    stream: S,
    patience: Duration,
    pulse: Arc<Pulse>,
    /// Until when the write that is stuck may take; none while nothing is stuck.
    until: Option<Pin<Box<Sleep>>>,
}

impl<S> BoundedWrites<S> {
    pub(super) fn new(stream: S, patience: Duration, pulse: Arc<Pulse>) -> Self {
        Self { stream, patience, pulse, until: None }
    }

    /// Counts what was taken. A flush counts for nothing: there is one whenever a connection is looked at, also when all
    /// that has come is another byte of a head.
    fn noted(&self, written: &Poll<io::Result<usize>>) {
        if matches!(written, Poll::Ready(Ok(1..))) {
            self.pulse.wrote();
        }
    }

    /// What a write came to; a pending one fails when its time is over.
    fn bounded<T>(&mut self, context: &mut Context<'_>, written: Poll<io::Result<T>>) -> Poll<io::Result<T>> {
        if written.is_ready() {
            self.until = None;
            return written;
        }
        let patience = self.patience;
        let until = self.until.get_or_insert_with(|| Box::pin(sleep_until(Instant::now() + patience)));
        ready!(until.as_mut().poll(context));
        Poll::Ready(Err(io::Error::new(io::ErrorKind::TimedOut, "the other side takes nothing of the answer")))
    }
}

impl<S: AsyncRead + Unpin> AsyncRead for BoundedWrites<S> {
    fn poll_read(mut self: Pin<&mut Self>, context: &mut Context<'_>, into: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_read(context, into)
    }
}

impl<S: AsyncWrite + Unpin> AsyncWrite for BoundedWrites<S> {
    fn poll_write(mut self: Pin<&mut Self>, context: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        let written = Pin::new(&mut self.stream).poll_write(context, bytes);
        self.noted(&written);
        self.bounded(context, written)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        parts: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        let written = Pin::new(&mut self.stream).poll_write_vectored(context, parts);
        self.noted(&written);
        self.bounded(context, written)
    }

    fn is_write_vectored(&self) -> bool {
        self.stream.is_write_vectored()
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        let flushed = Pin::new(&mut self.stream).poll_flush(context);
        self.bounded(context, flushed)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        let shut = Pin::new(&mut self.stream).poll_shutdown(context);
        self.bounded(context, shut)
    }
}
