#include "emulator/bench/origin.hpp"

#include <fmt/format.h>

#include <algorithm>

namespace stillrotor {

std::string origin_of(const Bench& bench, std::string_view path) {
  const auto found = std::find_if(bench.values.begin(), bench.values.end(),
                                  [path](const ParameterValue& v) { return v.path == path; });
  if (found == bench.values.end() || found->origin == "default") return bench.file.string();
  if (found->origin.starts_with("follows"))
    return fmt::format("{} ({})", bench.file.string(), found->origin);
  return found->origin;
}

}  // namespace stillrotor
