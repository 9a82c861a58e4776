// A simulated controller whose processor a debugger can stop.
#pragma once

namespace stillrotor::io::mcu {

class Debugger;

class Debuggable {
 public:
  /// Before the first power(); the debugger outlives this.
  virtual void debug_with(Debugger&) noexcept = 0;

 protected:
  ~Debuggable() = default;
};

}  // namespace stillrotor::io::mcu
