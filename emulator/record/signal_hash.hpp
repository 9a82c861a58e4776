// A sum over a run's frames and edges: equal for equal runs, whatever the threads did.
// XXH3, 128 bits: against accidents, not against somebody who wants two runs to look alike.
// Frames and edges have a sum each, so their interleaving does not matter; the result is the sum
// over both.
#pragma once

#include <xxhash.h>

#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <string>

#include "emulator/handover/frame.hpp"

namespace stillrotor {

class SignalHash {
 public:
  SignalHash();
  /// Values as the record keeps them, columns of fixed length (only the last may be shorter).
  void add_column(std::span<const float>) noexcept;
  void add_edges(std::span<const LineEdge>) noexcept;
  /// Hexadecimal, in the library's canonical order; call once.
  std::string finish() noexcept;

 private:
  struct Free {
    void operator()(XXH3_state_t* state) const noexcept { XXH3_freeState(state); }
  };
  using State = std::unique_ptr<XXH3_state_t, Free>;
  static State start();
  void hash_packed() noexcept;

  State frames_, edges_;
  std::array<std::uint64_t, 2048> packed_{};
  std::size_t packed_count_ = 0;
  std::int64_t last_ps_ = 0;
};

}  // namespace stillrotor
