// Where a fault acts: the physics, and the wires between it and the controller.
// Each wire has one LineFault and each analog wire one ChannelFault that all faults share: a fault
// changes its own fields of it and leaves the others.
// RT: safe.
#pragma once

#include <cstdint>

#include "io/connector.hpp"
#include "plant/drive.hpp"

namespace stillrotor {

struct Bench;

/// What is wrong with a wire, from the controller's pin.
struct LineFault {
  bool open = false;   // broken: the pull of the harness decides what is read
  bool stuck = false;  // tied to stuck_high, no polarity
  bool stuck_high = false;

  friend bool operator==(const LineFault&, const LineFault&) = default;
};

class FaultSite {
 public:
  virtual std::int64_t now_ps() const noexcept = 0;
  virtual const Bench& bench() const noexcept = 0;
  virtual plant::Drive& plant() noexcept = 0;

  virtual LineFault line(io::LineId) const noexcept = 0;
  virtual void set_line(io::LineId, const LineFault&) noexcept = 0;

 protected:
  ~FaultSite() = default;
};

}  // namespace stillrotor
