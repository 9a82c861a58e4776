// Random drives: machine, bridge, supply, shaft, speed, gate edges and what breaks, from one seed.
#pragma once

#include <cstdint>
#include <functional>
#include <string>

#include "tests/reference/cvode/model/side_by_side.hpp"

namespace stillrotor::reference {

/// Of the random drive that is called case 0; the cases' seeds follow one another.
inline constexpr std::uint64_t seed_of_zero = 0x5711'0000;

/// The same seed gives the same experiment on every machine. `story` names what was drawn.
Experiment fuzzed_experiment(std::uint64_t seed, std::string& story);

/// How long the plant's steps may be, and how far apart the two may be for that: the currents over
/// the peak in a run (20 A at least), the link over the supply's voltage.
struct FuzzedSteps {
  double step_max_s, current_share, link_share;
  double most_rated_A;  // no peak counts for more, but behind a short of the windings
};
/// As fine as drives are checked elsewhere. The plant keeps its steps below a quarter of the link's
/// time constant; recharging from an overlap then costs (1/4)^4 / 120 / e = 1.2e-5 of the voltage.
inline constexpr FuzzedSteps fine_steps{0.5e-6, 1e-6, 1.2e-5, 200.0};
/// The longest that a bench may ask for: what the plant itself takes for short enough. A transient
/// costs up to 8e-6 in each such step. A leg that conducts for microseconds between two ends of a
/// step may be passed by.
inline constexpr FuzzedSteps longest_steps{50e-6, 5e-5, 2.4e-4, 1e9};

/// Runs cases [first, last) and reports every case that disagrees, with its number and seed.
void expect_fuzzed_agreement(int first, int last, const FuzzedSteps& = fine_steps);

/// Control: the first cases that have what a mistake is made in, the reference's side with it. By
/// how many it is seen, ten times beyond what they are allowed. mistake: false if the case has not
/// got it.
struct Seen {
  int tried = 0, by = 0;
};
Seen fuzzed_cases_that_see(const std::function<bool(Experiment&)>& mistake, int cases);

}  // namespace stillrotor::reference
