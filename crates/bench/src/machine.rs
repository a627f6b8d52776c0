//! The machine: what it is, and what one durable write costs on it.

use std::fs::{File, OpenOptions};
use std::os::unix::fs::FileExt as _;
use std::path::Path;
use std::time::Instant;

use serde_json::{Value, json};

use crate::error::BenchError;
use crate::rounds::percentile_ms;

/// One block of the file system.
const BLOCK: usize = 4096;
/// Blocks of the file that is written over and over: it must not grow, or each write would also change its size.
const BLOCKS: u64 = 1024;

/// What a run was made on.
#[derive(Debug, Clone)]
pub(crate) struct Machine {
    cpu: String,
    cores: usize,
    kernel: String,
    file_system: String,
    fdatasync_ms: f64,
}

impl Machine {
    /// Looks at the machine; durable writes are tried in `folder`.
    pub(crate) fn look(folder: &Path) -> Result<Self, BenchError> {
        let cpu = std::fs::read_to_string("/proc/cpuinfo").unwrap_or_default();
        let cpu = cpu.lines().find_map(|line| line.strip_prefix("model name")?.split_once(':')).map(|(_, name)| name);
        let uname = rustix::system::uname();
        let mut durations = Fsync::open(folder)?.time(200)?;
        Ok(Self {
            cpu: cpu.map_or_else(|| "unknown CPU".to_owned(), |name| name.trim().to_owned()),
            cores: std::thread::available_parallelism().map_or(1, std::num::NonZero::get),
            kernel: format!("{} {}", uname.sysname().to_string_lossy(), uname.release().to_string_lossy()),
            file_system: file_system(folder),
            fdatasync_ms: percentile_ms(&mut durations, 0.5),
        })
    }

    /// In one line.
    pub(crate) fn words(&self) -> String {
        let Self { cpu, cores, kernel, file_system, fdatasync_ms } = self;
        format!("{cpu}, {cores} cores, {kernel}, {file_system}, fdatasync of 4 KiB {fdatasync_ms:.3} ms (p50)")
    }

    /// For programs.
    pub(crate) fn json(&self) -> Value {
        json!({
            "cpu": self.cpu, "cores": self.cores, "kernel": self.kernel, "file_system": self.file_system,
            "fdatasync_4k_p50_ms": self.fdatasync_ms,
        })
    }
}

/// Lets this process, and those that it starts, have as many open connections as the system allows at all.
pub(crate) fn allow_connections() {
    use rustix::process::{Resource, getrlimit, setrlimit};
    let mut limit = getrlimit(Resource::Nofile);
    limit.current = limit.maximum;
    // where it is refused, a large storm fails later and says why
    let _ = setrlimit(Resource::Nofile, limit);
}

/// How busy the machine was with other work than this program and its processes, from here on.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Quiet {
    /// Ticks of all processors: busy, and all.
    busy: u64,
    all: u64,
    /// Ticks of this program and of those that it started and that have ended.
    own: u64,
}

impl Quiet {
    /// Looks now.
    pub(crate) fn look() -> Self {
        let numbers =
            |text: &str| -> Vec<u64> { text.split_whitespace().map(|word| word.parse().unwrap_or(0)).collect() };
        // proc(5): user, nice, system, idle, iowait, irq, softirq, steal; the rest is part of the first two
        let stat = std::fs::read_to_string("/proc/stat").unwrap_or_default();
        let machine = numbers(stat.lines().next().unwrap_or_default().trim_start_matches("cpu"));
        let all: u64 = machine.iter().take(8).sum();
        let idle: u64 = machine.iter().skip(3).take(2).sum();
        // proc(5): fields 14 to 17, counted behind the name in parentheses, which may hold spaces
        let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
        let own = numbers(stat.rsplit_once(')').map_or("", |(_, rest)| rest)).iter().skip(11).take(4).sum();
        Self { busy: all - idle, all, own }
    }

    /// The share of the machine that other work took since then, in percent; all processes of this program must have
    /// ended.
    pub(crate) fn others_percent(self) -> f64 {
        let now = Self::look();
        let busy = now.busy.saturating_sub(self.busy);
        let others = busy.saturating_sub(now.own.saturating_sub(self.own));
        others as f64 * 100.0 / now.all.saturating_sub(self.all).max(1) as f64
    }
}

/// The kind of file system on which a folder lies: that of the longest mount point above it.
fn file_system(folder: &Path) -> String {
    let folder = folder.canonicalize().unwrap_or_else(|_| folder.to_owned());
    let mounts = std::fs::read_to_string("/proc/mounts").unwrap_or_default();
    let above = mounts.lines().filter_map(|line| {
        let mut words = line.split(' ');
        let (_, point, kind) = (words.next()?, words.next()?, words.next()?);
        folder.starts_with(point).then_some((point.len(), kind))
    });
    above.max().map_or_else(|| "unknown file system".to_owned(), |(_, kind)| kind.to_owned())
}

/// A file of which one block at a time is written and made durable.
#[derive(Debug)]
pub(crate) struct Fsync {
    file: File,
    next: u64,
}

impl Fsync {
    /// Makes the file, at its full length from the beginning.
    pub(crate) fn open(folder: &Path) -> Result<Self, BenchError> {
        let doing = BenchError::io;
        let file = OpenOptions::new()
            .create(true)
            .truncate(false)
            .write(true)
            .open(folder.join("fdatasync"))
            .map_err(doing("opening a file for fdatasync"))?;
        for block in 0..BLOCKS {
            file.write_all_at(&[1; BLOCK], block * BLOCK as u64).map_err(doing("filling a file for fdatasync"))?;
        }
        file.sync_all().map_err(doing("filling a file for fdatasync"))?;
        Ok(Self { file, next: 0 })
    }

    /// Writes a block and waits until it is durable, `times` times; nanoseconds of each.
    pub(crate) fn time(&mut self, times: usize) -> Result<Vec<u64>, BenchError> {
        let mut taken = Vec::with_capacity(times);
        for n in 0..times {
            let began = Instant::now();
            let block = [(n % 251) as u8; BLOCK];
            self.file.write_all_at(&block, self.next * BLOCK as u64).map_err(BenchError::io("writing a block"))?;
            self.file.sync_data().map_err(BenchError::io("fdatasync"))?;
            taken.push(nanoseconds(began));
            self.next = (self.next + 1) % BLOCKS;
        }
        Ok(taken)
    }
}

/// Nanoseconds since `began`.
pub(crate) fn nanoseconds(began: Instant) -> u64 {
    u64::try_from(began.elapsed().as_nanos()).unwrap_or(u64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_machine_is_looked_at_and_one_block_is_made_durable() {
        let folder = tempfile::tempdir().unwrap();
        let machine = Machine::look(folder.path()).unwrap();
        assert!(machine.cores > 0 && machine.fdatasync_ms > 0.0, "{machine:?}");
        assert!(machine.kernel.starts_with("Linux") && !machine.file_system.is_empty(), "{machine:?}");
        assert_eq!(Fsync::open(folder.path()).unwrap().time(3).unwrap().len(), 3);
    }

    #[test]
    fn other_work_is_a_share_of_the_machine() {
        let before = Quiet::look();
        assert!(before.busy > 0 && before.busy <= before.all, "{before:?}");
        // this program's own work is not counted: however long it takes, others cannot have had more than all
        let (mut sum, mut now) = (0_u64, before);
        while now.own <= before.own {
            sum = (0..100_000).fold(sum, |sum, n: u64| sum.wrapping_mul(31).wrapping_add(n));
            now = Quiet::look();
        }
        let others = before.others_percent();
        assert!((0.0..=100.0).contains(&others), "{others} {sum}");
    }
}
