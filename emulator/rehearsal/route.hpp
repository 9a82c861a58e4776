// What a route of wires does to everything that crosses it, as far as a rehearsal imposes it.
//
// Imposed  on what comes in: stamps' jitter, or sampling; what is left of a line's skew; edges that
//          are too many. On what goes out: one write a cycle, its duration; a converter's delay,
//          steps, and that it carries one frame after the other.
// Not      the computer: wake-ups that come late, turns that take long (`stillrotor host` measures
//          those); gates that come in as averages.
#pragma once

#include <array>
#include <cstddef>
#include <string>
#include <vector>

#include "emulator/bench/bench.hpp"
#include "io/route.hpp"

namespace stillrotor {

struct RehearsedRoute {
  std::string asked;  // as the user names it
  io::LineRoute lines;
  io::VoltsRoute volts;
  /// Levels are looked at so often, and stamped then; 0: each edge has its stamp.
  double sampled_s = 0.0;
  /// So many edges may come at once, however fast; beyond them only edges_in_per_s.
  double burst_edges = 16.0;
  /// By line: a rise's stamp is so much late and a fall's so much early. The mean of both is what
  /// a bench takes off by itself (cycle.gates.skew).
  std::array<double, io::line_count> skew_left_s{};
};

/// Names of declared routes.
std::vector<std::string> rehearsal_routes();

/// A declared route, or a calibration file. Throws InputError: neither, or a file that does not
/// hold; io::ConfigError: its writes do not fit into the bench's cycle.
RehearsedRoute rehearsed_route(const std::string& asked, const Bench&);

/// "stamps jitter by 3 us rms, ...": for the record and for people, one line.
std::string described(const RehearsedRoute&);

}  // namespace stillrotor
