// A window resolved against a record: instants, and the grid bins and points it holds.
// Grid bin k reaches from k / rate to (k + 1) / rate; its point stands at its end.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "emulator/judge/judge.hpp"

namespace stillrotor {

/// Entries first .. first + count - 1 of the grid.
struct GridRange {
  std::size_t first = 0, count = 0;
};

struct Stretch {
  std::int64_t from_ps = 0, to_ps = 0;
  std::optional<std::int64_t> event_ps;  // what the window hangs on
  GridRange inside;                      // bins that lie wholly in the window
  GridRange touching;                    // bins that share a moment with it
  GridRange points;                      // grid points in it, ends included
  double covered = 0.0;                  // share of the window that `inside` covers, 0 to 1

  double seconds() const noexcept { return static_cast<double>(to_ps - from_ps) * 1e-12; }
};

struct ResolvedWindow {
  Stretch stretch;
  std::string undefined;  // non-empty: the record does not hold this window, and why
};
ResolvedWindow resolve(const RecordReader&, const Window&);

}  // namespace stillrotor
