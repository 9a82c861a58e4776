// Gate edges of a centre-aligned PWM with dead time, exact or jittered, for tests.
#pragma once

#include <algorithm>
#include <functional>
#include <random>
#include <vector>

#include "io/connector.hpp"

namespace stillrotor::test {

using Duty = std::function<double(std::size_t leg, double at_s)>;

struct Pwm {
  double period_s = 50e-6, dead_time_s = 1e-6;
  double jitter_s = 0.0;  // rms of each edge
  unsigned seed = 1;
};

inline io::Time at(double s) { return io::Time{std::llround(s * 1e12)}; }
inline io::LineId gate(std::size_t k) { return io::LineId(static_cast<std::uint16_t>(k)); }

inline void by_time(std::vector<io::Edge>& edges) {
  std::stable_sort(edges.begin(), edges.end(),
                   [](const io::Edge& a, const io::Edge& b) { return a.at < b.at; });
}

/// The high switch's pulse, asked for centred in its period, begins a dead time late; so does the
/// low switch's. Begins with the low switches on from time 0.
inline std::vector<io::Edge> edges_of(const Pwm& pwm, std::size_t periods, const Duty& duty) {
  std::mt19937_64 random(pwm.seed);
  std::normal_distribution<double> deviation(0.0, 1.0);
  std::vector<io::Edge> edges;
  for (std::size_t leg = 0; leg < 3; ++leg)
    edges.push_back({io::Time{0}, gate(2 * leg + 1), io::Level::high});
  const auto add = [&](double s, std::size_t line, io::Level level) {
    edges.push_back({at(s + pwm.jitter_s * deviation(random)), gate(line), level});
  };
  for (std::size_t k = 0; k < periods; ++k)
    for (std::size_t leg = 0; leg < 3; ++leg) {
      const double middle_s = (static_cast<double>(k) + 0.5) * pwm.period_s;
      const double half_s = 0.5 * duty(leg, middle_s) * pwm.period_s;
      add(middle_s - half_s, 2 * leg + 1, io::Level::low);
      add(middle_s - half_s + pwm.dead_time_s, 2 * leg, io::Level::high);
      add(middle_s + half_s, 2 * leg, io::Level::low);
      add(middle_s + half_s + pwm.dead_time_s, 2 * leg + 1, io::Level::high);
    }
  by_time(edges);
  return edges;
}

}  // namespace stillrotor::test
