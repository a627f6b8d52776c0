//! What a process takes: memory and CPU time, as the kernel counts them.

use std::time::{Duration, Instant};

use crate::error::BenchError;

/// How long at a time it is looked whether a process rests.
const LOOK: Duration = Duration::from_millis(100);
/// It rests when it used less than this share of one core.
const REST: f64 = 0.02;

/// Resident memory in bytes (`VmRSS` of `/proc/PID/status`).
pub(crate) fn resident(pid: u32) -> Result<u64, BenchError> {
    let status = std::fs::read_to_string(format!("/proc/{pid}/status")).map_err(BenchError::io("reading memory"))?;
    status
        .lines()
        .find_map(|line| line.strip_prefix("VmRSS:")?.trim().strip_suffix("kB")?.trim().parse::<u64>().ok())
        .map(|kib| kib * 1024)
        .ok_or_else(|| BenchError::unexpected("reading memory", "no VmRSS"))
}

/// CPU time used so far. Of each thread's `schedstat`, which counts nanoseconds; `/proc/PID/stat` counts hundredths of
/// a second, too coarse for an idle process.
pub(crate) fn cpu_time(pid: u32) -> Result<Duration, BenchError> {
    let tasks = std::fs::read_dir(format!("/proc/{pid}/task")).map_err(BenchError::io("reading CPU time"))?;
    let mut total = 0_u64;
    for task in tasks.filter_map(Result::ok) {
        // a thread may end between the two
        let text = std::fs::read_to_string(task.path().join("schedstat")).unwrap_or_default();
        total += text.split(' ').next().and_then(|first| first.parse::<u64>().ok()).unwrap_or(0);
    }
    if total == 0 {
        return Err(BenchError::unexpected("reading CPU time", "this kernel keeps no schedstat (CONFIG_SCHED_INFO)"));
    }
    Ok(Duration::from_nanos(total))
}

/// Waits until a process rests, at most `bound`.
pub(crate) async fn rest(pid: u32, bound: Duration) -> Result<(), BenchError> {
    let began = Instant::now();
    let mut before = cpu_time(pid)?;
    let mut restful = 0;
    while began.elapsed() < bound {
        let looked = Instant::now();
        tokio::time::sleep(LOOK).await;
        let now = cpu_time(pid)?;
        let share = now.saturating_sub(before).as_secs_f64() / looked.elapsed().as_secs_f64();
        before = now;
        restful = if share < REST { restful + 1 } else { 0 };
        if restful == 4 {
            return Ok(());
        }
    }
    Err(BenchError::TooLong("waiting for a process to rest"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn this_process_has_memory_and_uses_time() {
        let pid = std::process::id();
        let before = cpu_time(pid).unwrap();
        let mut sum = 0_u64;
        while cpu_time(pid).unwrap() <= before {
            sum = (0..100_000).fold(sum, |sum, n: u64| sum.wrapping_mul(31).wrapping_add(n));
        }
        assert!(resident(pid).unwrap() > 100_000, "{sum}");
    }
}
