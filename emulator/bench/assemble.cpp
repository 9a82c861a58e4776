// From the draft to the bench: what follows from what, and what cannot be together.
#include "emulator/bench/assembly.hpp"
#include "emulator/bench/wire_sources.hpp"

namespace stillrotor {
namespace {

/// Sections of one sentence each.
class ShortSections : public Assembly {
 public:
  using Assembly::Assembly;
  void assemble() {
    follow_supply("throttle_low", d_.throttle_low, "throttle_idle",
                  d_.bench.controls.throttle_idle_V, 0.85);
    follow_supply("throttle_high", d_.throttle_high, "throttle_full",
                  d_.bench.controls.throttle_full_V, 4.2);
    derive("thermal.fitted", d_.bench.drive.thermal.fitted, mentioned("thermal"));
    ordered("controls.throttle_idle", d_.bench.controls.throttle_idle_V, "controls.throttle_full",
            d_.bench.controls.throttle_full_V);
    command_pulse();
  }

 private:
  void command_pulse() {
    CommandPulse& pulse = d_.bench.controls.pulse;
    derive("controls.command_pulse.fitted", pulse.fitted, mentioned("controls.command_pulse"));
    if (pulse.idle_s < pulse.full_s && pulse.full_s < pulse.period_s) return;
    const bool period = readings_.given("controls.command_pulse.period");
    wrong(period ? "controls.command_pulse.period" : "controls.command_pulse.full",
          fmt::format("controls.command_pulse has idle {:g} ms, full {:g} ms and period {:g} ms; "
                      "allowed only in rising order. Change one.",
                      1e3 * pulse.idle_s, 1e3 * pulse.full_s, 1e3 * pulse.period_s));
  }

  /// A ratiometric throttle's voltage is a share of its supply.
  void follow_supply(const std::string& share, double value, const std::string& volts,
                     double& volts_V, double otherwise_V) {
    const bool given = readings_.given("controls." + share);
    if (given && readings_.given("controls." + volts))
      wrong(
          "controls." + share,
          fmt::format("controls.{} and controls.{} say the same thing twice; allowed one of them. "
                      "Remove one.",
                      share, volts));
    derive("controls." + volts, volts_V,
           given ? value * d_.bench.controller_supply_V : otherwise_V);
    if (Reading& reading = readings_.at("controls." + volts);
        given && reading.state == Reading::State::derived)
      reading.state = Reading::State::shown;
  }
};

}  // namespace

void assemble(Readings& readings, Draft& draft, const std::filesystem::path& build_dir,
              Problems& problems) {
  assemble_magnet(readings, draft, problems);
  assemble_machine(readings, draft, problems);
  assemble_bridge(readings, draft, problems);
  assemble_supply(readings, draft, problems);
  assemble_load(readings, draft, problems);
  assemble_sensors(readings, draft, problems);
  ShortSections(readings, draft, problems).assemble();
  assemble_controller(readings, draft, build_dir, problems);
  if (on_lines(draft)) assemble_converters(readings, draft, problems);
  if (on_link(draft)) assemble_link(readings, draft, problems);
  assemble_harness(readings, draft, problems);
  assemble_calibration(readings, draft, problems);
}

}  // namespace stillrotor
