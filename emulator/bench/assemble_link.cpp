// From the draft to the bench: a controller behind a timing co-processor. What the chip computes
// follows from the whole bench, later (emulator/partition).
#include <cmath>
#include <map>

#include "emulator/bench/assembly.hpp"
#include "emulator/bench/wire_sources.hpp"
#include "io/link/address.hpp"

namespace stillrotor {
namespace {

/// An edge waits on the chip for others, for a turn of the link and for one of the cycle.
constexpr double least_delay_s = 3e-3;

class LinkAssembly : public Assembly {
 public:
  using Assembly::Assembly;

  void assemble() {
    io::LinkConfig& link = d_.link;
    address();
    steps();
    derive("controller.link.stamp_resolution", link.stamp_resolution_s, 1.0 / link.tick_Hz);
    derive("controller.link.stamp_jitter", link.stamp_jitter_s,
           link.stamp_resolution_s / std::sqrt(12.0));
    if (d_.bench.cycle.delay_s < least_delay_s)
      wrong("cycle.delay",
            fmt::format("cycle.delay is {:g} ms; allowed with the link: {:g} ms and more, for an "
                        "edge waits on the chip for others, and then for the link. Write 5 ms.",
                        d_.bench.cycle.delay_s * 1e3, least_delay_s * 1e3));
    if (d_.bench.cycle.lead_s > 0.0)
      wrong("cycle.lead",
            fmt::format("cycle.lead is {:g} us; allowed with the link: 0 s, for the chip shows the "
                        "rotor's position itself. controller.link.lead is what it is told ahead.",
                        d_.bench.cycle.lead_s * 1e6));
    channels();
    link.thread = d_.wires.capture;
    d_.bench.controller = link;
  }

 private:
  void address() {
    if (d_.link.address.empty()) return;  // is missing, and said to be
    try {
      io::parse_link_address(d_.link.address);
    } catch (const io::ConfigError& error) {
      wrong("controller.link.address", error.what());
    }
  }

  void steps() {
    const io::LinkConfig& link = d_.link;
    const double ticks = link.step_s * link.tick_Hz, steps = link.report_s / link.step_s;
    const auto whole = [](double x) { return std::fabs(x - std::round(x)) < 1e-6 * x; };
    if (!whole(ticks) || ticks < 15.5 || ticks > 256.5)
      wrong("controller.link.step",
            fmt::format("controller.link.step is {:.6g} ticks of controller.link.tick; allowed a "
                        "whole number, 16 to 256. Change one of them.",
                        ticks));
    if (!whole(steps) || steps < 0.5 || steps > 4096.5)
      wrong("controller.link.report",
            fmt::format("controller.link.report is {:.6g} steps; allowed a whole number, 1 to "
                        "4096. Change it.",
                        steps));
  }

  void channels() {
    std::map<int, std::string> taken;
    for (std::size_t k = 0; k < io::channel_count; ++k) {
      const io::ChannelId id{static_cast<std::uint16_t>(k)};
      const int at = d_.link.channels[k];
      if (at < 0) continue;
      const std::string path = fmt::format("harness.channels.{}.chip_channel", io::name(id));
      if (const auto [other, fresh] = taken.emplace(at, path); !fresh)
        wrong(path, fmt::format("{} is {}, which {} has already; allowed one wire a channel. Move "
                                "one of them.",
                                path, at, other->second));
      if (!has_source(d_, id))
        wrong(path, fmt::format("{} is {}, but the bench has no such sensor. Fit it below "
                                "sensors, or remove the wire.",
                                path, at));
      if (id >= io::channel::phase_voltage_U && id <= io::channel::angle_cos)
        wrong(path, fmt::format("{} is {}, and a co-processor shows no such quantity; allowed: "
                                "currents, bus voltage, throttle, temperatures. Remove it.",
                                path, at));
      d_.link.safe_V[k] = safe_V(id);
    }
  }

  /// Of what Linux tells the chip: the throttle at rest, a temperature in the middle.
  double safe_V(io::ChannelId id) const {
    return id == io::channel::throttle ? d_.bench.controls.throttle_idle_V
                                       : 0.5 * d_.link.converter_V;
  }
};

}  // namespace

void assemble_link(Readings& readings, Draft& draft, Problems& problems) {
  LinkAssembly(readings, draft, problems).assemble();
}

}  // namespace stillrotor
