#include "emulator/cli/debugged.hpp"

#include <fmt/format.h>

#include <charconv>
#include <csignal>
#include <cstdio>
#include <utility>

#include "emulator/bench/input_error.hpp"
#include "io/mcu/debugger/debuggable.hpp"

namespace stillrotor {
namespace {

/// For a person at a debugger: the machine at the record's last point.
std::string machine_line(const Frame& f) {
  const auto value = [&](Signal s) {
    return static_cast<double>(f.value[static_cast<std::size_t>(s)]);
  };
  return fmt::format(
      "At {:.6f} s: phase currents {:.3f} {:.3f} {:.3f} A, torque {:.3f} N m, speed {:.3f} rad/s, "
      "bus {:.3f} V\n",
      static_cast<double>(f.at_ps) / 1e12, value(Signal::current_U), value(Signal::current_V),
      value(Signal::current_W), value(Signal::torque), value(Signal::speed),
      value(Signal::bus_voltage));
}

}  // namespace

std::unique_ptr<io::mcu::Debugger> make_debugger(const std::string& text, const Bench& bench,
                                                 io::SimulatedController* controller) {
  if (text.empty()) return nullptr;
  unsigned port = 0;
  const char* const end = text.data() + text.size();
  const auto [rest, error] = std::from_chars(text.data(), end, port);
  if (error != std::errc{} || rest != end || port > 65535 || (port != 0 && port < 1024))
    throw InputError(
        fmt::format("--gdb is \"{}\"; allowed a port of this computer, 1024 to 65535, or 0 for any "
                    "that is free. It listens on 127.0.0.1 only: from another computer, connect "
                    "through a tunnel.",
                    text));
  auto* const debuggable = dynamic_cast<io::mcu::Debuggable*>(controller);
  if (debuggable == nullptr)
    throw io::ConfigError(
        "controller.backend",
        fmt::format("backend is {}, {}; allowed with --gdb: firmware on a simulated Cortex-M4F. "
                    "Leave --gdb out.",
                    bench.backend, bench.controller_kind));
  auto debugger = std::make_unique<io::mcu::Debugger>(static_cast<std::uint16_t>(port));
  debuggable->debug_with(*debugger);
  return debugger;
}

void await_debugger(io::mcu::Debugger& debugger, const RunWatch& watch,
                    const StopSignals& signals) {
  debugger.belong_to({&signals.asked(), [] { std::raise(SIGINT); },
                      [&watch] { return machine_line(watch.latest()); }});
  fmt::print(stderr,
             "The processor waits for a debugger: target remote 127.0.0.1:{}\n"
             "Time stands still whenever it is stopped. Detach, and the run goes on alone.\n",
             debugger.port());
}

}  // namespace stillrotor
