#include "emulator/cli/cycle_summary.hpp"

#include <fmt/format.h>

#include <vector>

#include "emulator/cli/table.hpp"

namespace stillrotor {
namespace {

double us(std::int64_t ns) { return static_cast<double>(ns) * 1e-3; }

std::vector<std::string> row(std::string what, const LatencyHistogram& of) {
  std::vector<std::string> cells{std::move(what)};
  for (const double share : {0.5, 0.99, 0.999, 0.9999})
    cells.push_back(fmt::format("{:.1f}", us(of.quantile_ns(share))));
  cells.push_back(fmt::format("{:.1f}", us(of.max_ns())));
  return cells;
}

}  // namespace

std::string lateness_line(const LatencyHistogram& wake) {
  return fmt::format("woke {:.0f} us late, 99 % {:.0f}, 99.9 % {:.0f}, 99.99 % {:.0f}, most {:.0f}",
                     us(wake.quantile_ns(0.5)), us(wake.quantile_ns(0.99)),
                     us(wake.quantile_ns(0.999)), us(wake.quantile_ns(0.9999)), us(wake.max_ns()));
}

std::string cycle_line(const CycleReport& cycle) {
  return fmt::format("Cycle of {:g} us{}: {} turns, {} periods missed, {} late writes.",
                     1e6 * cycle.settings.period_s,
                     cycle.missing_rights.empty() ? "" : ", not in real time", cycle.counts.turns,
                     cycle.counts.missed_periods, cycle.counts.late_writes);
}

std::string far_plant_line(const CycleReport& cycle) {
  if (!cycle.far_plant) return {};
  const auto& [link, mirror] = *cycle.far_plant;
  return fmt::format(
      "Co-processor: {} frames, {} missed; {} edges, {} lost; outputs fell safe {} times, {} "
      "resets. "
      "Currents put right by {:.2g} A rms, {:.2g} A at worst; {} of {} reports not believed.\n",
      link.frames, link.missed_frames, link.edges, link.lost_edges, link.falls, link.resets,
      mirror.rms_A, mirror.worst_A, mirror.distrusted, mirror.corrections);
}

std::string cycle_table(const CycleReport& cycle) {
  const CycleCounts& counts = cycle.counts;
  return fmt::format("{}\n{}{}", cycle_line(cycle), far_plant_line(cycle),
                     table({{"us", "half", "99 %", "99.9 %", "99.99 %", "most"},
                            row("woke late by", counts.wake),
                            row("read", counts.read),
                            row("plant", counts.plant),
                            row("write", counts.write),
                            row("whole turn", counts.turn)}));
}

}  // namespace stillrotor
