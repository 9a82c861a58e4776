#include "tests/reference/support/edges.hpp"

#include <algorithm>

namespace stillrotor::reference {

void sort_edges(std::vector<GateEdge>& edges) {
  std::stable_sort(edges.begin(), edges.end(), [](const GateEdge& a, const GateEdge& b) {
    return a.at_ps != b.at_ps ? a.at_ps < b.at_ps : a.on < b.on;
  });
}

void turn_leg(std::vector<GateEdge>& edges, plant::Leg leg, bool high, std::int64_t at_ps,
              std::int64_t dead_ps) {
  const auto upper = static_cast<Switch>(2 * static_cast<int>(leg));
  const auto lower = static_cast<Switch>(2 * static_cast<int>(leg) + 1);
  edges.push_back({at_ps, high ? lower : upper, false});
  edges.push_back({at_ps + dead_ps, high ? upper : lower, true});
}

namespace {

/// Where r(t) meets a carrier that runs linearly from c0 at t0 to -c0 half a period later. The
/// difference is monotonic there (the reference is slow against the carrier): bisection is safe.
double crossing_s(const NaturalPwm& pwm, int leg, double t0, double half_s, double c0) {
  double low = 0.0, high = half_s;
  const auto above = [&](double tau) {
    return (pwm.reference(t0 + tau)[static_cast<std::size_t>(leg)] -
            c0 * (1.0 - 2.0 * tau / half_s)) *
               c0 >
           0.0;
  };
  for (int n = 0; n < 60; ++n) {
    const double mid = 0.5 * (low + high);
    (above(mid) ? high : low) = mid;
  }
  return t0 + 0.5 * (low + high);
}

}  // namespace

std::vector<GateEdge> natural_pwm_edges(const NaturalPwm& pwm, int periods) {
  std::vector<GateEdge> edges;
  const double period_s = 1.0 / pwm.carrier_Hz, half_s = 0.5 * period_s;
  for (int k = 0; k < 3; ++k) {
    std::vector<std::int64_t> turns;  // to high, to low, to high, ...
    const auto turn = [&](double at_s) {
      // A pulse without width (overmodulation) is no pulse.
      if (!turns.empty() && turns.back() == ps(at_s))
        turns.pop_back();
      else
        turns.push_back(ps(at_s));
    };
    for (int n = 0; n < periods; ++n) {
      turn(crossing_s(pwm, k, n * period_s, half_s, 1.0));
      turn(crossing_s(pwm, k, n * period_s + half_s, half_s, -1.0));
    }
    if (turns.empty() || turns.front() > 0)
      edges.push_back({0, static_cast<Switch>(2 * k + 1), true});
    bool high = true;
    for (std::int64_t at : turns) {
      turn_leg(edges, static_cast<plant::Leg>(k), high, at, ps(pwm.dead_time_s));
      high = !high;
    }
  }
  sort_edges(edges);
  return edges;
}

std::size_t replay(plant::Drive& drive, const std::vector<GateEdge>& edges, std::size_t first,
                   std::int64_t until_ps, plant::SegmentObserver* observer) {
  for (; first < edges.size() && edges[first].at_ps <= until_ps; ++first) {
    advance_to(drive, edges[first].at_ps, observer);
    drive.set_switch(edges[first].gate, edges[first].on);
  }
  advance_to(drive, until_ps, observer);
  return first;
}

}  // namespace stillrotor::reference
