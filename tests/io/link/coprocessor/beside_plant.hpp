// The co-processor's fast plant and the project's plant on the same gate edges.
// A tick is 8 ns here, so that edges stand at whole ticks and at whole picoseconds alike.
#pragma once

#include <functional>
#include <vector>

#include "io/link/coprocessor/host/parameters.hpp"
#include "tests/reference/support/edges.hpp"

namespace stillrotor::io::coprocessor {

constexpr std::int64_t tick_ps = 8'000;

/// The middle machine of configs/benches/orchard-cart-mid.yaml, its bridge, link and pack.
plant::DriveParameters mid_drive();
/// The same without what a supply does: a link that no current moves.
plant::DriveParameters stiff_mid_drive();

/// A tick of the format may be several of those in which edges stand.
Format mid_format(int step_ticks = 125, int tick = 1);
Plant converted(const plant::DriveParameters&, const Format&);

/// Edges moved to whole ticks of the format.
std::vector<reference::GateEdge> on_ticks(std::vector<reference::GateEdge>, std::int64_t tick_ps);

struct Difference {
  double worst_A = 0.0, mean_A = 0.0;  // of all phases and steps
  double largest_A = 0.0;              // current seen in the plant
  double worst_bus_V = 0.0;
  std::uint32_t flags = 0;
};

struct Comparison {
  plant::DriveParameters drive;
  Format format;
  double omega_e_rad_s = 0.0;
  double theta_e_rad = 0.0;
  std::vector<reference::GateEdge> edges;
  double lasts_s = 20e-3;
  double from_s = 0.0;                               // differences count from here
  std::vector<reference::GateEdge> chip_edges = {};  // where the chip is to see others
};
Difference compare(const Comparison&);

}  // namespace stillrotor::io::coprocessor
