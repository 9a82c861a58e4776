// Is this computer fit for a real-time bench? What its kernel and hardware are set to, and how late
// the bench's own cycle came round.
// Sources: kernel documentation (kernel-parameters, cpuidle, cpufreq, scheduler/sched-rt-group);
// what is wanted is common practice of the PREEMPT_RT community.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "emulator/bench/cycle_settings.hpp"
#include "emulator/cycle/wall_run.hpp"

namespace stillrotor {

enum class Fitness : unsigned char {
  good,
  advice,  // could be better; the measurement decides
  unfit
};

struct Finding {
  std::string what, measured, wanted;
  Fitness fitness = Fitness::good;
  std::string remedy;  // the command; empty where good
};

/// From the trees below root ("/"): proc, sys, dev. What is not there to be read is left out.
std::vector<Finding> look_at_host(const std::filesystem::path& root, const CycleSettings&);

/// From a run of the cycle on this computer.
std::vector<Finding> look_at_cycle(const CycleReport&);

bool fit(const std::vector<Finding>&) noexcept;

}  // namespace stillrotor
