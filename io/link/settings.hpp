// What a chip is to run with, and when its link counts as broken.
#pragma once

#include <cstdint>

#include "io/link/coprocessor/host/parameters.hpp"

namespace stillrotor::io {

struct LinkSettings {
  coprocessor::Plant plant;
  cp_parameters parameters{};           // what the chip is to run with
  std::int64_t silent_ns = 20'000'000;  // no frame for so long: the link counts as broken
  bool asks_only = false;               // no parameters: it is only heard what the chip is
};

}  // namespace stillrotor::io
