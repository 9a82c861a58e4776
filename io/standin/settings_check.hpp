// Ranges of settings, with an error that tells how to mend them. Set-up only.
#pragma once

#include <string_view>

#include "io/standin/config.hpp"

namespace stillrotor::io::standin {

struct Allowed {
  double low, high;
  std::string_view unit;  // "" for a pure number
};

/// name: below "controller.", as users write it. Throws ConfigError unless low <= value <= high.
void require_within(std::string_view name, double value, const Allowed&, std::string_view remedy);

void check(const StandinScaling&);
void check(const SixStepConfig&);
void check(const FieldOrientedConfig&);
void check(const VoltsPerHertzConfig&);

}  // namespace stillrotor::io::standin
