// stillrotor_coprocessor: a timing co-processor that is this computer, with a simulated controller
// at its lines, at the address that a bench names. To try bench and link before there is a chip.
#include <fmt/format.h>

#include <algorithm>
#include <memory>
#include <random>
#include <string>
#include <vector>

#include "emulator/bench/bench.hpp"
#include "emulator/cli/options.hpp"
#include "emulator/cli/program.hpp"
#include "emulator/cli/stop_signals.hpp"
#include "emulator/coprocessor/chip_of_bench.hpp"
#include "io/backends.hpp"
#include "io/capture_thread.hpp"
#include "io/link/port/chip_wire.hpp"

namespace stillrotor {
namespace {

struct Request {
  std::string bench, firmware, controller, address;
  std::vector<std::string> overrides;
};

std::unique_ptr<io::SimulatedController> controller_of(const Request& request, const Bench& bench) {
  if (request.firmware.empty()) {
    const Bench other = load_bench(request.controller, {}, build_folder());
    return io::make_controller(other.controller);
  }
  io::HostFirmwareConfig firmware;
  firmware.firmware = std::filesystem::absolute(request.firmware);
  firmware.supply_V = bench.controller_supply_V;
  return io::make_controller(firmware);
}

/// The chip by the wall clock. A wake-up that comes late finds a longer stretch to compute: bytes
/// are late then, what happened keeps its time.
class PacedChip {
 public:
  PacedChip(io::SimulatedController& controller, const io::ChipSettings& settings,
            io::ChipWire& wire)
      : controller_(controller), chip_(controller, settings), wire_(wire) {}

  void turn() {
    wire_.wait(1);
    bool more = true;
    while (more) {
      bytes_.clear();
      const bool fresh = wire_.receive(bytes_);
      more = !bytes_.empty();
      // Bytes have come by now, never later than the chip stands.
      const std::int64_t now_ns = io::monotonic_ns() - begun_ns_;
      longest_ns_ = std::max(longest_ns_, now_ns - chip_.now().count() / 1000);
      chip_.advance(io::Time(1000 * now_ns));
      if (fresh) chip_.cut();
      chip_.hear(bytes_);
    }
    wire_.send(chip_.take_sent());
    say();
  }

  double longest_s() const noexcept { return 1e-9 * static_cast<double>(longest_ns_); }
  double reached_s() const noexcept { return 1e-12 * static_cast<double>(chip_.now().count()); }

 private:
  void say() {
    if (chip_.driven() != live_)
      fmt::print("{:.3f} s: outputs {}\n", reached_s(), chip_.driven() ? "live" : "safe");
    if (const io::Health health = controller_.health();
        health != io::Health::running && health_ == io::Health::running)
      fmt::print("{:.3f} s: the controller: {}\n", reached_s(), controller_.diagnosis());
    live_ = chip_.driven();
    health_ = controller_.health();
    std::fflush(stdout);
  }

  io::SimulatedController& controller_;
  io::SimulatedChip chip_;
  io::ChipWire& wire_;
  std::int64_t begun_ns_ = io::monotonic_ns(), longest_ns_ = 0;
  std::vector<std::uint8_t> bytes_;
  bool live_ = false;
  io::Health health_ = io::Health::running;
};

int serve(const Request& request) {
  std::optional<Bench> bench;
  try {
    bench = load_bench(request.bench, request.overrides, build_folder());
    io::ChipSettings settings = chip_of(*bench);
    settings.session = static_cast<std::uint16_t>(std::random_device{}());
    const std::string& written = std::get<io::LinkConfig>(bench->controller).address;
    const std::string address = request.address.empty() ? written : request.address;
    const auto controller = controller_of(request, *bench);
    const auto wire = io::listen_at(io::parse_link_address(address));
    const StopSignals signals;
    PacedChip chip(*controller, settings, *wire);
    fmt::print("a co-processor at {}: {:g} MHz, {} channels\n", address, settings.tick_Hz * 1e-6,
               settings.channels.size());
    std::fflush(stdout);
    while (!signals.asked()) chip.turn();
    fmt::print("{:.3f} s: the end; the longest stretch between two wake-ups was {:.1f} ms\n",
               chip.reached_s(), chip.longest_s() * 1e3);
    return 0;
  } catch (const std::exception& error) {
    return report(error, bench ? &*bench : nullptr);
  }
}

}  // namespace
}  // namespace stillrotor

int main(int argc, char** argv) {
  using namespace stillrotor;
  const ProgramText text{
      "A timing co-processor that is this computer, with a simulated controller at its lines, at\n"
      "the address that a bench with backend link names. Stops on Ctrl-C.",
      "stillrotor_coprocessor", ""};
  Request request;
  const auto set_up = [&request](Command& program) {
    program.option("BENCH", request.bench, "bench file (YAML) with controller.backend: link")
        .required();
    Command tested = program.one_of_these("controller", "what stands at the chip's lines");
    tested.option("--firmware", request.firmware,
                  "firmware compiled for this computer, a shared object");
    tested.option("--controller", request.controller,
                  "the simulated controller of this bench file: mcu, hostfw or standin");
    program.option("--address", request.address,
                   "listen here, in the place of the bench's address");
    program
        .option("--set", request.overrides,
                "change a parameter of the bench: path=value; may be given again")
        .one_each_time();
    program.footer(R"(Example, in two terminals:
  stillrotor_coprocessor configs/benches/orchard-cart-mid-link.yaml --firmware build/release/firmware/orchard_foc.so
  stillrotor run configs/benches/orchard-cart-mid-link.yaml configs/scenarios/first-drive.yaml --allow-soft)");
  };
  return read_command_line(text, argc, argv, set_up, [&request] { return serve(request); });
}
