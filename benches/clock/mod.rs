//! Time that this thread was given by the processor: what else the machine does meanwhile counts little.

use std::time::Duration;

/// Since an arbitrary zero. Where no such clock is known, the time on the wall.
#[cfg(unix)]
pub fn thread_time() -> Duration {
    let now = rustix::time::clock_gettime(rustix::time::ClockId::ThreadCPUTime);
    Duration::new(now.tv_sec as u64, now.tv_nsec as u32)
}

#[cfg(not(unix))]
pub fn thread_time() -> Duration {
    use std::sync::LazyLock;
    static START: LazyLock<std::time::Instant> = LazyLock::new(std::time::Instant::now);
    START.elapsed()
}
