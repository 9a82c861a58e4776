// A simulated part with one of the small test firmwares, alone on the bench: what it drives, asks
// and says is recorded; wires and voltages are set by the test. Times in cycles of 16 MHz.
#pragma once

#include <gtest/gtest.h>

#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "io/mcu/mcu.hpp"

namespace stillrotor::io::test {

inline constexpr std::int64_t ps_per_cycle = 62500;
inline std::int64_t cycles(Time t) { return t.count() / ps_per_cycle; }
inline Time at_cycle(std::int64_t cycle) { return Time{cycle * ps_per_cycle}; }

/// The ELF file of that firmware.
std::string firmware_file(const std::string& name);

/// Gates on PD6 UH, PD2 UL, PD5 VH, PD4 VL, PB3 WH, PB0 WL; Halls on PC0 to PC2; throttle on ADC3,
/// current of U on ADC4.
McuConfig usual_wiring(const std::string& firmware);

class Chip : public World {
 public:
  explicit Chip(const std::string& firmware) : Chip(usual_wiring(firmware)) {}
  explicit Chip(const McuConfig&);

  void power(double volts) { controller->power(volts, now, *this); }
  /// Runs to that time, whatever it drives on the way.
  void run(Time until);
  void run_cycles(std::int64_t until) { run(at_cycle(until)); }
  /// A wire changes at the present time.
  void wire(LineId, Level);

  /// Edges of a gate since power-up, the first release left out: cycle and level.
  struct Step {
    std::int64_t cycle;
    bool high;
    friend bool operator==(const Step&, const Step&) = default;
  };
  std::vector<Step> steps(LineId) const;
  std::vector<std::int64_t> rises(LineId) const;
  std::vector<std::int64_t> falls(LineId) const;
  Level last(LineId) const;

  std::unique_ptr<SimulatedController> controller;
  Time now{};
  Time look_ahead{50'000'000};
  std::vector<Edge> edges;
  struct Asked {
    Time at;
    ChannelId channel;
  };
  std::vector<Asked> asked;
  std::vector<std::pair<Time, std::string>> said;
  std::array<Level, line_count> wires{};
  std::function<double(ChannelId, Time)> voltage = [](ChannelId, Time) { return 0.0; };

  // World
  void drive(const Edge& edge) noexcept override { edges.push_back(edge); }
  double volts(ChannelId, Time) noexcept override;
  Level level(LineId id, Time) noexcept override { return wires[index(id)]; }
  /// Looks at `voltage` cycle by cycle, then closer.
  std::optional<Time> crossing(const Comparison&, bool was_true, Time from,
                               Time to) noexcept override;
  int crossings_asked = 0;
  void text(Time at, std::string_view words) noexcept override { said.emplace_back(at, words); }

 private:
  std::vector<std::int64_t> flanks(LineId, bool high) const;
};

}  // namespace stillrotor::io::test

/// Takes the path of a firmware, or skips the test.
#ifdef STILLROTOR_HAS_FIRMWARE
#define REQUIRE_FIRMWARE() static_assert(true)
#else
#define REQUIRE_FIRMWARE() GTEST_SKIP() << "avr-gcc is not installed: no firmware to execute"
#endif
