// How urgent a thread of a bench may be at most.
#pragma once

namespace stillrotor {

/// SCHED_FIFO; the kernel's own threads stand at 99. It is what a user, a service or --user has to
/// be granted; the watchdog is one above its cycle.
inline constexpr int highest_priority = 95;

}  // namespace stillrotor
