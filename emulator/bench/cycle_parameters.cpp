// Rows of the parameter table: the real-time cycle of a bench, on the wall clock or rehearsed. What
// only the wall clock asks for has no use on a bench that cannot stand there.
#include <fmt/format.h>

#include "emulator/bench/highest_priority.hpp"
#include "emulator/bench/parameter_rows.hpp"
#include "emulator/bench/parameter_table.hpp"

namespace stillrotor {

using namespace rows;

std::vector<Parameter> cycle_parameters() {
  std::vector<Parameter> all{
      real("cycle.period", AT(bench.cycle.period_s), Family::time, between("20 us", "100 ms"),
           by_default("200 us"), "of the real-time cycle"),
      real("cycle.delay", AT(bench.cycle.delay_s), Family::time, between("0 s", "100 ms"),
           by_default("50 us"),
           "of the plant behind the clock: what an edge may take from the wire to the cycle"),
      real(
          "cycle.lead", AT(bench.cycle.lead_s), Family::time, between("0 s", "10 ms"),
          by_default("0 s"),
          "ahead of the plant, predicted: the rotor that Halls, encoder, sine, cosine and back-EMF "
          "show"),
      real("cycle.spin", AT(bench.cycle.spin_s), Family::time, between("0 s", "1 ms"),
           by_default("0 s"), "end of each wait that is spent awake instead of asleep", role::wall),
      whole("cycle.priority", AT(bench.cycle.priority), 1, highest_priority - 1, by_default("80"),
            "SCHED_FIFO priority of the cycle; its watchdog has one more", role::wall),
      whole("cycle.core", AT(bench.cycle.core), 0, 1023, optional,
            "the core it runs on, best an isolated one; absent: any", role::wall),
      whole("cycle.watchdog", AT(bench.cycle.watchdog_periods), 5, 1000, by_default("10"),
            "periods without a turn of the cycle until outputs are made safe", role::wall),
      real("cycle.gates.overlap_tolerance", AT(bench.cycle.gates.overlap_tolerance_s), Family::time,
           between("0 s", "10 us"), by_default("0 s"),
           "overlaps of a leg's switches up to this long are jitter of the stamps, and repaired"),
      on_off("cycle.gates.averaged", AT(bench.cycle.gates.averaged), by_default("off"),
             "the plant gets each switch's share of the PWM period in the place of its edges"),
  };
  for (std::size_t k = 0; k < io::gate_count; ++k) {
    const std::string_view name = io::name(io::LineId(static_cast<std::uint16_t>(k)));
    all.push_back(real(
        fmt::format("cycle.gates.skew.{}", name.substr(name.size() - 2)),
        [k](Draft& d) -> double& { return d.bench.cycle.gates.skew_s[k]; }, Family::time,
        between("-10 us", "10 us"), follows("controller.calibration; else 0 s"),
        "how much later than the others this gate's stamps are; taken off them", role::wall));
  }
  return all;
}

}  // namespace stillrotor
