// What a bench asks of a controller behind a timing co-processor, held against what chip and link
// can do: the third grade (docs/real-time.md).
#pragma once

#include <optional>

#include "emulator/budget/budget.hpp"
#include "io/link/config.hpp"

namespace stillrotor {

/// What stamps are worth: as declared, or as a chip says itself.
struct ChipStamps {
  double resolution_s = 0.0, jitter_s = 0.0;
  bool asked = false;  // the chip says so

  /// Of a stamp against its edge, rms.
  double error_s() const noexcept;
};
ChipStamps declared_stamps(const io::LinkConfig&);

/// The chip's settings are worked out (config.settings).
Budget link_budget(const Bench&, const io::LinkConfig&, const ChipStamps&);

}  // namespace stillrotor
