// The part of the plant that runs on the co-processor, as the cycle sees it: what it is told ahead,
// what it reports back.
// Signs and frames: docs/notation.md.
#pragma once

#include <cstdint>

#include "io/link/coprocessor/host/parameters.hpp"
#include "io/link/status.hpp"

namespace stillrotor::io {

/// What the cycle sends ahead: it holds from at_ns on (CLOCK_MONOTONIC), some milliseconds from
/// now.
struct Ahead {
  std::int64_t at_ns = 0;
  coprocessor::Motion motion;  // there
  double source_V = 0.0;
  double resistance_ohm = 0.0;  // winding and one switch; 0: as it is
  double flux_ratio = 1.0;      // magnets' flux to that of the parameters
  bool clear_trip = false;
};

/// A batch of the chip's steps.
struct LinkReport {
  std::int64_t at_ns = 0;  // its end, CLOCK_MONOTONIC
  double lasts_s = 0.0;
  double mean_A[2] = {};  // of U and V, into the machine
  double mean_capacitor_V = 0.0;
  double end_A[2] = {}, bus_V = 0.0;  // at its end
  double theta_m_rad = 0.0;           // that the outputs show, 0 to 2 pi
  std::int64_t theta_at_ns = 0;
  std::uint32_t flags = 0, safe = 0, tripped = 0;
};

/// Of a wired controller whose fast plant is not the bench's own. The cycle's thread only.
/// RT: safe: no allocation, lock, log, throw or system call.
class FarPlant {
 public:
  virtual void ahead(const Ahead&) noexcept = 0;
  /// The oldest that has not been taken; false: none.
  virtual bool next_report(LinkReport&) noexcept = 0;
  virtual const LinkStatus& link_status() noexcept = 0;

 protected:
  ~FarPlant() = default;
};

}  // namespace stillrotor::io
