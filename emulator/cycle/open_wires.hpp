// Wires of a bench while something runs on them: opened, and however it ends safe and given back.
#pragma once

#include <stdexcept>

#include "io/wired.hpp"

namespace stillrotor {

/// This computer, or what is wired to it, does not permit the run. what(): every reason and remedy.
class NotPermitted : public std::runtime_error {
 public:
  using std::runtime_error::runtime_error;
};

class OpenWires {
 public:
  /// Throws io::ConfigError. The controller outlives it.
  explicit OpenWires(io::WiredController& controller) : controller_(controller) {
    controller_.open();
  }
  ~OpenWires() {
    controller_.make_safe();
    controller_.close();
  }
  OpenWires(const OpenWires&) = delete;
  OpenWires& operator=(const OpenWires&) = delete;

  io::WiredController& controller() noexcept { return controller_; }

 private:
  io::WiredController& controller_;
};

/// Throws NotPermitted where the emergency stop is pressed or the power stage's bus is not dead.
void require_safe_to_arm(io::WiredController&);

}  // namespace stillrotor
