//! When to lock a store nobody is using.

/// Says when nobody has touched the device for too long. Times are milliseconds of any one clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct IdleLock {
    limit_ms: i64,
    touched_ms: i64,
}

impl IdleLock {
    /// Locks after `limit_ms` without a touch, counted from `now_ms`.
    #[must_use]
    pub fn new(limit_ms: i64, now_ms: i64) -> Self {
        Self {
            limit_ms,
            touched_ms: now_ms,
        }
    }

    /// Somebody touched the device.
    pub fn touch(&mut self, now_ms: i64) {
        self.touched_ms = now_ms;
    }

    /// Whether it is time for [`crate::Store::lock`]. A clock that was set back starts the count
    /// anew, so that it can neither lock at once nor keep the store open for long.
    pub fn is_due(&mut self, now_ms: i64) -> bool {
        self.touched_ms = self.touched_ms.min(now_ms);
        now_ms - self.touched_ms >= self.limit_ms
    }
}

#[cfg(test)]
mod tests {
    use super::IdleLock;

    #[test]
    fn locks_when_idle_and_survives_a_clock_set_back() {
        let mut idle = IdleLock::new(1000, 5000);
        assert!(!idle.is_due(5999));
        idle.touch(5999);
        assert!(!idle.is_due(6500));
        assert!(!idle.is_due(100), "set back: counts anew");
        assert!(!idle.is_due(1099));
        assert!(idle.is_due(1100));
    }
}
