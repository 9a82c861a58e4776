#include "emulator/budget/routes.hpp"

#include <fmt/format.h>

#include "io/analog/limits.hpp"

namespace stillrotor {
namespace {

// Common practice on single-board computers where no other ground stands beside a number.
const io::LineRoute gpiod{"GPIO character device",
                          10'000.0,
                          3e-6,
                          3e-6,
                          true,
                          "declared: an interrupt an edge, stamped by the kernel"};
const io::LineRoute polled{"mapped register, polled",
                           2'000'000.0,
                           0.1e-6,
                           1e-6,
                           true,
                           "declared: a core of its own reads the register all the time"};
const io::VoltsRoute converter{"SPI converter, 12 bit", 25e-6, 5.0 / 4096.0,
                               "declared: all channels in one message at 20 MHz, with a latch"};

}  // namespace

std::optional<Routes> declared_routes(std::string_view backend, const Bench& bench) {
  if (backend != "gpiod" && backend != "polled") return std::nullopt;
  Routes routes{.lines = backend == "gpiod" ? gpiod : polled,
                .volts = io::volts_route(bench.analog),
                .averages = io::averages_route(bench.analog),
                .cycle_s = bench.cycle.period_s};
  if (!routes.volts) routes.volts = converter;
  return routes;
}

io::LineRoute measured_lines(const io::LineRoute& declared, const LineCalibration& found) {
  io::LineRoute lines = declared;
  lines.edges_in_per_s = found.edges_in_per_s;
  lines.stamp_jitter_s = found.stamp_jitter_s;
  lines.write_s = found.write_s;
  if (found.loss != LossNotice::not_provoked)
    lines.finds_loss = found.loss == LossNotice::all_shown;
  lines.grounds = fmt::format("measured on {} by loop-back, {}{}", found.date.substr(0, 10),
                              found.kernel, found.real_time ? "" : ", not in real time");
  return lines;
}

}  // namespace stillrotor
