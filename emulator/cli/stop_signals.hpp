// SIGINT and SIGTERM ask for a stop, so that the record is closed; a second one ends the program at
// once (the record survives that too).
#pragma once

#include <atomic>

namespace stillrotor {

class StopSignals {
 public:
  StopSignals();
  ~StopSignals();
  StopSignals(const StopSignals&) = delete;
  StopSignals& operator=(const StopSignals&) = delete;

  const std::atomic<bool>& asked() const noexcept;
  /// 130 for SIGINT, 143 for SIGTERM; 0: none came.
  int exit_status() const noexcept;
};

}  // namespace stillrotor
