// What is around a chip, by functions of a test.
#pragma once

#include <functional>

#include "io/mcu/cortexm/chip.hpp"

namespace stillrotor::io::cortexm {

struct OutsideFunctions {
  std::function<void(Time, std::string_view)> text = [](Time, std::string_view) {};
  std::function<void(PinId, Level, Time)> driven = [](PinId, Level, Time) {};
  std::function<double(PinId, Time)> share = [](PinId, Time) { return 0.0; };
  std::function<void(Time)> catch_up = [](Time) {};
};

class Outside final : public ChipOutside {
 public:
  explicit Outside(OutsideFunctions functions = {}) : functions_(std::move(functions)) {}
  void text(Time at, std::string_view text) override { functions_.text(at, text); }
  void driven(PinId pin, Level level, Time at) noexcept override {
    functions_.driven(pin, level, at);
  }
  double share(PinId pin, Time at) noexcept override { return functions_.share(pin, at); }

  void catch_up(Time at) noexcept override { functions_.catch_up(at); }

 private:
  OutsideFunctions functions_;
};

}  // namespace stillrotor::io::cortexm
