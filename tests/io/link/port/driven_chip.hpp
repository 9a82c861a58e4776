// A simulated chip with a field-oriented controller at its lines, and Linux' end of the link beside
// it, in virtual time. The rotor turns as the test says: what the link's other user computes.
#pragma once

#include <cstdint>
#include <memory>
#include <span>
#include <vector>

#include "io/link/port/simulated_chip.hpp"
#include "io/link/session.hpp"
#include "io/standin/standin.hpp"

namespace stillrotor::io {

struct DrivenChip : LinkSession::Wire {
  static constexpr std::int64_t ms = 1'000'000, begin_ns = 500'000'000'000;
  static constexpr double omega_m_rad_s = 50.0;
  static LinkSettings link_settings();
  static ChipSettings chip_settings();
  static FieldOrientedConfig controller_settings();

  explicit DrivenChip(const ChipSettings& = chip_settings());
  bool send(std::span<const std::uint8_t> frame) override;

  std::int64_t now_ns() const { return begin_ns + chip.now().count() / 1000; }
  /// In turns of a millisecond of the bench.
  void run(std::int64_t lasts_ns);
  void throttle(double volts);
  /// Linked, live, the controller with supply and at rest.
  void go_live();

  std::unique_ptr<SimulatedController> controller = make_field_oriented(controller_settings());
  SimulatedChip chip;
  std::unique_ptr<CapturedEdges> captured = std::make_unique<CapturedEdges>(GateWires::six, 0.0);
  LinkSession session{link_settings(), *captured};
  std::unique_ptr<EdgeBatch> batch = std::make_unique<EdgeBatch>();
  ToldOutputs told;
  bool bench_runs = true;  // false: nothing is sent ahead
  std::vector<Edge> edges;
  std::vector<Gap> gaps;
  std::vector<LinkReport> reports;
};

}  // namespace stillrotor::io
