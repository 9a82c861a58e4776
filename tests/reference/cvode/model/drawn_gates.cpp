#include "tests/reference/cvode/model/drawn_gates.hpp"

#include <algorithm>
#include <cmath>

namespace stillrotor::reference {
namespace {

void pulse_width(Experiment& e, Draw& draw) {
  const double period = 1.0 / draw.linear(8e3, 40e3), dead = draw.linear(0.2e-6, 2e-6);
  for (int k = 0; k < 3; ++k) e.edges.push_back({0, static_cast<Switch>(2 * k + 1), true});
  for (double t = 0.0; t + period < drawn_s; t += period)
    for (int k = 0; k < 3; ++k) {
      const double d = draw.linear(0.1, 0.85);
      const auto leg = static_cast<plant::Leg>(k);
      turn_leg(e.edges, leg, true, ps(t + 0.5 * (1.0 - d) * period), ps(dead));
      turn_leg(e.edges, leg, false, ps(t + 0.5 * (1.0 + d) * period), ps(dead));
    }
}

void six_step(Experiment& e, Draw& draw) {
  const double period = 1.0 / draw.linear(8e3, 25e3), sector_s = draw.logarithmic(2e-4, 3e-3);
  constexpr int high_leg[6] = {0, 1, 1, 2, 2, 0}, low_leg[6] = {2, 2, 0, 0, 1, 1};
  const int begin = draw.whole(0, 5), turn = draw.chance(0.5) ? 1 : 5;
  for (int n = 0; (n + 1) * period < drawn_s; ++n) {
    const int m = (begin + turn * static_cast<int>(n * period / sector_s)) % 6;
    const auto high = static_cast<Switch>(2 * high_leg[m]);
    const auto low = static_cast<Switch>(2 * low_leg[m] + 1);
    const double t = n * period, d = draw.linear(0.1, 0.9);
    e.edges.push_back({ps(t), low, true});
    e.edges.push_back({ps(t), high, true});
    e.edges.push_back({ps(t + d * period), high, false});
    e.edges.push_back({ps(t + 0.99 * period), low, false});
  }
}

void random_switches(Experiment& e, Draw& draw) {
  const double mean_s = draw.logarithmic(3e-6, 200e-6);
  const bool overlaps = draw.chance(0.2);
  bool on[plant::switch_count] = {};
  for (double t = 0.0; t < drawn_s; t -= mean_s * std::log(1.0 - draw.unit())) {
    const int k = draw.whole(0, plant::switch_count - 1);
    const int other = k ^ 1;
    const std::int64_t at = ps(t);
    if (!on[k] && on[other] && !overlaps) {
      e.edges.push_back({at, static_cast<Switch>(other), false});
      on[other] = false;
    }
    on[k] = !on[k];
    e.edges.push_back({at, static_cast<Switch>(k), on[k]});
    if (on[k] && on[other]) {  // a short overlap
      const std::int64_t end = at + ps(draw.linear(0.1e-6, 2e-6));
      e.edges.push_back({end, static_cast<Switch>(other), false});
      on[other] = false;
      t = std::max(t, 1e-12 * static_cast<double>(end));
    }
  }
}

}  // namespace

void draw_gates(Experiment& e, Draw& draw, Pattern pattern) {
  if (pattern == Pattern::pulse_width) pulse_width(e, draw);
  if (pattern == Pattern::six_step) six_step(e, draw);
  if (pattern == Pattern::random_switches) random_switches(e, draw);
  sort_edges(e.edges);
}

}  // namespace stillrotor::reference
