// What bench and firmware process agree on beside the mailbox.
#pragma once

#include <cstddef>

namespace stillrotor::io::hostfw {

inline constexpr int mailbox_file = 3;
inline constexpr std::size_t console_most_bytes = 4u << 20;  // of what it prints by itself

// The sanitizers' own memory needs more room than any limit leaves.
#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
inline constexpr bool limits_memory = false;
#else
inline constexpr bool limits_memory = true;
#endif

}  // namespace stillrotor::io::hostfw
