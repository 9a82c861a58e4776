#include "emulator/cli/known_measures.hpp"

#include "emulator/judge/judge.hpp"

namespace stillrotor {

std::vector<KnownMeasure> known_measures() {
  std::vector<KnownMeasure> all;
  for (const MeasureInfo& info : measure_table())
    all.push_back({info.name, info.unit, info.per_phase, info.asks});
  return all;
}

}  // namespace stillrotor
