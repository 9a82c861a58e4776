#include "emulator/rehearsal/route.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <stdexcept>

#include "emulator/bench/input_error.hpp"
#include "emulator/budget/routes.hpp"

namespace stillrotor {
namespace {

/// A timer of its own looks at the lines: its clock is no multiple of the controller's. An error of
/// this size between two quartz oscillators is common practice.
constexpr double sample_clock_error = 37e-6;

struct Named {
  const char* name;
  const char* backend;    // whose declared limits hold
  const char* interface;  // ends the route's name
  bool finds_loss;
  double burst_edges;
  double sampled_s;
};
// burst_edges: what the kernel keeps for a line (interface 1) or for all lines together
// (interface 2) until it is read, from the kernel's documentation; polled: all lines at once.
constexpr std::array routes{
    Named{"gpio-v1", "gpiod", ", interface 1: edges are lost unsaid", false, 16.0, 0.0},
    Named{"gpio-v2", "gpiod", ", interface 2", true, 1024.0, 0.0},
    Named{"polled", "polled", "", true, double{io::line_count}, 0.0},
    Named{"sampled-1us", "polled", ", by a timer every 1 us", false, double{io::line_count},
          1e-6 * (1.0 + sample_clock_error)},
    Named{"sampled-5us", "polled", ", by a timer every 5 us", false, double{io::line_count},
          5e-6 * (1.0 + sample_clock_error)},
};

const Named& of_backend(std::string_view backend) {
  return backend == "polled" ? routes[2] : routes[1];
}

RehearsedRoute declared(const Named& named, const Bench& bench) {
  const std::optional<Routes> limits = declared_routes(named.backend, bench);
  RehearsedRoute route;
  route.asked = named.name;
  route.lines = limits->lines;
  route.volts = *limits->volts;
  route.lines.name += named.interface;
  route.lines.finds_loss = named.finds_loss;
  route.burst_edges = named.burst_edges;
  route.sampled_s = named.sampled_s;
  if (named.sampled_s > 0.0) route.lines.stamp_jitter_s = 0.0;  // the sampling is the error
  return route;
}

RehearsedRoute calibrated(const std::string& file, const Bench& bench) {
  const LineCalibration found = read_calibration(file, file);
  const std::optional<Routes> limits = declared_routes(found.backend, bench);
  if (!limits)
    throw InputError(
        fmt::format("{}: backend is {}; allowed gpiod, polled. Calibrate again: "
                    "stillrotor check BENCH --calibrate FILE.",
                    file, found.backend));
  RehearsedRoute route = declared(of_backend(found.backend), bench);
  route.asked = file;
  route.lines = measured_lines(limits->lines, found);
  for (const LineCalibration::Skew& skew : found.skew)
    route.skew_left_s[io::index(skew.input)] = 0.5 * (skew.rise_s - skew.fall_s);
  return route;
}

std::string us(double s) { return fmt::format("{:.4g} us", 1e6 * s); }

}  // namespace

std::vector<std::string> rehearsal_routes() {
  std::vector<std::string> names;
  for (const Named& named : routes) names.emplace_back(named.name);
  return names;
}

RehearsedRoute rehearsed_route(const std::string& asked, const Bench& bench) {
  const auto named = std::find_if(routes.begin(), routes.end(),
                                  [&](const Named& row) { return asked == row.name; });
  std::error_code error;
  if (named == routes.end() && !std::filesystem::is_regular_file(asked, error))
    throw InputError(
        fmt::format("--rehearse is {}; allowed {}, or the file of a calibration. "
                    "Measure one: stillrotor check BENCH --calibrate FILE.",
                    asked, fmt::join(rehearsal_routes(), ", ")));
  RehearsedRoute route = named != routes.end() ? declared(*named, bench) : calibrated(asked, bench);
  if (route.lines.write_s >= bench.cycle.period_s)
    throw io::ConfigError("cycle.period",
                          fmt::format("period is {}; allowed more than {}, which one write of all "
                                      "lines takes on this route. Give the cycle more.",
                                      us(bench.cycle.period_s), us(route.lines.write_s)));
  return route;
}

std::string described(const RehearsedRoute& route) {
  const std::string in =
      route.sampled_s > 0.0
          ? fmt::format("looked at every {}", us(route.sampled_s))
          : fmt::format("stamps jitter by {} rms", us(route.lines.stamp_jitter_s));
  return fmt::format("{}, {:g} edges/s, {} a write; volts after {}, steps of {:.3g} mV", in,
                     route.lines.edges_in_per_s, us(route.lines.write_s), us(route.volts.delay_s),
                     1e3 * route.volts.resolution_V);
}

}  // namespace stillrotor
