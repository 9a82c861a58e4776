#include "tests/reference/benches/model/agreement.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <map>
#include <sstream>
#include <string>

#include "tests/reference/benches/model/bench_reference.hpp"
#include "tests/reference/cvode/model/fuzz.hpp"

namespace stillrotor::reference {
namespace {

using plant::SensorChannel;

/// By what is compared: the largest share of what is allowed, and where.
class Gaps {
 public:
  void note(const std::string& what, double difference, double allowed, std::int64_t at_ps) {
    const double share = difference / allowed;
    const auto [at, first] = worst_.try_emplace(what);
    if (!first && share <= at->second.share) return;  // not: also when not a number
    at->second = {share, difference, allowed, at_ps};
  }
  void wrong(const std::string& what, std::int64_t at_ps) { note(what, 1e9, 1.0, at_ps); }
  struct Gap {
    double share = 0.0, difference = 0.0, allowed = 1.0;
    std::int64_t at_ps = 0;
  };
  const std::map<std::string, Gap>& worst() const { return worst_; }

 private:
  std::map<std::string, Gap> worst_;
};

const char* const line_name[] = {"hall U",    "hall V",    "hall W",         "encoder A",
                                 "encoder B", "encoder Z", "absolute angle", "driver's fault"};
constexpr int lines = plant::sensor_line_count;

std::vector<LineEdge> of_line(const Shown& shown, int line) {
  std::vector<LineEdge> out;
  for (const LineEdge& e : shown.edges)
    if (static_cast<int>(e.line) == line) out.push_back(e);
  return out;
}

/// The plant's edge stands on the first picosecond at or after the moment.
double later_s(const LineEdge& plant, const LineEdge& reference) {
  return 1e-12 * static_cast<double>(plant.at_ps - reference.at_ps) - reference.after_s;
}

/// What an angle that is off by so much makes of a moment: less where the rotor turns back.
double apart_rad(double t, const LineEdge& reference) {
  return std::abs(t * (reference.omega_e + 0.5 * t * reference.alpha_e));
}

void compare_edges(const Shown& plant, const Shown& reference, double angle_rad, Gaps& gaps) {
  for (int line = 0; line < lines; ++line) {
    const auto is = of_line(plant, line), wanted = of_line(reference, line);
    const std::string name = line_name[line];
    const std::size_t both = std::min(is.size(), wanted.size());
    for (std::size_t k = 0; k < both; ++k) {
      const double late_s = later_s(is[k], wanted[k]);
      if (is[k].high != wanted[k].high) gaps.wrong(name + ": level", is[k].at_ps);
      const double a_ps = 1e-12;
      const double rad = apart_rad(late_s, wanted[k]);
      if (line == static_cast<int>(plant::SensorLine::absolute_angle))
        gaps.note(name + ": moment", std::abs(late_s), 1.1e-12, is[k].at_ps);
      else if (line == static_cast<int>(plant::SensorLine::driver_fault))
        gaps.note(name + ": moment", std::abs(late_s), 1e-9, is[k].at_ps);
      else
        gaps.note(name + ": angle", rad,
                  angle_rad + 1.001 * a_ps * (std::abs(wanted[k].omega_e) + a_ps), is[k].at_ps);
    }
    if (is.size() != wanted.size())
      gaps.wrong(name + ": edges",
                 (is.size() > both ? is[both] : wanted[std::min(both, wanted.size() - 1)]).at_ps);
  }
  for (std::size_t k = 1; k < plant.edges.size(); ++k)
    if (plant.edges[k].at_ps < plant.edges[k - 1].at_ps) gaps.wrong("order", plant.edges[k].at_ps);
}

/// Of levels that are seen at a moment: but where an edge of that line lies so near that its own
/// tolerance decides.
void compare_levels(const Shown& plant, const Shown& reference, const std::vector<Moment>& all,
                    double angle_rad, Gaps& gaps) {
  for (std::size_t n = 0; n < all.size(); ++n) {
    if (plant.levels[n] == unseen) continue;
    const unsigned differ = (plant.levels[n] ^ reference.levels[n]) & ((1U << lines) - 1U);
    for (int line = 0; line < lines; ++line) {
      if ((differ >> line & 1U) == 0) continue;
      const auto near = [&](const LineEdge& e) {
        const LineEdge here{.at_ps = all[n].at_ps};
        return static_cast<int>(e.line) == line &&
               apart_rad(later_s(here, e), e) <= angle_rad + 2e-12 * std::abs(e.omega_e);
      };
      if (std::none_of(reference.edges.begin(), reference.edges.end(), near))
        gaps.wrong(std::string(line_name[line]) + ": level at a look", all[n].at_ps);
    }
  }
}

/// What a share of the largest current at a sensor makes of its output; compression makes steep.
double allowed_V(const plant::CurrentSensorParameters& c, std::size_t k, double most_A,
                 double share) {
  const double largest = std::max(most_A, 20.0), over = largest / c.full_scale_A;
  return share * c.gain_V_per_A[k] * largest * (1.0 + 3.0 * c.compression * over * over);
}

/// Output capacitances and shorts between terminals swing and settle in less than a microsecond.
bool is_quick(const Experiment& e) {
  return e.parameters.bridge.output_capacitance_F > 0.0 ||
         std::any_of(e.changes.begin(), e.changes.end(),
                     [](const Change& c) { return c.kind == Change::Kind::short_phases; });
}

void compare_readings(const Bench& bench, const Shown& plant, const Shown& reference,
                      const BenchSteps& steps, double angle_rad, Gaps& gaps) {
  const auto& p = bench.drive.parameters;
  const double seen_share = (is_quick(bench.drive) ? 10.0 : 1.0) * steps.share;
  double peak_A = 20.0, warmest_K = 1.0;
  for (const Reading& r : reference.readings) {
    for (const double i : r.line_A) peak_A = std::max(peak_A, std::abs(i));
    for (const double t : r.temperature_C) warmest_K = std::max(warmest_K, std::abs(t - 25.0));
  }
  const auto at = [](const Reading& r, SensorChannel c, std::size_t k = 0) {
    return r.volts[static_cast<std::size_t>(c) + k];
  };
  for (std::size_t n = 0; n < plant.readings.size(); ++n) {
    const Reading &is = plant.readings[n], &wanted = reference.readings[n];
    const auto compare = [&](const char* what, SensorChannel c, std::size_t k, double allowed) {
      gaps.note(what, std::abs(at(is, c, k) - at(wanted, c, k)), allowed, is.at_ps);
    };
    for (std::size_t k = 0; k < 3; ++k) {
      gaps.note("current itself", std::abs(is.line_A[k] - wanted.line_A[k]), steps.share * peak_A,
                is.at_ps);
      compare("phase current", SensorChannel::phase_current_U, k,
              allowed_V(p.phase_current, k, reference.most_phase_A[k], seen_share));
      compare("phase voltage", SensorChannel::phase_voltage_U, k,
              seen_share * p.phase_voltage.ratio * p.supply.voltage_V);
    }
    compare("dc link current", SensorChannel::dc_link_current, 0,
            allowed_V(p.dc_link_current, 0, reference.most_dc_link_A, seen_share));
    compare("bus voltage", SensorChannel::bus_voltage, 0,
            seen_share * p.bus_voltage.ratio * p.supply.voltage_V);
    compare("star point", SensorChannel::star_point, 0,
            seen_share * p.phase_voltage.ratio * p.supply.voltage_V);
    const double turn_V = 4.0 * p.sin_cos.amplitude_V * p.sin_cos.periods_per_turn *
                              (angle_rad / p.pole_pairs() + 1e-14) +
                          1e-12;
    compare("sine", SensorChannel::angle_sin, 0, turn_V);
    compare("cosine", SensorChannel::angle_cos, 0, turn_V);
    // A link that empties through a leg in a few steps burns a square that no straight line has.
    const double warm_K = 10.0 * steps.share * warmest_K;
    for (std::size_t k = 0; k < is.temperature_C.size(); ++k)
      gaps.note("temperature", std::abs(is.temperature_C[k] - wanted.temperature_C[k]), warm_K,
                is.at_ps);
    if (p.thermal.fitted)
      gaps.note("housing", std::abs(is.housing_C - wanted.housing_C), warm_K, is.at_ps);
    for (std::size_t k = 0; k < 2; ++k)
      compare("temperature sensor", SensorChannel::temperature_motor, k,
              0.1 * p.temperature[k].supply_V * warm_K);
  }
}

/// Everything that two callers, or a caller and the reference, are shown.
Gaps compared(const Bench& bench, const std::vector<Moment>& all, const Shown& plant,
              const Shown& reference, const BenchSteps& steps) {
  const double angle_rad = bench.drive.speed_held ? 1e-11 : steps.free_angle_rad;
  Gaps gaps;
  compare_edges(plant, reference, angle_rad, gaps);
  compare_levels(plant, reference, all, angle_rad, gaps);
  compare_readings(bench, plant, reference, steps, angle_rad, gaps);
  if (plant.breaches != 0) gaps.wrong("promised quiet", plant.breaches);
  if (plant.accidents != 0) gaps.wrong("accidents", plant.accidents);
  return gaps;
}

/// The largest of many benches, and which bench had it.
class Worst {
 public:
  /// What is not as it should be, in words.
  std::string take(const Gaps& gaps, int bench) {
    std::ostringstream said;
    for (const auto& [what, gap] : gaps.worst()) {
      if (!(gap.share <= 1.0))
        said << "\n  " << what << ": " << gap.difference << ", " << gap.share
             << " of what is allowed, at " << 1e-6 * static_cast<double>(gap.at_ps) << " us";
      const auto before = all_.worst().find(what);
      if (before == all_.worst().end() || !(gap.share <= before->second.share))
        bench_[what] = bench;
      all_.note(what, gap.difference, gap.allowed, gap.at_ps);
    }
    return said.str();
  }
  void print() const {
    for (const auto& [what, gap] : all_.worst())
      std::printf("  %-24s %.1e, %.1e of what is allowed (%d)\n", what.c_str(), gap.difference,
                  gap.share, bench_.at(what));
  }

 private:
  Gaps all_;
  std::map<std::string, int> bench_;
};

constexpr const char* manner_name[] = {"plain", "restless", "playing"};

}  // namespace

void expect_benches_agree(int first, int last, const BenchSteps& steps) {
  Worst worst;
  long undecided = 0, edges = 0;
  for (int n = first; n < last; ++n) {
    const std::uint64_t seed = seed_of_zero + static_cast<std::uint64_t>(n);
    const Bench bench = drawn_bench(seed, steps.step_max_s);
    const std::vector<Moment> all = moments(bench);
    Shown reference;
    try {
      reference = ask_reference(bench, all);
    } catch (const std::exception& problem) {
      ADD_FAILURE() << "case " << n << ": reference: " << problem.what();
      continue;
    }
    edges += static_cast<long>(reference.edges.size());
    if (reference.undecided > 0) {
      ++undecided;
      continue;
    }
    for (const Manner manner : {Manner::plain, Manner::restless, Manner::playing}) {
      const Shown plant = ask_plant(bench, all, manner, seed);
      const std::string said = worst.take(compared(bench, all, plant, reference, steps), n);
      EXPECT_TRUE(said.empty()) << "case " << n << ", " << manner_name[static_cast<int>(manner)]
                                << said << "\n  " << told(bench);
    }
  }
  std::printf("benches %d to %d: %ld edges, %ld undecided\n", first, last - 1, edges, undecided);
  worst.print();
  EXPECT_LE(undecided, 1 + (last - first) / 10);
}

void expect_manners_agree(int first, int last, const BenchSteps& steps) {
  Worst worst;
  for (int n = first; n < last; ++n) {
    const std::uint64_t seed = seed_of_zero + static_cast<std::uint64_t>(n);
    const Bench bench = drawn_beyond_reference(seed, steps.step_max_s);
    const std::vector<Moment> all = moments(bench);
    const Shown plain = ask_plant(bench, all, Manner::plain, seed);
    for (const Manner manner : {Manner::restless, Manner::playing}) {
      const Shown other = ask_plant(bench, all, manner, seed);
      const std::string said = worst.take(compared(bench, all, other, plain, steps), n);
      EXPECT_TRUE(said.empty()) << "case " << n << ", " << manner_name[static_cast<int>(manner)]
                                << said << "\n  " << told(bench);
    }
  }
  worst.print();
}

}  // namespace stillrotor::reference
