// Gate edges made by formulas of the tests' own, and their replay.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <vector>

#include "tests/reference/support/drive_setup.hpp"

namespace stillrotor::reference {

struct GateEdge {
  std::int64_t at_ps = 0;
  Switch gate = Switch::UH;
  bool on = false;
};

/// Order of replay: by time; at one instant switches turn off before others turn on.
void sort_edges(std::vector<GateEdge>&);

/// The two edges of a leg that turns to its high (true) or low switch: the old one off at once, the
/// new one on after the dead time.
void turn_leg(std::vector<GateEdge>&, plant::Leg, bool high, std::int64_t at_ps,
              std::int64_t dead_ps);

/// Three references r_k(t) in -1 .. +1, compared with a symmetrical triangle that starts at its
/// peak: high switch on while r_k > carrier. The crossings are exact (natural sampling).
struct NaturalPwm {
  std::function<std::array<double, 3>(double t_s)> reference;
  double carrier_Hz = 20e3;
  double dead_time_s = 0.0;
};
/// Edges of whole carrier periods from 0 on. Legs begin low.
std::vector<GateEdge> natural_pwm_edges(const NaturalPwm&, int periods);

/// Replays edges [first ..) up to and including until_ps; returns the index of the next one.
std::size_t replay(plant::Drive&, const std::vector<GateEdge>&, std::size_t first,
                   std::int64_t until_ps, plant::SegmentObserver* = nullptr);

}  // namespace stillrotor::reference
