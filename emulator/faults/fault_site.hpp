// Where a fault acts: the physics, and the wires between it and the controller.
// Each wire has one LineFault and each analog wire one ChannelFault that all faults share: a fault
// changes its own fields of it and leaves the others.
// RT: safe.
#pragma once

#include <cstdint>
#include <optional>

#include "io/connector.hpp"
#include "plant/drive.hpp"

namespace stillrotor {

struct Bench;

/// What is wrong with a wire: of a line that the bench drives, from the controller's pin to the
/// source; of a line that the controller drives, from its pin to what it turns on. In this order:
struct LineFault {
  bool open = false;      // broken: the pull of the harness decides
  bool lifeless = false;  // its source has let go: the pull decides
  bool stuck = false;     // tied to stuck_high, no polarity
  bool stuck_high = false;
  bool held = false;  // the source itself stays at held_on, positive logic
  bool held_on = false;
  bool inverted = false;
  bool disturbed = false;                 // inverted for a moment
  std::optional<io::LineId> source = {};  // the other line's source ends here

  friend bool operator==(const LineFault&, const LineFault&) = default;
};

class FaultSite {
 public:
  virtual std::int64_t now_ps() const noexcept = 0;
  virtual const Bench& bench() const noexcept = 0;
  virtual plant::Drive& plant() noexcept = 0;

  virtual LineFault line(io::LineId) const noexcept = 0;
  virtual void set_line(io::LineId, const LineFault&) noexcept = 0;
  /// Above 0, up to 1; the same for the same seed, line and number.
  virtual double share(io::LineId, std::int64_t number) const noexcept = 0;

 protected:
  ~FaultSite() = default;
};

}  // namespace stillrotor
