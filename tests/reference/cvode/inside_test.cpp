// What an onlooker sees inside steps, which is what a record shows at its grid points, beside what
// the same random drive shows when it is stopped there: in the longest steps, where interpolation
// has to bear most.
// Tolerance: 1e-3 of the largest value of the run, fourth order in steps of an eighth of the
// quickest time constant and less.
#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <string>
#include <vector>

#include "tests/reference/cvode/model/fuzz.hpp"

namespace stillrotor::reference {
namespace {

/// Of a snapshot, what follows from states that are interpolated each in its own way.
constexpr std::array names{"U",      "V",     "winding U", "winding V", "bus",
                           "torque", "field", "speed",     "load speed"};
using Seen = std::array<double, names.size()>;
Seen seen(const plant::Snapshot& s) {
  return {s.current_A.U, s.current_A.V, s.winding_A.U,   s.winding_A.V,  s.bus_V,
          s.torque_Nm,   s.machine_J,   s.omega_m_rad_s, s.omega_2_rad_s};
}

class Onlooker : public plant::SegmentObserver {
 public:
  Onlooker(const plant::Drive& drive, const std::vector<std::int64_t>& at_ps)
      : at(at_ps.size()), inside(at_ps.size()), drive_(drive), at_ps_(at_ps) {}
  void on_segment(const plant::Segment& step) noexcept override {
    for (; next_ < at.size(); ++next_) {
      const double t =
          1e-12 * static_cast<double>(at_ps_[next_] - step.begin->time_ps) - step.begin->offset_s;
      if (t > step.length_s) return;
      inside[next_] = t > 1e-3 * step.length_s && t < 0.999 * step.length_s;
      if (inside[next_]) at[next_] = seen(drive_.inside(step, t));
    }
  }
  std::vector<Seen> at;
  std::vector<bool> inside;

 private:
  const plant::Drive& drive_;
  const std::vector<std::int64_t>& at_ps_;
  std::size_t next_ = 0;
};

/// Edges and changes in their order; stopped(n) at each sample, if it stops there.
template <class Stopped>
void run(const Experiment& e, plant::Drive& drive, plant::SegmentObserver* onlooker, bool stops,
         const Stopped& stopped) {
  auto edge = e.edges.begin();
  auto change = e.changes.begin();
  std::size_t sample = 0;
  for (;;) {
    const std::int64_t edge_ps = edge != e.edges.end() ? edge->at_ps : INT64_MAX,
                       change_ps = change != e.changes.end() ? change->at_ps : INT64_MAX,
                       sample_ps =
                           stops && sample < e.sample_ps.size() ? e.sample_ps[sample] : INT64_MAX;
    const std::int64_t to_ps =
        std::min({edge_ps, change_ps, sample_ps, e.sample_ps.back() + 1'000'000});
    while (drive.advance(to_ps, onlooker).edge) {
    }
    if (to_ps == change_ps)
      make(*change++, drive);
    else if (to_ps == edge_ps)
      drive.set_switch(edge->gate, edge->on), ++edge;
    else if (to_ps == sample_ps)
      stopped(sample++);
    else
      return;
  }
}

TEST(CvodeDrives, AreSeenInsideStepsAsTheyStandThere) {
  for (int n = 0; n < 200; ++n) {
    std::string story;
    Experiment e = fuzzed_experiment(seed_of_zero + static_cast<std::uint64_t>(n), story);
    e.parameters.step_max_s = 50e-6;
    plant::Drive passed = start_plant(e), stops = start_plant(e);
    Onlooker onlooker(passed, e.sample_ps);
    run(e, passed, &onlooker, false, [](std::size_t) {});
    Seen worst{}, most{};
    run(e, stops, nullptr, true, [&](std::size_t k) {
      if (!onlooker.inside[k]) return;
      const Seen there = seen(stops.snapshot());
      for (std::size_t q = 0; q < there.size(); ++q) {
        worst[q] = std::fmax(worst[q], std::abs(onlooker.at[k][q] - there[q]));
        most[q] = std::fmax(most[q], std::abs(there[q]));
      }
    });
    for (std::size_t q = 0; q < 4; ++q) most[q] = *std::max_element(most.begin(), most.begin() + 4);
    for (std::size_t q = 0; q < names.size(); ++q)
      EXPECT_LE(worst[q], 1e-3 * most[q] + 1e-12) << names[q] << ", case " << n << "\n  " << story;
  }
}

}  // namespace
}  // namespace stillrotor::reference
